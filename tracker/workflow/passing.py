"""Photos that are measured and not kept: of swatches, and of hair for the set-up check."""

from __future__ import annotations

from dataclasses import dataclass, replace

from tracker.errors import CardError, TrackerError
from tracker.measure import Suggestion, find_marks, measure_photo
from tracker.measure.reading import DarkHalf, Marks, PhotoReading, Point
from tracker.measure.reference_card import Corners
from tracker.photo import clean_jpeg, read_kept, read_photo
from tracker.record.records import new_id
from tracker.store import Store
from tracker.workflow.photos import OPENING, fault_in, settings_in_force


@dataclass(frozen=True, slots=True, eq=False)
class PassingPhoto:
    """A photo that lives in memory until it is measured.

    Attributes
    ----------
    id : str, opaque
    content : bytes of a clean JPEG, with nothing else that the file carried
    size : width and height, pixels
    found : Suggestion, where the card and the hair were found
    warnings : notes from reading the file
    camera : str or None, as the camera wrote it
    card_stood : bool or None, True where the card stood on its own, False where it was held; None where not noted
    """

    id: str
    content: bytes
    size: tuple[int, int]
    found: Suggestion
    warnings: tuple[str, ...]
    camera: str | None = None
    card_stood: bool | None = None


def look_at(
    content: bytes,
    card_kind: str,
    reflectance: float | None = None,
    *,
    card_stood: bool | None = None,
    dark: DarkHalf | None = None,
) -> PassingPhoto:
    """Read a photo that is not to be kept, and look for the card and the hair.

    Parameters
    ----------
    content : bytes as received, not trusted
    card_kind : str, name of a kind of card
    reflectance : float or None, of the card's grey where it is better known
    card_stood : bool or None, whether the card stood on its own, where that was noted
    dark : DarkHalf or None, what is known of the card's dark patch

    Raises
    ------
    PhotoError : the file cannot be read as a photo
    InvalidMarks : no such kind of card
    """
    with OPENING:
        photo = read_photo(content)
        found = find_marks(photo, card_kind, reflectance, dark=dark)
        clean = clean_jpeg(photo)
    return PassingPhoto(new_id(), clean, photo.size, found, photo.warnings, photo.camera, card_stood)


def look_again_at(
    photo: PassingPhoto,
    marks: Marks,
    corners: Corners | None = None,
    path: tuple[Point, ...] | None = None,
    near: Point | None = None,
) -> Suggestion:
    """Look in a photo once more for what is not given.

    Parameters
    ----------
    photo : PassingPhoto
    marks : Marks, with the kind of card
    corners : of the card, pixels, where a person placed them; None to find it
    path : points from root to tip, pixels, that a person tapped; None to look for the hair without help
    near : a point inside the card, pixels, that a person tapped; None to look everywhere
    """
    with OPENING:
        return find_marks(
            read_kept(photo.content),
            marks.card_kind,
            marks.reflectance,
            corners=corners,
            path=path,
            near=near,
            dark=marks.dark_half,
        )


def passing_card_fault(photo: PassingPhoto, marks: Marks) -> CardError | None:
    """What tells that the corners of these marks do not lie on a card of their kind; None where they do."""
    with OPENING:
        return fault_in(read_kept(photo.content), marks)


def measure_passing(store: Store, photo: PassingPhoto, marks: Marks) -> tuple[PhotoReading | None, str]:
    """What a photo reads with these marks.

    Returns
    -------
    PhotoReading or None : with numbers, else None
    str : why there is no number, empty where there is one
    """
    try:
        own = replace(settings_in_force(store), card_stood=photo.card_stood is True)
        with OPENING:
            read = replace(read_kept(photo.content), warnings=photo.warnings)
            reading = measure_photo(read, marks, own)
    except TrackerError as error:
        return None, error.message
    return (reading, "") if reading.ok else (None, reading.failure or "No band of hair was measured.")
