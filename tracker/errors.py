"""Every way the job can fail, as one tree.

Each error says what is wrong, the value against its limit where there is one, and what to do.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any


class TrackerError(Exception):
    """Base of all expected failures: a sentence for the person, fields for the screen.

    Parameters
    ----------
    what : str, one sentence that says what is wrong
    advice : str, one sentence that says what to do
    value, limit : float or None, the measured value and the limit it broke
    unit : str, unit of both
    """

    def __init__(
        self,
        what: str,
        advice: str = "",
        *,
        value: float | None = None,
        limit: float | None = None,
        unit: str = "",
    ) -> None:
        self.what = what
        self.advice = advice
        self.value = value
        self.limit = limit
        self.unit = unit
        super().__init__(self.message)

    @property
    def message(self) -> str:
        """What is wrong and what to do, in one line."""
        return f"{self.what} {self.advice}".strip()

    @property
    def code(self) -> str:
        """Name of the error for programs, such as ``card_not_found``."""
        return re.sub(r"(?<=[a-z])(?=[A-Z])", "_", type(self).__name__).lower()


class PhotoError(TrackerError):
    """The file cannot be read as a photo."""


class UnsupportedFormat(PhotoError):
    """The content is not in one of the photo formats we read."""


class TooLarge(PhotoError):
    """More bytes or pixels than the limit."""


class Unreadable(PhotoError):
    """The file is damaged, cut off or empty."""


class TooCostly(PhotoError):
    """Opening the file takes more memory or time than any photo needs."""


class ReaderFailed(PhotoError):
    """The process that opens photos ended without a result, or did not start."""


class CardError(TrackerError):
    """The reference card cannot be used."""


class CardNotFound(CardError):
    """Nothing in the photo looks like the card."""


class CardAmbiguous(CardError):
    """More than one thing in the photo looks like the card."""


class CardMisplaced(CardError):
    """The corners do not form a card inside the photo."""


class CardTooSmall(CardError):
    """The card covers too few pixels."""


class CardClipped(CardError):
    """The card is burnt out or crushed to black."""


class CardUneven(CardError):
    """The light changes too much across the card."""


class CardCovered(CardError):
    """Something covers part of the card."""


class CardTilted(CardError):
    """The card is turned too far from the camera to give a scale, or the noted size belongs to another card."""


class CardFarAway(CardError):
    """The card is too far from the hair to give its scale."""


class CardImplausible(CardError):
    """The patches contradict their known values."""


class HairError(TrackerError):
    """The hair cannot be measured."""


class InvalidPath(HairError):
    """The points do not form a path from root to tip."""


class HairNotFound(HairError):
    """Nothing in the photo looks like hair."""


class InvalidOutline(HairError):
    """The points do not form an outline of the hair."""


class HairInDoubt(HairError):
    """What was found may not be the hair."""


class OutsidePhoto(HairError):
    """The path leaves the photo."""


class TooFewPixels(HairError):
    """Too little hair is left after the selection."""


class ReadingError(TrackerError):
    """Marks or readings cannot be used as asked."""


class InvalidMarks(ReadingError):
    """The marks break the contract."""


class NoNumberAgain(ReadingError):
    """Measured again, a photo that has a number would have none."""


class CannotCompare(ReadingError):
    """The two readings have nothing in common."""


class CannotCalibrate(ReadingError):
    """The swatches do not make a scale."""


class FadeError(TrackerError):
    """The series cannot be used."""


class InvalidSeries(FadeError):
    """Months or values do not form a series."""


class TooFewReadings(FadeError):
    """Not enough readings for what was asked."""


class StoreError(TrackerError):
    """The record could not be kept or found."""


class NotFound(StoreError):
    """There is no such record."""


class Conflict(StoreError):
    """The record changed since it was read."""


class DraftChanged(Conflict):
    """The draft was saved in another window since it was read.

    Parameters
    ----------
    kept : tracker.record.records.Draft, as it is now
    """

    def __init__(self, kept: Any) -> None:
        self.kept = kept
        super().__init__(
            "This draft was changed in another window since you opened it.",
            "Look at what is different, then save again; nothing of either is lost.",
        )


class ConsentMissing(StoreError):
    """The client has not consented to this purpose."""


class InvalidEntry(StoreError):
    """Words or choices that cannot be kept as they are."""


class InvalidList(StoreError):
    """A list from a spreadsheet that cannot be imported."""


class StoreFull(StoreError):
    """There is no room left."""


class StoreDamaged(StoreError):
    """A stored file or record fails its check."""


class DatabaseDamaged(StoreDamaged):
    """Pages of the database are damaged: the readable part stays available, and nothing is written."""


class WrongDatabase(StoreDamaged):
    """The database does not belong to the studio's pictures, so nothing was opened or changed.

    Parameters
    ----------
    what, advice : str, as for every error
    found : str, one of the constants of `tracker.store.identity`, such as ``empty`` or ``older``
    folder : Path of the studio
    pictures : int, number of picture files there
    backups : folders of the newest backups that can be restored, newest first
    readable : bool, True where the database there is sound, and can be restored too
    """

    def __init__(
        self,
        what: str,
        advice: str,
        *,
        found: str,
        folder: Path,
        pictures: int,
        backups: Sequence[Path] = (),
        readable: bool = False,
    ) -> None:
        super().__init__(what, advice)
        self.found = found
        self.folder = folder
        self.pictures = pictures
        self.backups = tuple(backups)
        self.readable = readable


class NewerDatabase(StoreError):
    """The database was made by a newer version of this program."""
