"""Marking the whole hair without a browser: found, doubted, tapped, drawn, and photos marked along a ribbon before."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageDraw
from scenes import CARD, OUTLINE, PATH, Drawn, marks, ribbon
from streamlit.testing.v1 import AppTest
from test_pages_harness import (
    Filled,
    assert_no_failure,
    drawn_photo,
    open_page,
    sent,
    words,
)
from test_pages_new_visit import client as client
from test_pages_new_visit import look_right, named, shown_draft, upload

from tracker import workflow
from tracker.errors import CardAmbiguous, CardNotFound, HairInDoubt, HairNotFound, InvalidOutline
from tracker.measure import Suggestion, find_marks
from tracker.measure.hair import DOUBTS, Outline
from tracker.measure.reading import RIBBON, WHOLE, Marks, Point
from tracker.record.records import AFTER, BEFORE, PROGRESS, Client, Draft, PhotoRecord
from tracker.store import Store
from tracker.ui.parts import marked_card
from tracker.ui.parts.held import key_of
from tracker.ui.parts.passing_photos import _Passing

pytest_plugins = ("test_pages_harness",)

TAPS = ((300.0, 120.0), (305.0, 500.0), (310.0, 980.0))
NOWHERE = HairNotFound("No hair was found about the middle of the photo.", "Tap the root, the middle and the tip.")
Search = Callable[..., Suggestion]


def flat(colour: tuple[int, int, int] = (150, 150, 150), hair: bool = False) -> bytes:
    """A wall, and nothing in front of it but the card, or a plain dark block that is not found to be hair."""
    picture = Image.new("RGB", (900, 1100), colour)
    if hair:
        picture.paste((70, 50, 40), (150, 100, 450, 1000))
    stream = io.BytesIO()
    picture.save(stream, "JPEG", quality=95)
    return stream.getvalue()


def to_marks(client: Client, content: bytes | None = None) -> AppTest:
    """The marks step with one photo."""
    test = open_page("new_visit", client=client.id)
    upload(test, "before", content or drawn_photo(40.0))
    test.button(key="to-marks").click().run()
    assert_no_failure(test)
    return test


def photo_of(test: AppTest, store: Store) -> PhotoRecord:
    [photo] = shown_draft(test, store).photos
    return photo


def marks_of(test: AppTest, store: Store) -> Marks:
    found = photo_of(test, store).marks
    assert found is not None
    return found


def put(test: AppTest, store: Store, **where: Any) -> AppTest:
    """Let the editor send marks, as its browser part does."""
    photo_id = photo_of(test, store).id
    rev = test.session_state[key_of(marked_card.Looked, photo_id)].rev
    test.session_state[f"marks-{photo_id}"] = sent(rev, **where)
    test.run()
    assert_no_failure(test)
    return test


def answer(monkeypatch: pytest.MonkeyPatch, change: Callable[[Suggestion, Any], Suggestion]) -> list[dict[str, Any]]:
    """Let every search for marks answer what `change` makes of it; gives what was asked for."""
    search, asked = workflow.suggest_marks, []

    def changed(*given: Any, **named_: Any) -> Suggestion:
        asked.append({name: named_.get(name) for name in ("corners", "path", "near") if name in named_})
        return change(search(*given, **named_), named_)

    monkeypatch.setattr(workflow, "suggest_marks", changed)
    return asked


def without_hair(found: Suggestion, given: Any) -> Suggestion:
    """Nothing was found."""
    return Suggestion(replace(found.marks, outline=None, path=given.get("path") or ()), found.card, NOWHERE)


def test_clear_hair_only_needs_a_look(store: Store, client: Client) -> None:
    test = to_marks(client)
    said = words(test)
    assert "round all of the hair" in said
    assert "from root to tip" in said
    assert "not found for sure" not in said
    right = test.button(key="right-before")
    assert right.proto.type == "primary"
    assert not right.disabled
    found = marks_of(test, store)
    assert found.width is None
    # the ellipse that `scenes.scene` draws, by its area
    assert Outline(found.outline or ()).area == pytest.approx(np.pi * 170 * 510, rel=0.1)
    right.click().run()
    assert_no_failure(test)
    measured = photo_of(test, store).reading
    assert measured is not None
    assert (measured.ok, measured.hair, measured.outline) == (True, WHOLE, found.outline)


def test_a_card_in_question_is_asked_about_and_a_person_may_say_yes(
    store: Store, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = CardAmbiguous("More than one thing looks like the card.", "Look whether the outline lies on it.")
    answer(monkeypatch, lambda found, _: replace(found, card=asked))
    test = to_marks(client)
    assert asked.what in words(test)
    assert asked.advice in words(test)
    assert test.button(key="right-before").proto.type == "secondary"
    corners = marks_of(test, store).corners or ()
    put(test, store, corners=((corners[0][0] + 9.0, corners[0][1]), *corners[1:]))
    assert asked.what not in words(test), "somebody moved it"
    again = to_marks(client, drawn_photo(41.0))
    again.button(key="right-before").click().run()
    assert_no_failure(again)
    reading = photo_of(again, store).reading
    assert reading is not None
    assert reading.ok


@pytest.mark.parametrize("name", ["unclear", "frame", "small"])
def test_a_doubt_is_said_with_what_to_do_until_a_person_says_yes_or_moves_the_line(
    store: Store, client: Client, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    doubt, advice = DOUBTS[name]
    answer(monkeypatch, lambda found, _: replace(found, doubt=HairInDoubt(doubt, advice)))
    test = to_marks(client)
    assert doubt in words(test)
    assert f"{advice} Follow the line all the way round" in words(test)
    found = marks_of(test, store).outline or ()
    shifted = (((found[0][0] + 0.04), found[0][1]), *found[1:])
    put(test, store, outline=shifted)
    assert doubt in words(test), "the browser rounds; nobody moved anything"
    assert test.button(key="right-before").proto.type == "secondary"
    put(test, store, outline=OUTLINE)
    assert doubt not in words(test)
    assert test.button(key="right-before").proto.type == "primary"
    again = to_marks(client, drawn_photo(41.0))
    again.button(key="right-before").click().run()
    assert_no_failure(again)
    reading = photo_of(again, store).reading
    assert reading is not None
    assert reading.ok, "a person's yes is knowledge"
    assert doubt not in words(again)


def test_a_reload_does_not_forget_a_doubt(store: Store, client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    answer(monkeypatch, lambda found, _: replace(found, doubt=HairInDoubt(*DOUBTS["unclear"])))
    draft = shown_draft(to_marks(client), store)
    assert DOUBTS["unclear"][0] in words(open_page("new_visit", draft=draft.id))


def test_where_no_hair_is_found_three_taps_find_it(
    store: Store, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = answer(monkeypatch, lambda found, given: found if given.get("path") else without_hair(found, given))
    test = to_marks(client)
    assert "No hair was found" in words(test)
    assert "Tap the root, the middle and the tip" in words(test)
    assert test.button(key="right-before").disabled
    assert marks_of(test, store).outline is None
    put(test, store, path=TAPS, outline=None)
    assert asked[-1] == {"corners": CARD, "path": TAPS, "near": None}
    found = marks_of(test, store)
    assert found.path == TAPS
    assert Outline(found.outline or ()).area == pytest.approx(np.pi * 170 * 510, rel=0.1)
    assert "No hair was found" not in words(test)
    test.button(key="right-before").click().run()
    reading = photo_of(test, store).reading
    assert reading is not None
    assert reading.ok


def test_where_taps_find_nothing_a_plain_outline_is_offered(
    store: Store, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = answer(monkeypatch, without_hair)
    test = to_marks(client)
    put(test, store, path=TAPS, outline=None)
    searched = len(asked)
    assert "along these points" in words(test)
    test.run()
    assert len(asked) == searched, "looked for once"
    assert test.button(key="right-before").disabled
    test.button(key="plain-before").click().run()
    assert_no_failure(test)
    outline = Outline(marks_of(test, store).outline or ())
    assert all(outline.holds(np.array([x]), np.array([y]))[0] for x, y in TAPS)
    # a fifth of the photo's width over the length of the taps, and a twentieth more at each end
    length = 980.0 - 120.0
    assert outline.area == pytest.approx(0.2 * 900 * length * 1.1, rel=0.02)
    assert "along these points" not in words(test)
    test.button(key="right-before").click().run()
    assert_no_failure(test)
    assert photo_of(test, store).reading is not None


def test_an_outline_that_cannot_be_used_says_so_after_the_taps(
    store: Store, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    small = InvalidOutline("The outline holds 900 pixels (at least 2500).", "Draw it round all of the hair.")
    answer(monkeypatch, lambda found, given: replace(without_hair(found, given), hair=small))
    test = to_marks(client)
    put(test, store, path=TAPS, outline=None)
    assert "holds 900 pixels" in words(test)
    assert any(button.key == "plain-before" for button in test.button)


def test_starting_again_asks_for_taps_and_the_same_taps_are_looked_along_again(store: Store, client: Client) -> None:
    test = to_marks(client)
    for _ in range(2):
        put(test, store, path=(), outline=None)
        assert "Tap the root, the middle and the tip" in words(test)
        assert test.button(key="right-before").disabled
        put(test, store, path=TAPS, outline=None)
        assert marks_of(test, store).outline is not None
        assert not test.button(key="right-before").disabled


@pytest.mark.parametrize(
    ("outline", "said"),
    [
        (((100.0, 100.0), (500.0, 1000.0), (500.0, 100.0), (100.0, 1000.0)), "crosses itself"),
        (((300.0, 300.0), (310.0, 300.0), (310.0, 310.0)), "round all of the hair"),
        (tuple(CARD), "nothing but the card"),
    ],
)
def test_an_outline_that_cannot_be_is_refused_in_a_sentence_and_stays(
    store: Store, client: Client, outline: tuple[Point, ...], said: str
) -> None:
    test = to_marks(client)
    put(test, store, outline=outline)
    test.button(key="right-before").click().run()
    assert_no_failure(test)
    assert "No number" in words(test)
    assert said in words(test)
    assert marks_of(test, store).outline == outline
    assert photo_of(test, store).reading is None


def test_looking_for_the_card_keeps_the_hair_and_looking_for_the_hair_keeps_the_card(
    store: Store, client: Client
) -> None:
    test = to_marks(client)
    first = marks_of(test, store)
    moved = tuple((x + 30.0, y) for x, y in CARD)
    put(test, store, corners=moved, outline=OUTLINE)
    test.button(key="again-before").click().run()
    assert marks_of(test, store).corners == first.corners
    assert marks_of(test, store).outline == OUTLINE
    put(test, store, corners=moved, outline=OUTLINE)
    test.button(key="hair-again-before").click().run()
    assert_no_failure(test)
    assert marks_of(test, store).corners == moved
    assert marks_of(test, store).outline not in (OUTLINE, None)


def test_looking_for_the_hair_in_vain_keeps_the_line(
    store: Store, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    test = to_marks(client)
    put(test, store, outline=OUTLINE)
    answer(monkeypatch, without_hair)
    test.button(key="hair-again-before").click().run()
    assert marks_of(test, store).outline == OUTLINE
    assert "The line stays as it was" in words(test)
    assert not test.button(key="right-before").disabled


# --- where the card's corners lie ------------------------------------------------------------------------------------

OFF_THE_CARD = tuple((x - 150.0, y) for x, y in CARD)
"""On the wall between the hair and the card that `scenes.scene` draws."""
WRONG = "The corners do not lie on the card"


def has(test: AppTest, key: str) -> bool:
    return any(button.key == key for button in test.button)


def locked(test: AppTest, key: str = "right-before") -> bool:
    """Whether what looks right cannot be said."""
    return bool(test.button(key=key).disabled)


def lost(found: Suggestion, given: Any) -> Suggestion:
    """The card was not found, unless somebody tapped it."""
    if given.get("near"):
        return found
    away = replace(found.marks, corners=OFF_THE_CARD)
    return replace(found, marks=away, card=CardNotFound("No card of this kind stands clear in the photo.", "Mark it."))


def test_a_card_that_is_missed_locks_the_way_on_until_its_corners_are_put_in_place(
    store: Store, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer(monkeypatch, lost)
    test = to_marks(client)
    said = words(test)
    assert "No card of this kind stands clear" in said
    assert "Tap inside the card, or drag its corners" in said
    assert locked(test)
    assert test.button(key="right-before").proto.type == "secondary"
    assert not has(test, "vouch-before"), "nobody has placed a card yet"
    put(test, store, corners=CARD)
    assert "No card of this kind stands clear" not in words(test)
    assert not locked(test)
    assert test.button(key="right-before").proto.type == "primary"


def test_the_warning_goes_when_the_corners_are_mended_and_comes_back_when_they_are_not(
    store: Store, client: Client
) -> None:
    test = to_marks(client)
    assert not locked(test)
    for _ in range(2):
        put(test, store, corners=OFF_THE_CARD)
        assert WRONG in words(test)
        assert "Drag each corner onto its corner of the card" in words(test)
        assert locked(test)
        put(test, store, corners=CARD)
        assert WRONG not in words(test)
        assert not locked(test)
        test.button(key="right-before").click().run()
        assert photo_of(test, store).reading is not None
        test.button(key="step-back").click().run()  # measured, and moved once more


def test_a_yes_counts_only_where_the_outline_reads_as_the_card(
    store: Store, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = CardAmbiguous("More than one thing looks like the card.", "Look whether the outline lies on it.")
    answer(monkeypatch, lambda found, _: replace(lost(found, {}), card=asked))
    test = to_marks(client)
    assert WRONG in words(test)
    assert locked(test)


def test_one_tap_in_the_card_finds_it_and_keeps_the_hair(
    store: Store, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = answer(monkeypatch, lost)
    test = to_marks(client)
    put(test, store, corners=OFF_THE_CARD, outline=OUTLINE, near=[715.0, 620.0])
    assert asked[-1]["near"] == (715.0, 620.0)
    assert np.abs(np.array(marks_of(test, store).corners) - CARD).max() < 1.5
    assert marks_of(test, store).outline == OUTLINE
    assert not locked(test)
    assert "No card of this kind" not in words(test)
    searched = len(asked)
    test.run()
    assert len(asked) == searched, "looked for once"


def test_a_tap_beside_the_card_says_so_and_leaves_the_corners(
    store: Store, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer(monkeypatch, lambda found, _: lost(found, {}))
    test = to_marks(client)
    put(test, store, corners=OFF_THE_CARD, near=[60.0, 60.0])
    assert "No card of this kind was found where you tapped." in words(test)
    assert "Tap nearer to the middle of the card" in words(test)
    assert marks_of(test, store).corners == OFF_THE_CARD
    assert locked(test)


def test_tapping_is_offered_where_the_card_is_in_doubt_and_can_be_left(store: Store, client: Client) -> None:
    test = to_marks(client)
    assert not has(test, "tap-card-before")
    put(test, store, corners=OFF_THE_CARD)
    assert test.button(key="tap-card-before").proto.type == "primary"
    test.button(key="tap-card-before").click().run()
    assert test.button(key="tap-card-before").label == "Leave the card as it is"
    test.button(key="tap-card-before").click().run()
    assert test.button(key="tap-card-before").label == "Tap the card"


def test_a_person_may_vouch_for_a_card_and_the_result_says_so_until_it_is_moved(store: Store, client: Client) -> None:
    test = to_marks(client)
    bent = ((CARD[0][0] - 25.0, CARD[0][1]), *CARD[1:])
    put(test, store, corners=bent)
    assert locked(test)
    test.button(key="vouch-before").click().run()
    assert_no_failure(test)
    assert not locked(test)
    assert "You said that this is the card" in words(test)
    test.button(key="right-before").click().run()
    reading = photo_of(test, store).reading
    assert reading is not None
    assert reading.ok
    assert [check.name for check in reading.warnings if check.name == "card_reads"] == ["card_reads"]
    test.button(key="step-back").click().run()
    put(test, store, corners=bent, outline=OUTLINE)
    assert marks_of(test, store).vouched, "the hair was moved, not the card"
    put(test, store, corners=OFF_THE_CARD)
    assert not marks_of(test, store).vouched
    assert locked(test)


def test_a_photo_without_a_card_goes_on_without_a_number(store: Store, client: Client) -> None:
    test = to_marks(client, flat(hair=True))
    assert locked(test)
    test.button(key="without-before").click().run()
    assert_no_failure(test)
    kept = photo_of(test, store)
    assert kept.reading is None
    assert "No card of this kind" in (kept.failure or "")


def two_part_photo() -> bytes:
    """The drawn scene with a dark lower half on its card."""
    with Image.open(io.BytesIO(drawn_photo(40.0))) as opened:
        picture = opened.convert("RGB")
    upper, lower = [((CARD[a][0] + CARD[b][0]) / 2, (CARD[a][1] + CARD[b][1]) / 2) for a, b in ((0, 3), (1, 2))]
    # code 63 of sRGB is a reflectance of 0.05 where 117 is 0.18
    ImageDraw.Draw(picture).polygon([upper, lower, CARD[2], CARD[3]], fill=(63, 63, 63))
    stream = io.BytesIO()
    picture.save(stream, "JPEG", quality=95)
    return stream.getvalue()


def test_another_kind_of_card_is_offered_and_taken_for_all_photos(store: Store, client: Client) -> None:
    test = to_marks(client, two_part_photo())
    assert test.button(key="right-before").proto.type == "secondary"
    assert "looks like another kind of card: “Two-part card, grey and dark”." in words(test)
    hair = marks_of(test, store).outline
    test.button(key="use-other-before").click().run()
    assert_no_failure(test)
    found = marks_of(test, store)
    assert (found.card_kind, found.outline) == ("steps2", hair)
    assert np.abs(np.array(found.corners) - CARD).max() < 3
    assert not locked(test)
    test.button(key="step-back").click().run()
    assert marks_of(test, store).card_kind == "steps2", "the field follows"


def test_where_no_other_card_is_there_none_is_offered(store: Store, client: Client) -> None:
    test = to_marks(client, flat(hair=True))
    assert "No card of this kind" in words(test)
    assert "use-other-before" not in {button.key for button in test.button}


# --- marked along a ribbon, by the method before ---------------------------------------------------------------------


def along_a_ribbon(store: Store, client: Client, role: str = BEFORE, tip: float = 40.0) -> PhotoRecord:
    """A photo as drafts of the method before have it."""
    record, _ = workflow.take_in(store, drawn_photo(tip), client_id=client.id, role=role, light="daylight")
    return workflow.measure_record(store, record, ribbon())


@pytest.mark.parametrize("step", [0, 1, 2, 3])
def test_a_draft_begun_along_a_ribbon_keeps_its_photos_and_starts_its_marks_anew(
    store: Store, client: Client, step: int
) -> None:
    draft = workflow.start_draft(store, client.id, "visit")
    photos = (along_a_ribbon(store, client), along_a_ribbon(store, client, AFTER, 60.0))
    draft = workflow.keep_draft(store, replace(draft, photos=photos, step=step))
    test = open_page("new_visit", draft=draft.id)
    assert_no_failure(test)
    assert words(test).count("begun when a narrow ribbon along the hair was read") == 1
    kept = store.drafts.get(draft.id).photos
    assert [photo.file for photo in kept] == [photo.file for photo in photos]
    assert all(photo.reading is None and photo.marks is not None and photo.marks.hair == WHOLE for photo in kept)
    if step == 0:
        test.button(key="to-marks").click().run()
    first = next(photo for photo in store.drafts.get(draft.id).photos if photo.role == BEFORE)
    assert first.marks is not None
    assert first.marks.corners == CARD
    assert first.marks.outline is not None
    look_right(test, store, BEFORE)
    look_right(test, store, AFTER)
    assert_no_failure(test)
    assert "lighter, by " in test.subheader[0].value
    assert "narrow ribbon" not in words(test)


def test_what_changes_a_kept_visit_keeps_its_readings_until_a_person_marks_the_whole_hair(filled: Filled) -> None:
    store = filled.store
    old = [workflow.measure_record(store, photo, ribbon()) for photo in store.photos.find(visit_id=filled.visit.id)]
    visit = store.visits.save(filled.visit, old)
    draft = workflow.start_draft(store, filled.client.id, "visit", visit)
    draft = workflow.keep_draft(store, replace(draft, step=1))
    test = open_page("new_visit", draft=draft.id)
    assert_no_failure(test)
    assert "read along a narrow ribbon" in words(test)
    assert "begun when" not in words(test)
    assert hair_of(store, draft) == [RIBBON, RIBBON]
    test.button(key="right-before").click().run()
    assert hair_of(store, draft) == [RIBBON, RIBBON]
    test.button(key="step-back").click().run()
    test.segmented_control(key="marks-photo").set_value(old[0].id).run()
    test.button(key=f"whole-{old[0].role}").click().run()
    assert_no_failure(test)
    look_right(test, store, old[0].role)
    assert_no_failure(test)
    assert sorted(hair_of(store, draft)) == [RIBBON, WHOLE]
    assert "do not compare" in words(test)


def hair_of(store: Store, draft: Draft) -> list[str]:
    readings = [photo.reading for photo in store.drafts.get(draft.id).photos]
    return [reading.hair for reading in readings if reading is not None]


# --- what is noted beside the light ----------------------------------------------------------------------------------


def test_whether_the_card_stood_is_noted_measured_and_offered_next_time(store: Store, client: Client) -> None:
    test = to_marks(client)
    look_right(test, store, BEFORE)
    measured = photo_of(test, store)
    assert measured.card_stood is None
    while not any(each.key.startswith("card-stood-before") for each in test.pills):
        test.button(key="step-back").click().run()
    key = named(test.pills, "card-stood-before")
    test.pills(key=key).set_value(True).run()
    assert_no_failure(test)
    stood = photo_of(test, store)
    assert stood.card_stood is True
    assert stood.reading is not None
    assert measured.reading is not None
    # a stand halves what differs from photo to photo
    assert stood.reading.regions[0].lab.u[0] < measured.reading.regions[0].lab.u[0]
    test.pills(key=key).set_value(False).run()
    assert photo_of(test, store).card_stood is False
    test.pills(key=key).set_value(True).run()
    store.photos.save(replace(photo_of(test, store), role=PROGRESS))
    other = workflow.add_client(store, "Ida", "", {"measuring": True}, "me")
    for next_time in (client, other):
        begun = open_page("new_visit", client=next_time.id)
        assert begun.pills(key=named(begun.pills, "card-stood-after")).value is True


def test_combing_is_asked_about_where_a_state_has_two_photos(store: Store, client: Client) -> None:
    test = open_page("new_visit", client=client.id)
    upload(test, "before", drawn_photo(40.0, seed=3))
    assert not [each for each in test.pills if each.key.startswith("combed-")]
    upload(test, "before", drawn_photo(40.0, seed=4))
    assert "their errors average out" in words(test)
    assert [photo.combed_anew for photo in shown_draft(test, store).photos] == [None, None]
    test.pills(key=named(test.pills, "combed-before")).set_value(True).run()
    upload(test, "before", drawn_photo(40.0, seed=5))
    assert_no_failure(test)
    assert [photo.combed_anew for photo in shown_draft(test, store).photos] == [True] * 3
    test.pills(key=named(test.pills, "combed-before")).set_value(False).run()
    assert [photo.combed_anew for photo in shown_draft(test, store).photos] == [False] * 3
    assert not [each for each in test.pills if each.key.startswith("combed-after")]


@pytest.mark.parametrize("field", ["card_stood", "combed_anew"])
@pytest.mark.parametrize("noted", [(None, True), (False, None), (None, None)])
def test_photos_of_which_only_one_has_a_note_follow_it(
    store: Store, client: Client, field: str, noted: tuple[bool | None, bool | None]
) -> None:
    test = open_page("new_visit", client=client.id)
    for seed in (3, 4):
        upload(test, "before", drawn_photo(40.0, seed=seed))
    draft = shown_draft(test, store)
    photos = tuple(replace(photo, **{field: each}) for photo, each in zip(draft.photos, noted, strict=True))
    workflow.keep_draft(store, replace(draft, photos=photos))
    test = open_page("new_visit", draft=draft.id)
    assert_no_failure(test)
    known = next((each for each in noted if each is not None), None)
    assert [getattr(photo, field) for photo in shown_draft(test, store).photos] == [known] * 2


def test_notes_of_one_tab_are_told_in_the_other(store: Store, client: Client) -> None:
    first = open_page("new_visit", client=client.id)
    for seed in (3, 4):
        upload(first, "before", drawn_photo(40.0, seed=seed))
    draft = shown_draft(first, store)
    one, other = open_page("new_visit", draft=draft.id), open_page("new_visit", draft=draft.id)
    one.pills(key=named(one.pills, "combed-before")).set_value(True).run()
    one.pills(key=named(one.pills, "card-stood-before")).set_value(False).run()
    other.run()
    assert_no_failure(other)
    assert [(photo.combed_anew, photo.card_stood) for photo in store.drafts.get(draft.id).photos] == [(True, False)] * 2
    assert other.pills(key=named(other.pills, "combed-before")).value is True
    assert other.pills(key=named(other.pills, "card-stood-before")).value is False
    assert "note on the card of the before photo" in words(other)


# --- photos that are not kept ----------------------------------------------------------------------------------------


def passing(test: AppTest) -> _Passing:
    found: _Passing = test.session_state[key_of(_Passing, "set-up")]
    return found


def add_passing(test: AppTest, content: bytes) -> AppTest:
    uploader = next(found.key for found in test.file_uploader if found.key.startswith("set-up-upload-"))
    test.file_uploader(key=uploader).set_value([("a.jpg", content, "image/jpeg")]).run()
    assert_no_failure(test)
    return test


def send_passing(test: AppTest, **where: Any) -> AppTest:
    photo_id = passing(test).waiting[0].id
    rev = test.session_state[key_of(marked_card.Looked, photo_id)].rev
    test.session_state[f"passing-{photo_id}"] = sent(rev, **where)
    test.run()
    assert_no_failure(test)
    return test


def test_photos_that_are_not_kept_are_marked_in_the_same_way(store: Store) -> None:
    test = open_page("set_up_check")
    test.text_input(key="set-up-sample-0").set_value("a lock").run()
    test.pills(key="set-up-card-stood").set_value(True).run()
    add_passing(test, drawn_photo(40.0))
    assert passing(test).waiting[0].card_stood is True
    assert "round all of the hair" in words(test)
    send_passing(test, corners=OFF_THE_CARD)
    assert WRONG in words(test)
    assert locked(test, "set-up-right")
    send_passing(test, corners=OFF_THE_CARD, near=[715.0, 620.0])
    assert not locked(test, "set-up-right")
    send_passing(test, path=(), outline=None)
    assert "Tap the root, the middle and the tip" in words(test)
    assert test.button(key="set-up-right").disabled
    send_passing(test, path=TAPS, outline=None)
    found = passing(test).marks
    assert found is not None
    assert found.path == TAPS
    assert found.outline is not None
    send_passing(test, outline=((100.0, 100.0), (500.0, 1000.0), (500.0, 100.0), (100.0, 1000.0)), path=PATH)
    test.button(key="set-up-right").click().run()
    assert "crosses itself" in words(test)
    test.button(key="hair-again-set-up").click().run()
    assert_no_failure(test)
    test.button(key="set-up-right").click().run()
    assert_no_failure(test)
    assert len(workflow.shots_so_far(store)) == 1
    assert test.pills(key="set-up-card-stood").value is True, "as in the photos before"


def test_a_card_that_stood_counts_in_photos_that_are_not_kept(store: Store) -> None:
    def u_lightness(stood: bool | None) -> float:
        photo = workflow.look_at(drawn_photo(40.0), "grey18", card_stood=stood)
        reading, _ = workflow.measure_passing(store, photo, marks())
        assert reading is not None
        return reading.regions[0].lab.u[0]

    assert u_lightness(True) < u_lightness(False) == u_lightness(None)


def test_what_was_not_found_does_not_hold_the_photo_in_memory() -> None:
    found = find_marks(Drawn(np.full((1100, 900, 3), 150, np.uint8)), "grey18")
    black = find_marks(Drawn(np.zeros((8, 8, 3), np.uint8)), "grey18", corners=CARD)
    errors = [error for each in (found, black) for error in (each.card, each.hair) if error is not None]
    assert len(errors) >= 2, "one search for a card and one for hair fail"
    assert [error.__traceback__ for error in errors] == [None] * len(errors)
