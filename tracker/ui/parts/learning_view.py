"""Whether forecasts learn from the studio's own services, and from how many of them."""

from __future__ import annotations

import streamlit as st

from tracker.fade import FEWEST_SERVICES
from tracker.measure.reading import RIBBON, WHOLE
from tracker.store import Store
from tracker.ui.parts.words import plain
from tracker.words import count, noun
from tracker.workflow.learning import learning, switch_learning

_READ = {RIBBON: " read along a ribbon", WHOLE: ""}


def learning_switch(store: Store) -> None:
    """The switch, and what was learnt so far."""
    known = learning(store)
    wanted = st.toggle("Learn from this studio’s own services", value=known.on, key="learning")
    if wanted != known.on:
        switch_learning(store, on=wanted)
        st.rerun()
    kinds = {(each.kind, each.hair): each.services for each in known.found}
    if not known.on:
        st.caption("Off: forecasts rest on published figures and on the client’s own photos alone.")
    elif kinds:
        said = ", ".join(f"{kind} ({count(number, 'service')}{_READ[hair]})" for (kind, hair), number in kinds.items())
        st.caption(plain(f"Forecasts draw on past services of the same kind: {said}."))
    else:
        st.caption(
            plain(
                f"Nothing learnt yet: it takes {FEWEST_SERVICES} past services of one kind, each over by now and with "
                f"a later photo. So far there are {known.services} in all."
            )
        )
    if known.on and known.along_ribbon:
        st.caption(
            plain(
                f"Of these, {count(known.along_ribbon, 'service')} {noun(known.along_ribbon, 'was', 'were')} read "
                "along a ribbon, by the earlier method: nothing is learnt from them for photos of the whole hair. "
                "Measure the older photos again under My data, and they count."
            )
        )
