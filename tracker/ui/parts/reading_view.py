"""One photo's reading: swatches with level and warmth, what was measured, the checks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from tracker.calibrate.calibration import level_of
from tracker.calibrate.warmth import estimate_warmth
from tracker.compare.photo_set import kit_of
from tracker.maths.rgb_space import lab_to_hex
from tracker.measure.reading import RIBBON, WHOLE, RegionReading
from tracker.record.records import PhotoRecord
from tracker.said.colour import say_level, signed
from tracker.ui.look import Swatch, check_list, photo, swatches
from tracker.ui.parts.pictures import LARGE, MEDIUM, measured_url, photo_words, picture_ratio, picture_url
from tracker.ui.session import in_force
from tracker.words import REGION_TITLES, sentence_case


def region_swatch(region: RegionReading, record: PhotoRecord, when: str = "", *, warmth: bool = True) -> Swatch:
    """The measured colour of a photo's band with its words.

    Parameters
    ----------
    when : str, tells two photos apart
    warmth : bool, False beside a change of tone: the warmth of one photo holds the light that fell on the hair
    """
    label = REGION_TITLES[region.name] + (f", {when}" if when else "")
    level, tone = sentence_case(level_words(region, record)), warmth_words(region) if warmth else ""
    return Swatch(lab_to_hex(region.lab.lab), label, level, tone)


def level_words(region: RegionReading, record: PhotoRecord) -> str:
    """The level of a photo's band as `level 6.2 ± 0.5`, or on which side of the scale it lies."""
    level = level_of(region, kit_of(record), in_force())
    return f"level {say_level(level)}" if level.value is not None else say_level(level)


def warmth_words(region: RegionReading) -> str:
    """The warmth of a band in words and figures."""
    warmth = estimate_warmth(region.lab, in_force().locus)
    return f"{sentence_case(warmth.tone)} ({signed(warmth.value)})"


def reading_swatches(record: PhotoRecord) -> None:
    """The bands of one photo, root to tip."""
    if record.reading is not None and record.reading.ok:
        swatches([region_swatch(region, record) for region in record.reading.regions])


def band_table(names: Iterable[str], rows: Iterable[tuple[str, Sequence[str]]]) -> str:
    """Rows of a label and a cell for each band as a table, ready for Markdown."""
    titles = [REGION_TITLES[name] for name in names]
    lines = [("", titles), ("---", ["---"] * len(titles)), *rows]
    return "\n".join(f"| {label} | {' | '.join(cells)} |" for label, cells in lines)


def no_number(record: PhotoRecord) -> str:
    """The sentence for a photo without a number, or nothing where it has one."""
    if record.reading is not None and record.reading.ok:
        return ""
    why = record.failure or (record.reading.failure if record.reading is not None else None)
    if why is None:
        return "No number: this photo has not been measured."
    # a name such as L* keeps its capital
    return f"No number: {why[:1].lower() + why[1:] if why[1:2].islower() or why[1:2] == ' ' else why}"


_DRAWN_IN = {
    RIBBON: (
        "Drawn in: the bands and what was averaged. The lightest and the darkest tenth are left out, and so is "
        "anything that is not hair."
    ),
    WHOLE: (
        "Drawn in: the outline and the bands. All of the hair in a band was averaged, lights and lows alike; anything "
        "that is not hair is left out."
    ),
}


def measured_photo(record: PhotoRecord) -> None:
    """The photo with the measured pixels drawn on it; the plain photo where nothing was measured."""
    if record.reading is not None and record.reading.ok:
        photo(
            measured_url(record, LARGE),
            f"{photo_words(record)}, with the measured bands drawn on it",
            ratio=picture_ratio(record),
            caption=_DRAWN_IN[record.reading.hair],
        )
    else:
        photo(picture_url(record, MEDIUM), photo_words(record), ratio=picture_ratio(record))


def checks(record: PhotoRecord) -> None:
    """Every check of the photo with its sentence, those to look at first."""
    if record.reading is not None:
        check_list(sorted(record.reading.checks, key=lambda check: check.ok))
