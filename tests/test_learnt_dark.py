"""What photos tell of a card's dark half: simulated studios whose dark halves are known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tracker.calibrate.learnt_dark import FEWEST, CardSeen, learn_dark
from tracker.measure.dark_half import NOMINAL as PRIOR
from tracker.measure.dark_half import contrast_left, u_of_contrast
from tracker.measure.reading import DarkHalf

GREY, NOMINAL = 0.18, 0.05


def studio(
    rng: np.random.Generator,
    cards: tuple[float, ...],
    visits: int,
    *,
    cameras: int = 1,
    used: tuple[float, ...] | None = None,
    wander: float = 0.05,
) -> list[list[CardSeen]]:
    """Photos with each card in turn, three a visit; each camera makes of the contrast what it does.

    That is drawn as wide as six published photos of a chart and rendered looks show it: 0.62 to 1.1.
    """
    own = np.exp(rng.normal(0.0, 0.2, cameras))
    found = []
    for place, (dark, taken_for) in enumerate(zip(cards, used or (NOMINAL,) * len(cards), strict=True)):
        photos = []
        for visit in range(visits):
            here = rng.normal(0.0, wander)
            for _ in range(3):
                power = own[visit % cameras] * math.exp(here + rng.normal(0.0, 0.02))
                exponent = math.log(GREY / taken_for) / (power * math.log(GREY / dark))
                photos.append(CardSeen(f"camera {visit % cameras}", f"{place}-{visit}", exponent, GREY, taken_for))
        found.append(photos)
    return found


def test_too_few_visits_say_nothing() -> None:
    rng = np.random.default_rng(1)
    [photos] = studio(rng, (0.046,), FEWEST - 1)
    assert learn_dark(photos, NOMINAL) is None
    assert learn_dark([], NOMINAL) is None


def test_one_camera_with_one_card_says_next_to_nothing_and_so_it_is_not_used() -> None:
    rng = np.random.default_rng(2)
    [photos] = studio(rng, (0.042,), 60)
    learnt = learn_dark(photos, NOMINAL)
    assert learnt is not None
    assert not learnt.compared
    assert not learnt.is_worth_using
    assert learnt.known.u is not None
    assert 0.85 * PRIOR < learnt.known.u / learnt.known.reflectance <= PRIOR


@pytest.mark.parametrize("new", [0.041, 0.05, 0.062])
def test_a_new_card_is_known_by_the_photos_with_the_one_before_it(new: float) -> None:
    rng = np.random.default_rng(3)
    before, now = studio(rng, (0.046, new), 24, used=(0.046, NOMINAL))
    learnt = learn_dark(now, NOMINAL, before, DarkHalf(0.046))
    assert learnt is not None
    assert learnt.compared
    assert learnt.is_worth_using
    assert (learnt.photos, learnt.visits) == (72, 24)
    assert learnt.known.u is not None
    assert abs(learnt.known.reflectance - new) < 2.5 * learnt.known.u


def test_the_prior_is_what_the_kind_of_card_says_of_its_contrast() -> None:
    for u in (0.05, 0.1, 0.16):
        assert u_of_contrast(GREY, NOMINAL, contrast_left(GREY, NOMINAL, u * NOMINAL)) == pytest.approx(u)
    [photos] = studio(np.random.default_rng(7), (0.05,), 30)
    wide, narrow = (learn_dark(photos, NOMINAL, prior=prior) for prior in (0.2, 0.05))
    assert wide is not None
    assert narrow is not None
    assert (wide.known.u or 0) > (narrow.known.u or 0)


def test_what_it_was_taken_for_meanwhile_changes_nothing() -> None:
    found = []
    for used in (NOMINAL, 0.06):
        before, now = studio(np.random.default_rng(4), (0.046, 0.055), 12, used=(0.046, used))
        learnt = learn_dark(now, NOMINAL, before, DarkHalf(0.046))
        assert learnt is not None
        found.append(learnt.known.reflectance)
    assert found[0] == pytest.approx(found[1])


@pytest.mark.parametrize(("visits", "cameras", "given"), [(8, 1, True), (24, 2, True), (12, 1, False), (30, 3, False)])
def test_the_stated_uncertainty_holds(visits: int, cameras: int, given: bool) -> None:
    """A new card in 300 studios; the cards differ as the nominal value is said to."""
    rng = np.random.default_rng(5)
    held, held_one, sizes = [], [], []
    for _ in range(300):
        old, new = NOMINAL * np.exp(rng.normal(0.0, PRIOR, 2))
        stated = old * math.exp(rng.normal(0.0, 0.03)) if given else NOMINAL
        before, now = studio(rng, (old, new), visits, cameras=cameras, used=(stated, NOMINAL))
        for where, learnt in (
            (held, learn_dark(now, NOMINAL, before, DarkHalf(stated) if given else None)),
            (held_one, learn_dark(now, NOMINAL)),
        ):
            assert learnt is not None
            assert learnt.known.u is not None
            where.append(abs(learnt.known.reflectance - new) / learnt.known.u)
        sizes.append(learnt.known.u)
    for found in (held, held_one):
        assert 0.90 < np.mean(np.array(found) < 1.96) <= 1.0
        assert np.mean(np.array(found) < 0.674) > 0.38  # half of the errors are within 0.674 u of a normal law


def test_with_it_photos_with_both_cards_agree() -> None:
    """The exponents that both cards give for one camera: 12 % apart by the nominal value, 3 % by the learnt one."""
    rng = np.random.default_rng(6)
    apart: dict[str, list[float]] = {"nominal": [], "learnt": []}
    for _ in range(60):
        before, now = studio(rng, (0.05, 0.0425), 16)
        learnt = learn_dark(now, NOMINAL, before)
        assert learnt is not None
        old = float(np.median([seen.exponent for seen in before]))
        for name, dark in (("nominal", NOMINAL), ("learnt", learnt.known.reflectance)):
            new = np.median([math.log(GREY / dark) / seen.contrast for seen in now])
            apart[name].append(abs(math.log(new / old)))
    assert np.median(apart["nominal"]) > 0.10
    assert np.median(apart["learnt"]) < 0.04
