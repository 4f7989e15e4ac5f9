"""One client's whole record as a page for any browser, without this program and without a network."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from datetime import date, datetime
from html import escape
from typing import Any

from tracker.calibrate.calibration import Yardsticks, level_of
from tracker.calibrate.warmth import estimate_warmth
from tracker.compare.photo_set import kit_of
from tracker.maths.quantities import Measured
from tracker.maths.rgb_space import lab_to_hex
from tracker.maths.uncertainty import format_measured
from tracker.measure.reading import RegionReading
from tracker.record.records import Client, Consent, PhotoRecord, Step, Visit
from tracker.report.style import STYLE
from tracker.said.colour import say_level, say_warmth
from tracker.words import REGION_TITLES, UNITS, as_date, day

Json = Any

_ONLY_IN_JSON = frozenset(
    {"reading", "marks", "before", "id", "client_id", "visit_id", "record_id", "number", "file", "size", "step"}
)


@dataclass(frozen=True, slots=True)
class ClientRecord:
    """Everything that the page shows.

    Attributes
    ----------
    visits, photos : in any order
    findings : sentences about what a visit changed, by the visit's identifier
    more : other entries about the client, by their kind, each as `json.loads` gives it
    made_at : datetime, when the page is made
    own : yardsticks in force, for levels and warmth
    """

    client: Client
    consents: Sequence[Consent]
    visits: Sequence[Visit]
    photos: Sequence[PhotoRecord]
    made_at: datetime
    findings: Mapping[str, Sequence[str]] = field(default_factory=dict)
    more: Mapping[str, Sequence[Mapping[str, Json]]] = field(default_factory=dict)
    own: Yardsticks = Yardsticks()  # noqa: RUF009 - frozen


def client_page(record: ClientRecord, picture: Callable[[PhotoRecord], str], pictures_note: str) -> str:
    """The page.

    Parameters
    ----------
    record : ClientRecord
    picture : the address of a photo's picture: a file beside the page, or the picture itself as ``data:``;
        empty where it cannot be shown
    pictures_note : str, whether the pictures are as taken or balanced

    Returns
    -------
    str : HTML that loads nothing from anywhere else; everything a person typed is escaped
    """
    visits = sorted(record.visits, key=lambda visit: (visit.on, visit.created_at), reverse=True)
    between = sorted((photo for photo in record.photos if photo.visit_id is None), key=_taken, reverse=True)
    parts = [
        f"<h1>{escape(record.client.name)}</h1>",
        f"<p>Everything that the studio keeps about this client, put together on {_day(record.made_at)}.</p>",
        "<p>Made up: belongs to the demo studio.</p>" if record.client.demo else "",
        f"<h2>Note</h2>{_lines(record.client.note)}" if record.client.note else "",
        f"<h2>What the client agreed to</h2>{_agreements(record.consents)}",
        "<h2>Visits</h2>" if visits else "<h2>Visits</h2><p>No visit is recorded.</p>",
        *(_visit(record, visit, picture) for visit in visits),
        "<h2>Photos between visits</h2>" if between else "",
        *(_photo(record, photo, picture) for photo in between),
        _more(record.more),
        f"<h2>How to read the numbers</h2>{_reading_help(record, pictures_note)}",
    ]
    rules = "default-src 'none'; img-src data: 'self' file:; style-src 'unsafe-inline'"
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{rules}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1"><meta name="robots" content="noindex">'
        # keeps phones from turning typed text into links
        '<meta name="format-detection" content="telephone=no, date=no, address=no, email=no, url=no">'
        f"<title>Hair colour record</title><style>{STYLE}</style></head><body><main>"
        f"{''.join(part for part in parts if part)}</main></body></html>\n"
    )


def facts(thing: object, leave_out: Iterable[str] = ()) -> list[tuple[str, str]]:
    """The filled fields of a record in words, in order, each with its unit; new fields appear by themselves."""
    skipped = set(leave_out)
    found = []
    for each in fields(thing) if is_dataclass(thing) else ():
        if each.name in skipped:
            continue
        text = _text(getattr(thing, each.name))
        if text:
            unit = UNITS.get(each.name, "")
            found.append((each.name.replace("_", " "), f"{text} {unit}".strip() if len(unit) <= 3 else text))
    return found


def _text(value: object) -> str:
    """A value in words; nothing where it is empty."""
    if value is None or value == "" or value == () or value == []:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, Measured):
        return format_measured(value, with_unit=True)
    if isinstance(value, datetime):
        return _moment(value)
    if isinstance(value, date):
        return _day(value)
    if isinstance(said := getattr(value, "text", None), str):
        return said
    if is_dataclass(value):
        return ", ".join(f"{name} {text}" for name, text in facts(value))
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {_text(inner)}" for name, inner in value.items() if _text(inner))
    if isinstance(value, list | tuple):
        return "; ".join(_text(item) for item in value)
    return str(value)


def _agreements(consents: Sequence[Consent]) -> str:
    if not consents:
        return "<p>Nothing was asked yet.</p>"
    lines = []
    for consent in consents:
        verb = "agreed" if consent.given else "declined or withdrew"
        lines.append(
            f"<li>{_day(consent.recorded_at)}: {verb}, {escape(consent.purpose)}, wording "
            f"{escape(consent.wording_version)}, asked by {escape(consent.recorded_by)}</li>"
        )
    return f"<ul>{''.join(lines)}</ul>"


def _visit(record: ClientRecord, visit: Visit, picture: Callable[[PhotoRecord], str]) -> str:
    services = ", ".join(visit.services)
    photos = sorted((photo for photo in record.photos if photo.visit_id == visit.id), key=_taken)
    found = "".join(f"<li>{escape(sentence)}</li>" for sentence in record.findings.get(visit.id, ()))
    findings = f"<ul>{found}</ul>" if found else ""
    figures = "".join(_photo(record, photo, picture) for photo in photos)
    steps = "".join(f"<li>{_step(step)}</li>" for step in visit.steps)
    own = {"id", "client_id", "on", "services", "steps", "created_at", "revision"}
    return (
        f"<section><h3>{_day(visit.on)}{': ' + escape(services) if services else ''}</h3>{findings}{figures}"
        f"{'<h4>What was done</h4><ol>' + steps + '</ol>' if steps else ''}{_list(facts(visit, own))}</section>"
    )


def _photo(record: ClientRecord, photo: PhotoRecord, picture: Callable[[PhotoRecord], str]) -> str:
    about = [photo.role, _moment(photo.taken_at), photo.light, photo.camera or ""]
    source = picture(photo)
    words = f"{photo.role} photo of the hair, {_day(photo.taken_at)}"
    image = f'<img src="{escape(source)}" alt="{escape(words)}">' if source else "<p>The picture is not there.</p>"
    caption = escape(", ".join(part for part in about if part))
    return f"<figure>{image}<figcaption>{caption}</figcaption></figure>{_numbers(record, photo)}"


def _numbers(record: ClientRecord, photo: PhotoRecord) -> str:
    if photo.reading is None or not photo.reading.ok:
        return f"<p>No number: {escape(photo.failure or 'this photo has not been measured.')}</p>"
    rows = "".join(_region(record, photo, region) for region in photo.reading.regions)
    head = "".join(f"<th>{word}</th>" for word in ("", "Level", "Warmth", "L*", "a*", "b*"))
    return f'<div class="wide"><table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>'


def _region(record: ClientRecord, photo: PhotoRecord, region: RegionReading) -> str:
    level = level_of(region, kit_of(photo), record.own)
    warmth = estimate_warmth(region.lab, record.own.locus)
    colour = lab_to_hex(region.lab.lab)
    axes = map(format_measured, region.lab.axes)
    cells = "".join(f"<td>{escape(text)}</td>" for text in (say_level(level), say_warmth(warmth), *axes))
    name = escape(REGION_TITLES.get(region.name, region.name))
    return f'<tr><th><span class="swatch" style="background:{escape(colour)}"></span>{name}</th>{cells}</tr>'


def _more(more: Mapping[str, Sequence[Mapping[str, Json]]]) -> str:
    """Entries of kinds without a form of their own here, so that nothing on record is left out."""
    parts = []
    for kind, entries in more.items():
        if not entries:
            continue
        lines = "".join(f"<li>{escape(_text(_brief(entry)))}</li>" for entry in entries)
        word = escape(kind.replace("_", " "))
        parts.append(
            f"<details><summary>{word[:1].upper()}{word[1:]}: {len(entries)}</summary><ul>{lines}</ul></details>"
        )
    return f"<h2>Also kept</h2>{''.join(parts)}" if parts else ""


def _brief(value: Json) -> Json:
    """An entry without the parts that would fill pages with numbers; record.json has all of it."""
    if isinstance(value, Mapping):
        return {name: _brief(inner) for name, inner in value.items() if name not in _ONLY_IN_JSON}
    return [_brief(inner) for inner in value] if isinstance(value, list) else value


def _reading_help(record: ClientRecord, pictures_note: str) -> str:
    provisional = (
        " Levels are provisional: read on a built-in scale."
        if record.own.scale.provisional
        else f" Levels are read on the studio's {escape(record.own.scale.name)}."
    )
    return (
        f"<p>{escape(pictures_note)} The ± is at 95 %: where the true value lies in 95 of 100 cases.{provisional} "
        "Warmth counts from natural hair of the same lightness: plus is warmer, minus is ashier. "
        "How much light fell on the hair counts in it, but not in what is said of a change of tone. "
        "L*, a* and b* are CIELAB for daylight D65. "
        "Every number with its full uncertainty is in the tables and in record.json beside this page.</p>"
    )


def _step(step: Step) -> str:
    start = ": ".join(escape(part) for part in (step.zone, step.what) if part)
    rest = "; ".join(f"{escape(name)} {escape(text)}" for name, text in facts(step, ("zone", "what")))
    return f"<b>{start}</b>{'; ' + rest if rest else ''}"


def _list(found: Sequence[tuple[str, str]]) -> str:
    rows = "".join(f"<dt>{escape(name[:1].upper() + name[1:])}</dt><dd>{_lines(text)}</dd>" for name, text in found)
    return f"<dl>{rows}</dl>" if rows else ""


def _lines(text: str) -> str:
    return f"<p>{'<br>'.join(escape(line) for line in text.splitlines())}</p>"


def _taken(photo: PhotoRecord) -> datetime:
    return photo.taken_at


def _day(when: date | datetime) -> str:
    return day(as_date(when))


def _moment(when: datetime) -> str:
    return f"{_day(when)} {when.astimezone():%H:%M}"
