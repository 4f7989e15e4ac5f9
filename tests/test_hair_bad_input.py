"""Photos and outlines that no number may come from, and what is said instead.

The photos are rendered (`tests/bench/heads/make/unusual.py`): what is hair in them is known. Decisions:

* A hat, a face, a brush before the hair, a second head, hair over a shoulder: no number until a person draws the
  outline, because nobody can know which part was meant.
* A ponytail or a plait is hair, but a colourist compares loose hair with loose hair: its roots lie stretched over the
  head and its lengths show one side. Asked about; measured when a person draws it.
* Wet hair is darker, truly: the number is the colour of wet hair, and no single photo can tell it from darker dry
  hair. It is measured; the advice before the photo asks for dry hair, and a check speaks where it shines.
"""

from dataclasses import replace

import numpy as np
import pytest

from tests import scenes
from tests.bench.heads.unusual import Unusual, unusual
from tracker.errors import HairError, HairNotFound, InvalidMarks, InvalidOutline, OutsidePhoto
from tracker.measure import find_marks, measure_photo
from tracker.measure.hair import doubt
from tracker.measure.hair.mask import HairMask
from tracker.measure.hair.outline import Outline
from tracker.measure.quality import check_outline
from tracker.measure.reading import Marks

WITHHELD = sorted(name for name in unusual() if not name.startswith(("wet", "brush_0")))
ADVICE = {advice for _, advice in doubt.SENTENCES.values()}


def taps(photo: Unusual) -> tuple[tuple[float, float], ...]:
    """Root, middle and tip, as a person taps them."""
    return photo.path[0], photo.path[len(photo.path) // 2], photo.path[-1]


@pytest.mark.parametrize("name", WITHHELD)
def test_no_number_but_a_sentence_where_hair_cannot_be_told_from_something_else(name):
    photo = unusual()[name]
    picture = photo.picture
    said = []
    for path in (photo.path, taps(photo)):
        try:
            reading = measure_photo(picture, replace(photo.marks, path=path))
        except HairError as refused:
            said.append((refused.what, refused.advice))
            continue
        assert not reading.regions
        check = next(check for check in reading.checks if check.name == "hair_found")
        assert not check.ok
        assert check.stops
        assert check.advice in ADVICE
        said.append((check.says, check.advice))
    assert all(text.endswith(".") for pair in said for text in pair)


@pytest.mark.parametrize("name", WITHHELD)
def test_without_a_path_the_suggestion_is_doubted(name):
    photo = unusual()[name]
    found = find_marks(photo.picture, "grey18", corners=photo.corners)
    if found.hair is None:
        assert (found.doubt.what, found.doubt.advice) in doubt.SENTENCES.values()
        try:
            reading = measure_photo(photo.picture, replace(found.marks, outline=None))
        except HairError:
            return
        assert not reading.regions


@pytest.mark.parametrize(
    ("name", "word"), [("hat_0", "hat"), ("heads_1", "another head"), ("brush_1", "brush"), ("ponytail_1", "tail")]
)
def test_the_sentence_names_what_it_may_be(name, word):
    photo = unusual()[name]
    found = find_marks(photo.picture, "grey18", corners=photo.corners)
    assert word in found.doubt.what


def test_a_brush_beside_the_hair_is_left_out_and_the_number_is_right():
    photo = unusual()["brush_0"]
    picture = photo.picture
    reading = measure_photo(picture, photo.marks)
    true = measure_photo(picture, replace(photo.marks, outline=HairMask(photo.hair(), 1.0).outline().points))
    assert len(reading.regions) == 3
    for found, exact in zip(reading.regions, true.regions, strict=True):
        off = np.abs(np.subtract(found.lab.lab, exact.lab.lab))
        assert np.all(off < 2 * np.asarray(found.lab.u)), found.name
        assert off.max() < 1.0  # and it moves no reading: less than anyone sees


@pytest.mark.parametrize("name", ["wet_0", "wet_1"])
def test_wet_hair_is_found_and_read_as_it_looks(name):
    photo = unusual()[name]
    picture = photo.picture
    marks = find_marks(picture, "grey18", corners=photo.corners).marks
    true = photo.hair()
    rows, columns = np.mgrid[: true.shape[0], : true.shape[1]] + 0.5
    outline = measure_photo(picture, marks).outline
    inside = Outline(tuple(outline)).holds(columns, rows)
    assert (inside & true).sum() / (inside | true).sum() > 0.9


@pytest.mark.parametrize("name", ["ponytail_1", "ponytail_2"])
def test_a_ponytail_that_a_person_draws_is_measured(name):
    photo = unusual()[name]
    x, y = np.asarray(photo.path[2:]).T
    half = 18.0
    tail = [(float(a) - half, float(b)) for a, b in zip(x, y, strict=True)]
    tail += [(float(a) + half, float(b)) for a, b in zip(x[::-1], y[::-1], strict=True)]
    path = tuple((float(a), float(b)) for a, b in zip(x, y, strict=True))
    reading = measure_photo(photo.picture, replace(photo.marks, path=path, outline=tuple(tail)))
    assert len(reading.regions) == 3


class TestOutlines:
    """Outlines that are none, on the drawn head."""

    def refused(self, outline, error, path=scenes.PATH):
        marks = Marks("grey18", scenes.CARD, path, None, outline=outline)
        with pytest.raises(error) as caught:
            measure_photo(scenes.photograph(scenes.scene()), marks)
        assert caught.value.what.endswith(".")
        assert caught.value.advice.endswith(".")
        return caught.value

    def test_two_points(self):
        found = self.refused(((200.0, 200.0), (400.0, 900.0)), InvalidOutline)
        assert "2 points" in found.what

    def test_crossing_itself(self):
        found = self.refused(((150.0, 100.0), (450.0, 1000.0), (450.0, 100.0), (150.0, 1000.0)), InvalidOutline)
        assert "crosses itself" in found.what

    def test_outside_the_photo(self):
        self.refused(((150.0, 100.0), (450.0, 100.0), (450.0, 1400.0), (150.0, 1400.0)), OutsidePhoto)

    def test_all_card(self):
        middle = np.mean(scenes.CARD, axis=0)
        corners = tuple((float(x), float(y)) for x, y in middle + 0.8 * (np.asarray(scenes.CARD) - middle))
        path = ((float(middle[0]), corners[0][1] + 5), (float(middle[0]), corners[2][1] - 5))
        self.refused(corners, (HairNotFound, InvalidMarks), path)

    def test_all_wall(self):
        wall = ((550.0, 60.0), (880.0, 60.0), (880.0, 420.0), (550.0, 420.0))
        found = self.refused(wall, HairNotFound, ((700.0, 80.0), (700.0, 400.0)))
        assert "no strands" in found.what

    def test_a_part_of_the_hair_is_hair_though_what_is_round_it_is_the_same(self):
        part = ((250.0, 300.0), (360.0, 300.0), (360.0, 800.0), (250.0, 800.0))
        marks = Marks("grey18", scenes.CARD, ((305.0, 320.0), (305.0, 780.0)), None, outline=part)
        assert measure_photo(scenes.photograph(scenes.scene()), marks).ok


def test_every_doubt_has_two_sentences_that_a_check_can_say():
    for name, (seen, advice) in doubt.SENTENCES.items():
        assert seen.endswith(".")
        assert advice.endswith(".")
        check = check_outline(0.9, name)
        assert (check.says, check.advice, check.ok) == (seen, advice, False)
    assert check_outline(0.1, "").ok
