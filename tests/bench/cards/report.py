"""The figures of a run as tables and as plain numbers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, get_args

import numpy as np

from tests.bench.cards.composite import PARTLY
from tests.bench.cards.run import NO_CARD, SOURCES, Answer, Outcome

OUTCOMES: tuple[Outcome, ...] = get_args(Outcome)
_GOAL = 0.003  # of the frame's width: how near corners ought to be
_WIDE = 24


def figures(answers: Sequence[Answer]) -> dict[str, Any]:
    """Counts and errors of one kind of card, by source.

    Parameters
    ----------
    answers : of one kind
    """
    with_card = [answer for answer in answers if answer.source != NO_CARD]
    groups = {"all with a card": with_card}
    groups |= {source: [a for a in with_card if a.source == source] for source in SOURCES}
    for trait in sorted({trait for a in with_card for trait in a.traits}):
        groups[trait] = [a for a in with_card if trait in a.traits]
    groups[NO_CARD] = [a for a in answers if a.source == NO_CARD]
    return {name: _figures(group) for name, group in groups.items() if group} | {"seconds": _times(answers)}


def _figures(group: list[Answer]) -> dict[str, Any]:
    counts: dict[str, Any] = {outcome: sum(a.outcome == outcome for a in group) for outcome in OUTCOMES}
    counts["as it should be"] = sum(_as_it_should_be(a) for a in group)
    off = np.array([a.off for a in group if a.outcome.startswith("right")])
    if len(off):
        counts["corners"] = {
            "median": float(np.median(off)),
            "90th": float(np.quantile(off, 0.9)),
            "max": float(off.max()),
            "within the goal": float(np.mean(off <= _GOAL)),
        }
    return counts


def _as_it_should_be(answer: Answer) -> bool:
    """Found; where not all of the card is seen, asked about will do; where there is none, none."""
    if answer.source == NO_CARD:
        return answer.outcome == "none"
    if answer.traits & PARTLY:
        return answer.outcome in ("right and sure", "right but asked", "wrong but asked")
    return answer.outcome == "right and sure"


def _times(answers: Sequence[Answer]) -> dict[str, float]:
    seconds = [answer.seconds for answer in answers]
    return {"median": float(np.median(seconds)), "90th": float(np.quantile(seconds, 0.9))} if seconds else {}


def table(kind: str, numbers: dict[str, Any]) -> str:
    """The figures of a kind, to be read.

    Parameters
    ----------
    kind : str
    numbers : from `figures`
    """
    lines = [
        f"{'':{_WIDE}}                 right       wrong          as it     corners, % of width",
        f"{kind:{_WIDE}}photos   sure  asked   sure  asked   none  should be  median   90th    max   < 0.3 %",
    ]
    for name, row in numbers.items():
        if name == "seconds":
            continue
        sure, asked, none, wrong_asked, wrong = (row[outcome] for outcome in OUTCOMES)
        total = sure + asked + none + wrong_asked + wrong
        line = f"{name:{_WIDE}}{total:6}{sure:7}{asked:7}{wrong:7}{wrong_asked:7}{none:7}"
        line += f"{100 * row['as it should be'] / total:9.1f} %"
        if "corners" in row:
            median, ninth, most, goal = row["corners"].values()
            line += f"{100 * median:8.3f}{100 * ninth:7.3f}{100 * most:7.3f}{100 * goal:8.0f} %"
        lines.append(line)
    times = numbers["seconds"]
    if times:
        lines.append(f"seconds a photo: median {times['median']:.2f}, 90th {times['90th']:.2f}")
    return "\n".join(lines)


def troubles(answers: Sequence[Answer]) -> str:
    """The photos to look at, one a line: wrong and sure, and ordinary ones taken or asked about.

    Parameters
    ----------
    answers : of one kind
    """
    worst = [a for a in answers if a.outcome == "wrong and sure" or (a.source == NO_CARD and a.outcome != "none")]
    return "\n".join(
        f"  {a.outcome if a.source != NO_CARD else ('taken' if a.outcome == 'wrong and sure' else 'asked')}: "
        f"{a.source} {a.name} {a.reason} {a.score:.2f}"
        + (f", off by {100 * a.off:.1f} %" if a.off is not None else "")
        + (f" ({', '.join(sorted(a.traits))})" if a.traits else "")
        for a in worst
    )
