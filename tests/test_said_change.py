"""Every sentence that a band's two answers can make: short, whole, and never at odds with its numbers."""

from __future__ import annotations

import re
from itertools import product

import pytest

from tracker.calibrate.level import Lift
from tracker.compare.answer import Answer, Spread, answer_lightness, answer_tone
from tracker.compare.change import CANNOT_TELL, Change, Size, verdict_of
from tracker.compare.comparison import RegionChange, Remedy
from tracker.compare.transition import Interval
from tracker.maths.quantities import Measured
from tracker.measure.reading import REGIONS
from tracker.said.aloud import tell
from tracker.said.colour import say_change, signed_interval

# of a margin of 2.5: little, some, a lot, either way; none; and nothing that can be told
SEEN = {
    "a little lighter": (1.2, 0.25),
    "lighter": (3.0, 1.0),
    "clearly lighter": (8.0, 1.0),
    "a little darker": (-1.2, 0.25),
    "darker": (-3.0, 1.0),
    "clearly darker": (-8.0, 1.0),
    "no difference": (0.2, 0.5),
    "cannot tell": (1.5, 4.0),
}
TONES = {words.replace("lighter", "warmer").replace("darker", "ashier"): seen for words, seen in SEEN.items()}
REMEDIES: dict[Remedy, str] = {
    "more photos": "Two more photos of each should settle it.",
    "photos anew": "Three photos of each should settle it, "
    "with the hair combed and the card taken up again between them.",
    "set-up check": "More photos would not settle it; a set-up check may.",
    "one kit": "Photos taken with the same camera, card and light would tell more.",
    "nothing": "More photos would not settle it: visits here differ by more than that.",
}
PAIRS = list(product(SEEN, TONES))


def band(lightness: Answer, tone: Answer, remedy: Remedy, name: str = "end", levels: bool = True) -> RegionChange:
    verdict = verdict_of(lightness, tone)
    change = Change(
        (lightness.value, 0.0, tone.value),
        (1.0, 1.0, 1.0),
        Size(3.0, 1.0, 5.0),
        0.01,
        verdict,
        lightness.changed,
        tone.changed,
        3 if remedy == "more photos" else None,
        3 if remedy == "photos anew" else None,
    )
    in_levels = Interval(lightness.value, lightness.low, lightness.high).times(0.25) if levels else None
    return RegionChange(name, Lift(None), Measured(0.0, 1.0), lightness, in_levels, tone, change, (1, 1), remedy)


def asked(first: str, second: str) -> tuple[Answer, Answer]:
    (value, variance), (turn, doubt) = SEEN[first], TONES[second]
    return answer_lightness(value, Spread(variance), 2.5), answer_tone(turn, Spread(doubt), 2.5)


@pytest.mark.parametrize(("first", "second"), PAIRS)
@pytest.mark.parametrize("levels", [True, False])
def test_every_pair_of_answers_is_said_without_a_contradiction(first: str, second: str, levels: bool) -> None:
    lightness, tone = asked(first, second)
    for name, remedy in product(REGIONS, REMEDIES):
        said = say_change(band(lightness, tone, remedy, name, levels))
        sentences = re.findall(r"[^.!?]+(?:\.\d[^.!?]*)*[.]", said)
        assert "".join(sentences) == said
        assert all(len(each.split()) <= 25 for each in sentences), said
        assert not re.search(r"  |\(\)|, \.|: \.|None|±|kit|stop", said), said
        # a word for a change stands there just where its interval excludes zero
        for word, there in (
            ("lighter, by", lightness.low > 0),
            ("darker, by", lightness.high < 0),
            ("warmer", tone.low > 0),
            ("ashier", tone.high < 0),
            ("no difference in lightness", lightness.says == "no difference"),
            ("too close to call", not (lightness.sure and tone.sure)),
        ):
            assert (word in said) is there, said
        if lightness.changed:
            assert said.split(": ")[1].startswith(first)
            assert "(0.0" not in said
        if tone.changed:
            assert second in said
        verdict = verdict_of(lightness, tone)
        assert said.endswith(REMEDIES[remedy]) is (verdict == CANNOT_TELL)
        assert "settle" not in say_change(band(lightness, tone, remedy, name, levels), to_others=True)


@pytest.mark.parametrize(("first", "second"), PAIRS)
def test_what_is_read_aloud_agrees(first: str, second: str) -> None:
    lightness, tone = asked(first, second)
    said = tell([band(lightness, tone, "nothing")])
    assert ("lighter" in said) is (lightness.low > 0)
    assert ("darker" in said) is (lightness.high < 0)
    assert ("warmer" in said) is (tone.low > 0)
    assert ("ashier" in said) is (tone.high < 0)
    assert "of another tone" not in said
    assert not re.search(r"[±%()]|\d\.\d|  ", said)


def test_an_interval_shows_its_signs() -> None:
    assert signed_interval(Interval(2.14, 1.71, 2.55)) == "+2.1 (+1.7 to +2.5)"
    assert signed_interval(Interval(-0.01, -0.5, 0.44)) == "0.0 (−0.5 to +0.4)"
