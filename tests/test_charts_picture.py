"""Charts as files: drawn here, whole, and without asking anything outside this computer."""

from __future__ import annotations

import io
import socket
import xml.etree.ElementTree as ElementTree

import pytest
from PIL import Image

from tracker.charts.picture import FORMATS, MIME, WIDTH, chart_picture

SPEC = {
    "title": "Ends: 5.7 warmer",
    "data": {"values": [{"m": 0, "w": -2.7}, {"m": 3, "w": 2.2}, {"m": 6, "w": 3.0}]},
    "mark": {"type": "line", "color": "#333333"},
    "encoding": {"x": {"field": "m", "type": "quantitative"}, "y": {"field": "w", "type": "quantitative"}},
    "height": 240,
}


@pytest.fixture(autouse=True)
def offline(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object, **__: object) -> None:
        raise AssertionError("a chart asked another computer")

    monkeypatch.setattr(socket.socket, "connect", refused)


def test_svg_holds_the_title_as_text() -> None:
    drawn = ElementTree.fromstring(chart_picture(SPEC, "svg"))  # noqa: S314
    assert drawn.tag == "{http://www.w3.org/2000/svg}svg"
    assert "Ends: 5.7 warmer" in "".join(drawn.itertext())


def test_png_is_a_picture_on_white_with_a_line_in_it() -> None:
    with Image.open(io.BytesIO(chart_picture(SPEC, "png"))) as drawn:
        grey = drawn.convert("L")
        assert drawn.width >= 2 * WIDTH  # two pixels for one
        assert grey.getpixel((2, 2)) == 255
        assert grey.getextrema()[0] < 90


def test_pdf_is_one_whole_page() -> None:
    content = chart_picture(SPEC, "pdf")
    assert content.startswith(b"%PDF-1.")
    assert content.rstrip().endswith(b"%%EOF")
    assert set(MIME) == set(FORMATS)


def test_what_is_no_chart_or_no_kind_is_refused() -> None:
    with pytest.raises(ValueError, match="not 'gif'"):
        chart_picture(SPEC, "gif")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=r"."):
        chart_picture({"mark": "no such mark", "data": {"url": "https://example.org/x.csv"}}, "svg")


def test_data_from_elsewhere_is_not_fetched() -> None:
    drawn = None
    try:
        drawn = chart_picture({**SPEC, "data": {"url": "https://example.org/x.csv"}}, "svg")
    except ValueError:
        return
    assert b"example.org" not in drawn
