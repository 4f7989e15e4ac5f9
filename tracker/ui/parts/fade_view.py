"""How the colour of the current service wears: when to come back, the curve, and what was agreed."""

from __future__ import annotations

from datetime import date

import streamlit as st

from tracker import workflow
from tracker.errors import TrackerError
from tracker.measure.reading import REGIONS, WHOLE
from tracker.record.records import Visit
from tracker.said.wear import say_no_date
from tracker.store import Store
from tracker.ui.navigation import go_to
from tracker.ui.parts.agree import WASHES, agree
from tracker.ui.parts.consent_view import remembered_recorder
from tracker.ui.parts.due_words import between, due_sentence, each_reason, evenly
from tracker.ui.parts.fade_chart import wear_chart
from tracker.ui.parts.fade_words import LIGHTNESS, WARMTH
from tracker.ui.parts.fields import region_field
from tracker.ui.parts.limits_to_confirm import limits_to_confirm
from tracker.ui.parts.notices import say_on_next_page, sorry, told
from tracker.ui.parts.reading_view import no_number
from tracker.ui.parts.words import plain
from tracker.wear import Due, ServiceReadings, agreed_at, limits_in_force
from tracker.words import as_date, count, day, listed, noun, weeks_words
from tracker.workflow.wearing import client_wear, washed_otherwise


def fade_of_current_service(store: Store, client_id: str) -> None:
    """When to come back, the chart with its pickers, or what is missing for them."""
    visits = store.visits.of_client(client_id)
    visit, _ = limits_in_force(visits)
    if visit is None:
        return
    with told():
        due, services = client_wear(store, client_id)
        readings = next((each for each in services if each.visit_id == visit.id), None)
        st.header("How the colour wears", anchor=False)
        _when(store, due, readings)
        agreed = agreed_at(visits) or visit, due, WHOLE if readings is None else readings.hair
        if _anew():
            _agreed(store, *agreed)
        if readings is None:
            st.markdown("No photo right after the service has a number, so there is no curve to show.")
        else:
            _curve(store, readings, due)
            _left_out(store, readings)
            _read_otherwise(store, readings)
        if not _anew():
            _agreed(store, *agreed)


def _when(store: Store, due: Due, readings: ServiceReadings | None) -> None:
    """The sentence first; behind it the limits one by one and what other washing would do."""
    sentence = due_sentence(due, date.today())
    if due.state == "nothing agreed":
        st.markdown(plain(f"{sentence} Agree one below; it takes a tap."))
        return
    st.markdown(f"**{plain(sentence)}**")
    if due.to_confirm:
        limits_to_confirm(store, due.client_id)
    if len(due.reasons) > 1 or due.middle is not None:
        with st.expander("Each limit, and how sure it is"):
            st.markdown("\n".join(f"- {plain(line)}" for line in each_reason(due)))
            st.caption(
                "A window holds in 80 of 100 cases; it cannot foresee a summer in the sun, a pool or a new shampoo. "
                "Where there is no date, none can be given yet."
            )
    if readings is not None and due.state in ("given", "unknown") and due.reasons:
        _fewer_washes(store, due, readings)


def _fewer_washes(store: Store, due: Due, readings: ServiceReadings) -> None:
    """What washing less or more often from now on would do."""
    with st.expander("What if it is washed less often?"):
        if readings.washes_per_week is None:
            st.markdown(
                "Ask how often the hair is washed now and note it under “What is agreed”; the answer then appears here."
            )
            return
        st.caption(plain(f"Now: {readings.washes_per_week:g} a week. From today on:"))
        chosen = st.pills(
            "Washes a week from now on", WASHES, format_func=lambda often: f"{often:g}", key="what-if-washes"
        )
        if chosen is None:
            return
        found = washed_otherwise(store, due.client_id, float(chosen), date.today())
        if found.early is None or found.middle is None or found.late is None:
            st.markdown(plain(say_no_date(found.why_not, due.region)))
            return
        later = _shift(due.middle, found.middle)
        st.markdown(plain(f"Between {between(found.early, found.late)}, {evenly(found.middle)}{later}."))
        st.caption("Washing is assumed to cause between a third and all of the wear, and sun and air the rest.")


def _shift(before: date | None, after: date) -> str:
    if before is None:
        return ""
    days = (after - before).days
    if abs(days) < 4:
        return ": almost the same day as now"
    return f": about {weeks_words(abs(days))} {'later' if days > 0 else 'earlier'} than now"


def _curve(store: Store, readings: ServiceReadings, due: Due) -> None:
    left, right = st.columns(2)
    known = [region for region in REGIONS if readings.place(region) is not None]
    with left:
        region = region_field("Where", due.region if due.region in known else known[-1], "fade-region", known)
    quantity = right.segmented_control("What", [WARMTH, LIGHTNESS], default=WARMTH, required=True, key="fade-quantity")
    try:
        wear_chart(store, readings, region, str(quantity))
    except TrackerError as error:
        sorry(error)


def _left_out(store: Store, readings: ServiceReadings) -> None:
    for photo_id in readings.left_out:
        with told():
            photo = store.photos.get(photo_id)
            why = no_number(photo) or "It was left out by hand."
            st.caption(f"Left out: the photo of {day(as_date(photo.taken_at))}. {plain(why)}")


def _read_otherwise(store: Store, readings: ServiceReadings) -> None:
    """Photos that are not in the curve because their hair was read another way, with the way to mend that."""
    if not readings.otherwise:
        return
    days = []
    for photo_id in readings.otherwise:
        with told():
            days.append(day(as_date(store.photos.get(photo_id).taken_at)))
    number = len(readings.otherwise)
    they = noun(number, "it was", "they were")
    if readings.hair == WHOLE:
        why = f"{they} read along a ribbon, by the earlier method"
    else:
        why = f"{they} read over the whole hair, but the photo right after the service along a ribbon"
    photos = f"{count(number, 'photo')} of this service ({listed(dict.fromkeys(days))})"
    st.markdown(
        plain(
            f"{photos} {noun(number, 'is', 'are')} not in this curve: {why}. A curve never joins the two. Measure the "
            "older photos again, at the top of this page, and all are in."
        )
    )


def _anew() -> bool:
    """True where somebody came to agree anew: the fields are then where they look first."""
    return st.query_params.get("agree") == "anew"


def _agreed(store: Store, visit: Visit, due: Due, hair: str) -> None:
    """What was agreed at this service, to be changed here too."""
    with st.expander("What is agreed", expanded=_anew() or due.state == "nothing agreed"):
        limits, washes = agree(
            (visit.limits, visit.washes_per_week),
            f"agreed-{visit.id}-{visit.revision}",
            workflow.last_agreed(store, visit.client_id, besides=visit.id),
            hair,
        )
        changed = (limits, washes) != (visit.limits, visit.washes_per_week)
        if st.button("Keep what is agreed", key="keep-agreed", disabled=not changed):
            with told():
                workflow.agree_limits(store, visit.id, limits, washes, by=remembered_recorder())
                say_on_next_page("What was agreed is kept.")
                go_to("client", client=visit.client_id)
