"""What another window did to the draft that this one shows, and what to do where both changed the same."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import streamlit as st

from tracker.record.records import Draft, PhotoRecord, Visit
from tracker.ui.pages.new_visit.draft_state import Work, keep
from tracker.ui.pages.new_visit.marks import begin_editor_anew
from tracker.ui.pages.new_visit.tab import PART_WORDS, Choice, News, Tab
from tracker.ui.parts.limit_words import agreed_sentences
from tracker.ui.parts.step_words import step_words
from tracker.ui.parts.words import plain, plain_lines
from tracker.words import day, listed, sentence_case
from tracker.workflow.drafts import Change, with_part

_KEPT = "The version that you do not choose stays under What changed on the client’s page."


def show(work: Work) -> None:
    """The notice at the top of a step; nothing where there is no news."""
    if work.tab is None or work.tab.news is None:
        return
    news = work.tab.news
    if news.announced != news.at:
        news.announced = news.at
        st.toast("This draft was changed in another tab. The top of the page shows what is different.", duration=10)
    moment = news.at.astimezone()
    with st.container(border=True, key="other-tab"):
        told = plain(listed(news.told) or "what was done")
        st.markdown(f"**This draft was changed in another tab at {moment:%H:%M}:** {told}.")
        if not news.choices:
            if st.button("All right", key="other-tab-seen"):
                work.tab.news = None
                st.rerun()
            return
        for name, choice in news.choices.items():
            _both(work, name, choice)
        st.caption(_KEPT)
        with st.container(horizontal=True):
            mine = st.button("Keep mine", key="other-tab-mine")
            theirs = st.button("Use the other tab’s", key="other-tab-theirs")
    if mine or theirs:
        _choose(work, work.tab, news, mine=mine)


def _both(work: Work, name: str, choice: Choice) -> None:
    """One thing that both windows changed: the version that is not on the screen, in full."""
    if isinstance(choice.mine, PhotoRecord):
        st.markdown(
            f"The {work.name(choice.mine).lower()} photo was changed in both tabs; the draft now has your version."
        )
        return
    away = choice.theirs if choice.shows_mine else choice.mine
    whose = "In the other tab" if choice.shows_mine else "In this tab it was"
    if isinstance(away, Visit):
        st.markdown(f"**{sentence_case(PART_WORDS[name])}.** {whose}:")
        st.markdown(_said(away, name) or "*empty*")


def _said(visit: Visit, name: str) -> str:
    """One part of a visit, ready for Markdown."""
    if name == "steps":
        return "\n".join(f"{number}. {step_words(step)}" for number, step in enumerate(visit.steps, start=1))
    if name == "agreed":
        return plain(agreed_sentences(visit.limits, visit.washes_per_week))
    if name == "date":
        return day(visit.on)
    if name == "services":
        return plain(listed(visit.services))
    texts = {"history": visit.history, "start": visit.starting_point, "note": visit.note, "next": visit.next_time}
    return plain_lines(texts[name])


def _choose(work: Work, tab: Tab, news: News, *, mine: bool) -> None:
    """Keep one window's version; what was in the draft goes into the log of edits."""
    wanted = {name: choice for name, choice in news.choices.items() if choice.shows_mine != mine}
    tab.news = None
    if wanted:
        versions = {name: each.mine if mine else each.theirs for name, each in wanted.items()}
        changed = keep(work, with_versions(versions))
        tab.news = None  # the choice is made: nobody is asked again
        for name, choice in wanted.items():
            if isinstance(choice.mine, PhotoRecord):
                begin_editor_anew(work, choice.mine)
            elif changed.draft.visit is not None:
                tab.shown(name, changed.draft.visit)
    st.rerun()


def with_versions(wanted: Mapping[str, Visit | PhotoRecord]) -> Callable[[Draft], Change]:
    """The draft with these versions; what was there is set aside."""

    def change(kept: Draft) -> Change:
        photos = tuple(_photo_of(wanted.get(photo.id), photo) for photo in kept.photos)
        visit = kept.visit
        for name, version in wanted.items():
            if isinstance(version, Visit) and visit is not None:
                visit = with_part(visit, name, version)
        return Change(replace(kept, photos=photos, visit=visit), tuple(wanted))

    return change


def _photo_of(wanted: Visit | PhotoRecord | None, photo: PhotoRecord) -> PhotoRecord:
    return wanted if isinstance(wanted, PhotoRecord) else photo
