"""What a photo was taken with, and when two photos count as taken with the same."""

from __future__ import annotations

import pytest

from tracker.measure.kit import Kit, match_kits
from tracker.said.colour import say_kits

KIT = Kit("Maker Model", "grey18", "daylight", gains=(1.0, 1.0, 1.0), reflectance=0.18)


@pytest.mark.parametrize(
    ("other", "same", "words"),
    [
        (KIT, True, "Same camera, card and light."),
        (Kit("Another", "grey18", "daylight"), False, "another camera"),
        (Kit("Maker Model", "steps3", "salon lamps"), False, "another card and another light"),
        (Kit("Maker Model", "grey18", "daylight", reflectance=0.5), False, "another card"),
        (Kit("Maker Model", "grey18", "daylight", developed=True), False, "another kind of file"),
        (Kit("Maker Model", "grey18", "daylight", gains=(1.1, 1.0, 0.92)), True, "Same camera"),
        # the gains of Planck's light of 2850 K in sRGB, by colour-science (Kang et al. 2002)
        (Kit("Maker Model", "grey18", "daylight", gains=(0.45, 1.0, 3.55)), True, "the card has taken that out"),
        (Kit("Maker Model", "grey18", None, gains=(0.45, 1.0, 3.55)), True, "If the light was, the camera"),
        (Kit("Maker Model", "grey18", "salon lamps", gains=(1.0, 1.0, 1.0)), False, "another light"),
        # sRGB's green to three parts in four: no daylight and no bulb
        (Kit("Maker Model", "grey18", None, gains=(4.0, 1.0, 4.0)), False, "another light"),
        (Kit("Maker Model", "grey18", "daylight", gains=(4.0, 1.0, 4.0)), True, "Same camera"),
        (Kit(None, "grey18", "daylight"), True, "The camera was not noted"),
        (Kit(None, "grey18", None), True, "Camera and light were not noted"),
    ],
)
def test_kits(other: Kit, same: bool, words: str) -> None:
    match = match_kits(KIT, other)
    assert match.same is same
    assert words in say_kits(match)
