"""Past results: what came of starting points like this in this studio. Shows what happened, recommends nothing."""

from __future__ import annotations

import streamlit as st

from tracker.calibrate.calibration import level_of
from tracker.calibrate.level import DARKEST, LIGHTEST, estimate_level
from tracker.calibrate.warmth import UNDERTONES
from tracker.compare.past_results import FEWEST, Case, PastResults
from tracker.compare.photo_set import kit_of
from tracker.record.records import AFTER, BEFORE
from tracker.said.colour import say_level, say_lift
from tracker.store import Store
from tracker.ui.catching_up import results_caught_up
from tracker.ui.look import empty, swatches
from tracker.ui.look import photo as show_photo
from tracker.ui.navigation import link
from tracker.ui.parts.cautions import CAUTIONS
from tracker.ui.parts.charts_view import is_dark, show_chart
from tracker.ui.parts.fields import region_field
from tracker.ui.parts.more import ask_for_more, shown
from tracker.ui.parts.notices import still_worked_out, told
from tracker.ui.parts.older_readings import read_otherwise
from tracker.ui.parts.opening import begin
from tracker.ui.parts.pair import Pair, compare_states, state_in_force
from tracker.ui.parts.pictures import SMALL, balanced_url, photo_words
from tracker.ui.parts.reading_view import region_swatch
from tracker.ui.parts.results_view import headline, spread_sentence, warmth_headline
from tracker.ui.parts.words import plain
from tracker.ui.session import asked_for, open_store
from tracker.words import MADE_UP, day, listed, sentence_case
from tracker.workflow.results import Start, past_results

SHOWN = 6
"""Cases shown with photos before more are asked for."""

CHARTED = 500
"""Points in the chart: more would overlap and keep a phone waiting."""

_AROUND = 1.0  # levels to each side of a visit's start
_ANY = "any"


def page() -> None:
    """The page."""
    begin()
    st.title("Past results", anchor=False)
    st.markdown(
        "What came of starting points like this in your own studio. It shows what happened; what is right for the "
        "hair in front of you is your decision."
    )
    with told():
        store = open_store()
        if not store.outcomes.any_told():
            empty("card", "Nothing to look back on yet. It begins with a visit that has a before and an after photo.")
            st.caption(CAUTIONS)
            return
        still_worked_out(results_caught_up(), "visit")
        start = _ask(store.outcomes.services(), *_like(store, asked_for("visit")))
        results = past_results(store, start)
        _found(store, results, start)


def _like(store: Store, visit_id: str | None) -> tuple[tuple[float, float], str]:
    """Levels around the start of a visit, and a word for the fields; the whole scale where none was asked for."""
    if visit_id is None:
        return (DARKEST, LIGHTEST), "all"
    state = state_in_force(store.photos.find(visit_id=visit_id), BEFORE)
    band = state.reading.region("mid") if state is not None and state.reading is not None else None
    if band is None:
        return (DARKEST, LIGHTEST), "all"
    return store.yardsticks.in_force().scale.around(band.lab.lab[0], _AROUND), visit_id


def _ask(services: list[str], around: tuple[float, float], key: str) -> Start:
    """What the cases should have in common; `around` is what the levels start with."""
    region = region_field("Part of the hair", "mid", "region")
    levels = st.slider("Level at the start", DARKEST, LIGHTEST, around, 0.5, format="%.1f", key=f"levels-{key}")
    left, right = st.columns(2)
    tone = left.selectbox("Undertone at the start", [_ANY, *UNDERTONES], format_func=sentence_case, key="undertone")
    service = right.selectbox("Service", [_ANY, *services], format_func=sentence_case, key="service")
    return Start(region, levels, None if tone in (None, _ANY) else tone, "" if service in (None, _ANY) else service)


