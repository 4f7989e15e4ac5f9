"""How the pages look: the style sheet, swatches, checks, drawings and photos. No decisions about the job.

Everything that reaches the browser as markup is escaped here.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cache, wraps
from html import escape
from pathlib import Path
from typing import ParamSpec
from urllib.parse import quote

import streamlit as st

from tracker.maths.polyline import in_box
from tracker.maths.uncertainty import format_share
from tracker.measure.reading import Check

Words = ParamSpec("Words")

_HERE = Path(__file__).parent
_SIZE = re.compile(r'viewBox="0 0 (\d+) (\d+)"')
_PER_CENT = re.compile(r"(?<=\d) %")
_HEX = re.compile(r"#[0-9a-fA-F]{6}")

SURROUND = "rgb(131, 131, 131)"
"""Mid-grey behind every photo and swatch, about L* 55."""


@dataclass(frozen=True, slots=True)
class Swatch:
    """One measured colour with its words.

    Attributes
    ----------
    colour : str, ``#rrggbb``, or empty where nothing was measured
    label : str, what it is: "Root, before"
    level : str, in words: "Level 6.2 ± 0.3"
    warmth : str, in words: "warmth 12.4, golden"
    """

    colour: str
    label: str
    level: str = ""
    warmth: str = ""


@cache
def page_style() -> str:
    """The style sheet of every page, as an HTML element."""
    return f"<style>{(_HERE / 'look.css').read_text('utf-8')}</style>"


def fetch(address: str) -> None:
    """Have the browser ask for an address of the app; nothing is shown."""
    st.html(f'<img src="{escape(address)}" alt="" hidden>')


@cache
def page_script() -> str:
    """The script of every page, as an HTML element: no field lets the browser keep what was typed."""
    return f"<script>{(_HERE / 'fields.js').read_text('utf-8')}</script>"


def file_link(label: str, address: str, name: str, *, primary: bool = False) -> None:
    """A link that looks like a button and saves a file of the app under this name."""
    kind = "t-file t-next" if primary else "t-file"
    st.html(f'<a class="{kind}" href="{_local(address)}" download="{escape(name)}">{escape(label)}</a>')


def _shown(markup: Callable[Words, str]) -> Callable[Words, None]:
    """Shows on the page what a function writes; nothing where it writes nothing."""

    @wraps(markup)
    def show(*args: Words.args, **kwargs: Words.kwargs) -> None:
        written = markup(*args, **kwargs)
        if written:
            st.html(written)

    return show


def swatches_html(items: Iterable[Swatch]) -> str:
    """A row of measured colours on mid-grey, each with its words under it."""
    return f'<ul class="t-swatches">{"".join(_swatch(item) for item in items)}</ul>'


def check_list_html(checks: Iterable[Check]) -> str:
    """Every check as a mark, a sentence and what to do."""
    return f'<ul class="t-checks">{"".join(_check(check) for check in checks)}</ul>'


def failure(what: str, advice: str = "") -> None:
    """A failure as a sentence and what to do, announced to screen readers."""
    st.html(f'<div class="t-failure" role="alert">{_mark("stopped")}{_said(what, advice)}</div>')


def warning(what: str, advice: str = "") -> None:
    """What a person should look at before going on, as a sentence and what to do; it stops nothing."""
    st.html(f'<div class="t-failure" role="status">{_mark("warned")}{_said(what, advice)}</div>')


def _said(what: str, advice: str) -> str:
    more = f"<p>{escape(advice)}</p>" if advice else ""
    return f"<div><p><b>{escape(what)}</b></p>{more}</div>"


def step_bar_html(names: Sequence[str], current: int) -> str:
    """Where the person is in a job of several steps; `current` counts from 0."""
    return f'<ol class="t-steps" aria-label="Steps">{"".join(_step(i, n, current) for i, n in enumerate(names))}</ol>'


def photo_html(
    url: str, alt: str, *, ratio: float = 4 / 3, caption: str = "", href: str = "", eager: bool = False
) -> str:
    """A photo on mid-grey that holds its place while it loads.

    Parameters
    ----------
    url, href : str, addresses within the app: the picture, and where a tap leads
    ratio : float, width over height of the frame
    eager : bool, True for the first picture of a page
    """
    loading = "eager" if eager else "lazy"
    picture = (
        f'<span class="t-surround" style="aspect-ratio: {min(max(float(ratio), 0.2), 5.0):.4f}">'
        f'<img src="{_local(url)}" alt="{escape(alt)}" loading="{loading}" decoding="async"></span>'
    )
    if href:
        picture = f'<a href="{_local(href)}" target="_self">{picture}</a>'
    words = f"<figcaption>{escape(caption)}</figcaption>" if caption else ""
    return f'<figure class="t-photo">{picture}{words}</figure>'


def sparkline_html(along: Sequence[float], values: Sequence[float], words: str) -> str:
    """A small line through a few readings, in the colour of the text around it; empty for fewer than two.

    Parameters
    ----------
    along, values : as many of each; `along` never falls
    words : str, the same for those who cannot see it
    """
    if len(along) < 2:
        return ""
    width, height, edge = 160.0, 44.0, 5.0
    points = in_box(along, values, width, height, edge)
    line = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    dots = "".join(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.2"/>' for x, y in points)
    shape = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}">'
        f'<polyline points="{line}" fill="none" stroke="#000" stroke-width="2"/>{dots}</svg>'
    )
    picture = f"url(data:image/svg+xml,{quote(shape, safe='')})"
    style = f"aspect-ratio: {width:g} / {height:g}; -webkit-mask-image: {picture}; mask-image: {picture}"
    return f'<div class="t-drawing t-spark" role="img" aria-label="{escape(words)}" style="{style}"></div>'


def no_photo() -> None:
    """An empty frame where a photo would be."""
    st.html('<div class="t-no-photo" aria-hidden="true"></div>')


def empty(drawing_name: str, sentence: str) -> None:
    """The top of an empty page: one drawing and one sentence; the page adds its one button."""
    st.html(f'<div class="t-empty">{drawing_html(drawing_name)}<p>{escape(sentence)}</p></div>')


def drawing_html(name: str, alt: str = "") -> str:
    """One of our own drawings, in the colour of the text around it, light or dark; `alt` says what it shows.

    Streamlit takes SVG out of written HTML, so the drawing is a mask over that colour: only its opacity counts.
    """
    said = f'role="img" aria-label="{escape(alt)}"' if alt else 'aria-hidden="true"'
    return f'<div class="t-drawing" {said} style="{_mask(name)}"></div>'


def greys_html(name: str, alt: str) -> str:
    """One of our own drawings in its own greys, light or dark the page; `alt` says what it shows."""
    picture = f"url(data:image/svg+xml,{quote(drawing(name), safe='')})"
    style = f"aspect-ratio: {_shape(name)}; background: {picture} center / 100% 100% no-repeat"
    return f'<div class="t-drawing" role="img" aria-label="{escape(alt)}" style="{style}"></div>'


swatches = _shown(swatches_html)
check_list = _shown(check_list_html)
step_bar = _shown(step_bar_html)
photo = _shown(photo_html)
sparkline = _shown(sparkline_html)
show_drawing = _shown(drawing_html)
show_greys = _shown(greys_html)


@cache
def drawing(name: str) -> str:
    """The SVG text of one of the files in ``drawings``, such as ``card`` or ``empty clients``."""
    file = _HERE / "drawings" / f"{name.replace(' ', '_')}.svg"
    if file.parent != _HERE / "drawings" or not file.is_file():
        raise KeyError(name)
    return file.read_text("utf-8").strip()


def _swatch(item: Swatch) -> str:
    known = _HEX.fullmatch(item.colour) is not None
    patch = (
        f'<span class="t-colour" style="background-color: {item.colour}"></span>'
        if known
        else '<span class="t-colour t-unknown">no number</span>'
    )
    words = "".join(f"<span>{_together(line)}</span>" for line in (item.level, item.warmth) if line)
    return f'<li><span class="t-patch">{patch}</span><b>{escape(item.label)}</b>{words}</li>'


def _together(line: str) -> str:
    """The line, escaped, with a number and its ± or % never on two lines."""
    return _PER_CENT.sub("\u00a0%", escape(line).replace(" ± ", "\u00a0±\u00a0"))


def _check(check: Check) -> str:
    advice = f'<span class="t-advice">{escape(check.advice)}</span>' if check.advice else ""
    word, kind, mark = _STATES["ok" if check.ok else "stop" if check.stops else "warn"]
    says = f'<span class="t-says"><span class="t-unseen">{word}: </span>{_together(check.says)}</span>'
    figures = f'<span class="t-figures">{_together(_figures(check))}</span>' if check.unit not in _NO_FIGURES else ""
    return f'<li class="{kind}">{_mark(mark)}<div>{says}{advice}{figures}</div></li>'


_NO_FIGURES = ("file", "word")
"""Units of checks that measured nothing: of notes on the file, and of what a person said."""

_STATES = {
    "ok": ("Passed", "t-ok", "passed"),
    "warn": ("Look at this", "t-warn", "warned"),
    "stop": ("Not passed", "t-stop", "stopped"),
}


def _figures(check: Check) -> str:
    """The value of a check against its limit; how the check came out shows which side of the limit is good."""
    bound = "at least" if (check.value >= check.limit) == check.ok else "at most"
    if check.unit == "share":
        return f"Measured {format_share(check.value)}, {bound} {format_share(check.limit)}"
    digits = 0 if check.unit in ("pixels", "L*", "C*") and max(check.value, check.limit) >= 10 else 2
    value, limit = (f"{number:.{digits}f}" for number in (check.value, check.limit))
    what, unit = _MEASURED.get(check.name) or _MEASURED.get(check.unit) or ("Measured", check.unit)
    return f"{what} {value} {unit}".rstrip() + f", {bound} {limit}"


_MEASURED = {
    "card_whole": ("From the card to the edge", "pixels"),
    "L*": ("Lightness L*", ""),
    "C*": ("Strength of colour C*", ""),
    "EV": ("Measured", "stops of light"),
}
"""What was measured and in which unit, by the name of a check or by its unit, where the unit alone says little."""


def _mark(name: str) -> str:
    """A tick in an open ring, an open triangle, or a filled one, each with its stroke: three shapes, no colour."""
    return f'<span class="t-mark" aria-hidden="true" style="{_mask(name)}"></span>'


@cache
def _mask(name: str) -> str:
    picture = f"url(data:image/svg+xml,{quote(drawing(name), safe='')})"
    return f"aspect-ratio: {_shape(name)}; -webkit-mask-image: {picture}; mask-image: {picture}"


def _shape(name: str) -> str:
    """Width and height of a drawing, as CSS writes their ratio."""
    return " / ".join(_SIZE.findall(drawing(name))[0])


def _step(index: int, name: str, current: int) -> str:
    state = "done" if index < current else "now" if index == current else "later"
    here = ' aria-current="step"' if state == "now" else ""
    sign = "✓" if state == "done" else str(index + 1)
    return f'<li class="t-{state}"{here}><span class="t-sign">{sign}</span><span>{escape(name)}</span></li>'


def _local(url: str) -> str:
    """The address, escaped, if it stays within the app."""
    if not url.startswith("/") or url.startswith(("//", "/\\")):
        raise ValueError(f"not an address within the app: {url!r}")
    return escape(url)
