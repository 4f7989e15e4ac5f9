"""When a client is due, as a sentence: first when, then why, and how sure."""

from __future__ import annotations

from datetime import date

from tracker.said.wear import say_limit, say_no_date
from tracker.wear import Due, Reason
from tracker.words import day, listed, sentence_case

NOW, OVERDUE, LATER, NO_DATE = "due now", "overdue", "due later", "no date"


def when(due: Due, today: date) -> str:
    """Which of `NOW`, `OVERDUE`, `LATER` or `NO_DATE` applies on a day."""
    if due.state == "passed":
        return OVERDUE
    if due.early is None or due.late is None:
        return NO_DATE
    if today > due.late:
        return OVERDUE
    return NOW if today >= due.early else LATER


def due_sentence(due: Due, today: date) -> str:
    """The whole of it, for the client's own page."""
    if due.early is None or due.middle is None or due.late is None:
        return say_no_date(due.why_not, due.region)
    span, why = between(due.early, due.late), reason_words(due) or "an agreed limit"
    middle = evenly(due.middle)
    state = OVERDUE if due.state == "passed" else when(due, today)
    if state == OVERDUE:
        lead, passed = ("It is time", "passed") if due.state == "passed" else ("Overdue", "has very likely passed")
        return f"{lead}: {why} {passed} what was agreed, in 80 of 100 cases between {span}."
    if state == NOW:
        passed = "has most likely passed" if due.middle <= today else "may pass"
        return f"Due now: {why} {passed} what was agreed, {middle}; in 80 of 100 cases between {span}."
    first = f"{sentence_case(why)} will most likely be the first to pass what was agreed."
    return f"Come back between {span}, {middle}. {first} That holds in 80 of 100 cases."


def due_line(due: Due, today: date) -> str:
    """When and why in a few words, for a list."""
    if due.early is None or due.middle is None or due.late is None:
        return say_no_date(due.why_not, due.region)
    why = reason_words(due)
    if due.state == "passed":
        return f"passed between {between(due.early, due.late)}" + (f" · {why}" if why else "")
    state = when(due, today)
    passed = "most likely passed " if state == NOW and due.middle <= today else ""
    lead = f"{state}, {passed}" if state in (OVERDUE, NOW) else ""
    return f"{lead}between {between(due.early, due.late)}" + (f" · {why}" if why else "")


def reason_words(due: Due) -> str:
    """What passes an agreed limit first: one thing, or two where it is unclear which."""
    likely = [reason for reason in due.reasons if reason.share >= 1 / 3][:2]
    return " or ".join(say_limit(reason.name, due.region) for reason in likely)


def each_reason(due: Due) -> list[str]:
    """A line for each agreed limit."""
    return [
        f"{sentence_case(say_limit(each.name, due.region))}: {_own_words(each, due.region)}" for each in due.reasons
    ]


def between(early: date, late: date) -> str:
    """Two days as ``3 and 19 May 2026``, saying month and year once where they are the same."""
    if early == late:
        return day(late)
    if (early.year, early.month) == (late.year, late.month):
        return f"{early.day} and {day(late)}"
    if early.year == late.year:
        return f"{early.day} {early:%B} and {day(late)}"
    return f"{day(early)} and {day(late)}"


def evenly(middle: date) -> str:
    """The day before which half of the cases fall."""
    return f"as likely before as after {day(middle)}"


def calendar_description(due: Due, contact: str) -> str:
    """What a calendar says about one client."""
    if due.early is None or due.late is None:
        return say_no_date(due.why_not, due.region)
    lines = [f"Refresh window: between {between(due.early, due.late)} (80 of 100 cases)."]
    if due.reasons:
        lines.append(f"Agreed limits: {listed(say_limit(reason.name, due.region) for reason in due.reasons)}.")
    if contact:
        lines.append(contact)
    return "\n".join(lines)


def _own_words(reason: Reason, region: str) -> str:
    if reason.early is None or reason.middle is None or reason.late is None:
        return say_no_date(reason.why_not, region) or "no date can be given."
    passed = "passed, " if reason.state == "passed" else ""
    return f"{passed}between {between(reason.early, reason.late)}, {evenly(reason.middle)}."