def _found(store: Store, results: PastResults, start: Start) -> None:
    scale = store.yardsticks.in_force().scale
    st.subheader(headline(results), anchor=False)
    if results.lift is not None:
        st.markdown(plain(spread_sentence(results.lift, "levels")))
    if results.warmth is not None:
        st.markdown(f"**{plain(warmth_headline(results.warmth))}**  \n{plain(spread_sentence(results.warmth, ''))}")
    if not results.cases:
        st.markdown("Widen the range of levels, or choose any undertone and any service.")
    st.caption(CAUTIONS)
    if not results.cases:
        return
    read_otherwise(results.hair, results.left_out, "visit")
    _chart(results)
    provisional = " It is provisional: your own scale, under Studio, makes levels surer." if scale.provisional else ""
    st.caption(
        f"Levels by “{plain(scale.name)}”.{provisional} Lift and warmth as on the page of each visit; plus is lighter "
        "or warmer. The ± of each case is part of the spread."
    )
    link("services_wear", "How services wear afterwards")
    st.header("The cases", anchor=False)
    may_be_shown = {visit.visit_id for visit in store.portfolio.visits()}
    if any(case.outcome.visit_id not in may_be_shown for case in results.cases):
        st.caption("For your eyes only: not every client here agreed to be shown to others.")
    _cases(store, results.cases, start.region)


def _chart(results: PastResults) -> None:
    from tracker.charts import CasePoint, cases_chart

    points = [
        CasePoint(case.start, case.lift.value, case.outcome.after.lab)
        for case in results.cases[:CHARTED]
        if case.lift.value is not None
    ]
    if len(points) < FEWEST:
        return
    spec, words = cases_chart(points, is_dark(), title="Lift by level at the start, in the colour it ended with")
    show_chart(spec, words, key="cases-chart")
    if len(results.cases) > CHARTED:
        st.caption(f"The chart shows the newest {CHARTED} of {len(results.cases)} cases; the sentences count them all.")


def _cases(store: Store, cases: tuple[Case, ...], region: str) -> None:
    """The newest cases with their photos; more on request."""
    most = shown(SHOWN, "results")
    for case in cases[:most]:
        with st.container(key=f"event-{case.outcome.visit_id}"):
            _case(store, case, region)
    if len(cases) > most:
        ask_for_more(f"Show more of the {len(cases)} cases", SHOWN, "results")


def _case(store: Store, case: Case, region: str) -> None:
    """Photos, colours and numbers of one visit, without the client's name."""
    photos = store.photos.find(visit_id=case.outcome.visit_id)
    before, after = state_in_force(photos, BEFORE), state_in_force(photos, AFTER)
    words = f"{plain(sentence_case(listed(case.outcome.services, empty='no service noted')))} · {day(case.outcome.on)}"
    if photos and store.clients.get(photos[0].client_id).demo:
        words += f" · {MADE_UP}"
    link("compare", words, visit=case.outcome.visit_id)
    if before is None or after is None:
        return
    pair = compare_states(before, after)
    pictures, numbers = st.columns([2, 3], gap="medium")
    with pictures:
        for place, photo in zip(st.columns(2, wrap=False), (pair.before, pair.after), strict=True):
            with place:
                show_photo(balanced_url(photo, SMALL), photo_words(photo), ratio=3 / 4)
    with numbers:
        _numbers(store, pair, case, region)


def _numbers(store: Store, pair: Pair, case: Case, region: str) -> None:
    own = store.yardsticks.in_force()
    change = pair.change(region)
    band = pair.before.reading.region(region) if pair.before.reading is not None else None
    kept = estimate_level(case.outcome.before, own.scale)
    level = kept if band is None else level_of(band, kit_of(pair.before), own)
    lift = say_lift(change.lift if change is not None else case.lift)
    st.markdown(plain(f"From level {say_level(level)}: {lift}."))
    found = [
        region_swatch(band, photo, word)
        for word, photo in (("before", pair.before), ("after", pair.after))
        if photo.reading is not None and (band := photo.reading.region(region)) is not None
    ]
    swatches(found)
