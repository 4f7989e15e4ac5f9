"""How services wear: services of one kind overlaid, and whether one kind of start really lasts longer."""

from __future__ import annotations

from functools import partial

import streamlit as st

from tracker.errors import TrackerError
from tracker.fade import Overlay
from tracker.said.wear import ASSUMPTIONS, say_difference, say_longest
from tracker.store import Store
from tracker.ui.catching_up import caught_up
from tracker.ui.look import empty
from tracker.ui.navigation import link
from tracker.ui.parts.cautions import CAUTIONS
from tracker.ui.parts.charts_view import is_dark, show_chart
from tracker.ui.parts.fade_chart import save_chart
from tracker.ui.parts.fade_words import LIGHTNESS, WARMTH
from tracker.ui.parts.fields import region_field
from tracker.ui.parts.learning_view import learning_switch
from tracker.ui.parts.notices import sorry, still_worked_out, told
from tracker.ui.parts.older_readings import read_otherwise
from tracker.ui.parts.opening import begin
from tracker.ui.parts.words import plain
from tracker.ui.session import open_store
from tracker.wear import WARMTH as WARMTH_QUANTITY
from tracker.wear import ServiceReadings
from tracker.words import REGION_TITLES, count, sentence_case
from tracker.workflow.services_worn import GROUPINGS, KIND, LEVEL, kinds_worn, read_alike, studio_wear

_AXIS = {LIGHTNESS: "change of lightness, L*", WARMTH: "change of warmth, plus is warmer"}
_QUANTITY = {LIGHTNESS: "L*", WARMTH: WARMTH_QUANTITY}


def page() -> None:
    """The page."""
    begin()
    st.title("How services wear", anchor=False)
    st.markdown("How the colour wore after services of one kind, in your own studio. It shows what happened.")
    with told():
        store = open_store()
        still_worked_out(caught_up(), "client")
        services, otherwise = read_alike(store.wear.services())
        kinds = kinds_worn(services)
        if not kinds:
            empty(
                "wearing",
                "It begins with one photo right after a service and one some weeks later: a progress photo, or the one "
                "before the next visit.",
            )
            st.caption(CAUTIONS)
            return
        _compare(store, services, kinds)
        read_otherwise(services[0].hair, len(otherwise), "service")
        st.caption(CAUTIONS)
        learning_switch(store)
        link("results", "What came of services on the day")


def _compare(store: Store, services: list[ServiceReadings], kinds: dict[str, int]) -> None:
    grouping = st.segmented_control(
        "Compare by", GROUPINGS, default=LEVEL, required=True, format_func=sentence_case, key="wear-by"
    )
    kind = next(iter(kinds))
    if grouping != KIND:
        kind = st.selectbox(
            "Kind of service",
            list(kinds),
            format_func=lambda name: f"{sentence_case(name)} ({kinds[name]})",
            key="wear-kind",
        )
    left, right = st.columns(2)
    with left:
        region = region_field("Where", "end", "wear-region")
    quantity = right.segmented_control("What", [WARMTH, LIGHTNESS], default=WARMTH, required=True, key="wear-quantity")
    try:
        found = studio_wear(store, services, str(kind), region, _QUANTITY[str(quantity)], str(grouping))
    except TrackerError as error:
        sorry(error)
        return
    _show(found, str(quantity), region, str(grouping))


def _show(found: Overlay, quantity: str, region: str, grouping: str) -> None:
    from tracker.charts import MOST_STRANDS, across_chart

    st.subheader(plain(sentence_case(say_longest(found))), anchor=False)
    title = f"{REGION_TITLES[region]}: {_middle(found, quantity)}"
    draw = partial(across_chart, found, title=title, y_title=_AXIS[quantity])
    try:
        spec, words = draw(dark=is_dark())
    except ValueError:
        st.markdown("No service of this kind was photographed late enough for a curve.")
        return
    show_chart(spec, words, key="wear-chart")
    many = f" The newest {MOST_STRANDS} of {len(found.strands)} are drawn." if len(found.strands) > MOST_STRANDS else ""
    st.caption(
        plain(
            f"Each fine line is one service, as far as its photos reach; the client’s page shows how sure it is."
            f"{many}{_middles(found)} {count(found.all.services, 'service')} of {count(found.all.clients, 'client')}."
        )
    )
    save_chart(
        lambda: draw(dark=False)[0], f"services-{region}-{quantity.lower()}-by-{grouping.replace(' ', '-')}", "wear"
    )
    with st.expander("Each group, and how the difference was tested"):
        for group in found.groups:
            services = f"{count(group.services, 'service')} of {count(group.clients, 'client')}."
            st.markdown(plain(f"{sentence_case(group.group)}: {services}"))
        for difference in found.differences:
            st.markdown(f"- {plain(sentence_case(say_difference(difference, found.compared_at)))}")
        st.caption(plain(ASSUMPTIONS))


def _middles(found: Overlay) -> str:
    """What else is drawn: the middle of each of several groups, or that of all of them with its band."""
    groups = [group for group in found.groups if group.months]
    if len(groups) > 1:
        return " Thick: the middle of each group."
    return " Thick: the middle; the band holds 8 of 10 clients." if found.all.months else ""


def _middle(found: Overlay, quantity: str) -> str:
    whole = found.all
    if not whole.months:
        return "too few clients to say what is usual"
    change, month = whole.median[-1], whole.months[-1]
    if abs(change) < 0.05:
        return f"usually no change after {month:.1f} months"
    words = {WARMTH: ("warmer", "cooler"), LIGHTNESS: ("lighter, L*", "darker, L*")}[quantity]
    return f"{abs(change):.1f} {words[0] if change > 0 else words[1]}, usually, after {month:.1f} months"
