"""A chart as a file, drawn without a browser and without contacting any other computer."""

from __future__ import annotations

import json
from typing import Any, Literal

import altair as alt

from tracker.charts.marks import Spec

Format = Literal["svg", "png", "pdf"]
FORMATS: tuple[Format, ...] = ("svg", "png", "pdf")
MIME = {"svg": "image/svg+xml", "png": "image/png", "pdf": "application/pdf"}

WIDTH = 760
"""Width of a drawn chart in pixels; a chart on a page is as wide as its column."""

_VERSION = ".".join(alt.SCHEMA_VERSION.split(".")[:2])
_SCALE = 2.0  # pixels of a PNG for one of the chart: sharp on paper and on a telephone
_MARGIN = 16


def chart_picture(spec: Spec, kind: Format) -> bytes:
    """Draw a chart.

    Parameters
    ----------
    spec : Vega-Lite dictionary from one of the charts here, best in the greys of a light page
    kind : ``svg``, ``png`` or ``pdf``

    Returns
    -------
    bytes : content of the file, on a white ground

    Raises
    ------
    ValueError : no such kind, or not a specification
    """
    import vl_convert  # imported late: it takes 80 MB

    sized: dict[str, Any] = {
        **spec,
        "width": WIDTH,
        "background": "#ffffff",
        "padding": _MARGIN,
        "autosize": {"type": "pad", "contains": "content"},
    }
    text = json.dumps(sized)
    if kind == "svg":
        return str(vl_convert.vegalite_to_svg(text, vl_version=_VERSION, allowed_base_urls=[])).encode()
    if kind == "png":
        return bytes(vl_convert.vegalite_to_png(text, vl_version=_VERSION, scale=_SCALE, allowed_base_urls=[]))
    if kind == "pdf":
        return bytes(vl_convert.vegalite_to_pdf(text, vl_version=_VERSION, allowed_base_urls=[]))
    raise ValueError(f"a chart is drawn as {', '.join(FORMATS)}, not {kind!r}")
