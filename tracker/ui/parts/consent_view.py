"""Asking for agreement, and showing what was agreed: two purposes, two separate statements."""

from __future__ import annotations

from dataclasses import dataclass

import streamlit as st

from tracker import workflow
from tracker.record.records import CONSENT_WORDING, MEASURING, PORTFOLIO, PURPOSES, Consent
from tracker.store import Store
from tracker.ui.parts.held import held
from tracker.ui.parts.notices import told
from tracker.ui.parts.words import plain
from tracker.words import as_date, day

PURPOSE_WORDS = {MEASURING: "Photos and measuring", PORTFOLIO: "Portfolio"}


@dataclass
class _Recorder:
    """Who asked a client last in this window."""

    name: str = ""


def ask_agreement(key: str) -> dict[str, bool]:
    """The two statements to read out and tick; gives what was ticked for each purpose."""
    answers = {}
    for purpose, need in ((MEASURING, "needed for a record here"), (PORTFOLIO, "only if the client likes")):
        st.markdown(f"**{PURPOSE_WORDS[purpose]}** ({need})")
        answers[purpose] = st.checkbox(CONSENT_WORDING[purpose], key=f"{key}-{purpose}")
    return answers


def ask_name(label: str, key: str) -> str:
    """A name for the record; the last one typed in this window is offered."""
    begins = remembered_recorder()
    name = st.text_input(label, begins, max_chars=80, key=f"{key}-by", placeholder="Your name or initials")
    return (name or "").strip()


def remembered_recorder() -> str:
    """The name typed last in this window, or nothing."""
    return held(_Recorder).name


def remember_recorder(name: str) -> None:
    """Offer this name again the next time."""
    if name:
        held(_Recorder).name = name


def agreement_state(store: Store, client_id: str) -> None:
    """What the client agreed to, with one button each to give or withdraw, and the history."""
    consents = tuple(store.consents.of_client(client_id))
    answers = {consent.purpose: consent for consent in consents}  # the last one given, whatever the clock said then
    recorder = remembered_recorder() or (consents[-1].recorded_by if consents else "the studio")
    for purpose in PURPOSES:
        _one_purpose(store, client_id, purpose, answers.get(purpose), recorder)
    if consents:
        with st.expander("Every answer so far"):
            for consent in reversed(consents):
                st.markdown(_history_line(consent))


def _one_purpose(store: Store, client_id: str, purpose: str, answer: Consent | None, recorder: str) -> None:
    given = answer is not None and answer.given
    left, right = st.columns([3, 1], vertical_alignment="center")
    with left:
        st.markdown(f"**{PURPOSE_WORDS[purpose]}:** {_state_words(answer)}")
        st.caption(CONSENT_WORDING[purpose])
    label = "Withdraw" if given else "Client agrees"
    if right.button(label, key=f"agreement-{purpose}", width="stretch"):
        with told():
            workflow.answer_consent(store, client_id, purpose, given=not given, by=recorder)
            st.rerun()


def _state_words(answer: Consent | None) -> str:
    if answer is None:
        return "never asked"
    verdict = "agreed" if answer.given else "not agreed"
    return f"{verdict}, {day(as_date(answer.recorded_at))}, asked by {plain(answer.recorded_by)}"


def _history_line(consent: Consent) -> str:
    verb = "agreed" if consent.given else "declined or withdrew"
    return (
        f"- {day(as_date(consent.recorded_at))}: {verb}, {PURPOSE_WORDS[consent.purpose].lower()}, "
        f"wording {consent.wording_version}, asked by {plain(consent.recorded_by)}"
    )
