"""Sets a paper as a tagged PDF, or as a picture of it: without a network, a font of the system, or a file read."""

from __future__ import annotations

import json
import warnings
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal

import typst

_FOLDER = Path(__file__).parent


def typeset(template: str, content: dict[str, Any], form: Literal["pdf", "png"] = "pdf", *, dpi: float = 144) -> bytes:
    """The paper: the same bytes each time for the same content.

    What a paper says reaches its template as data, never as part of the template's text, so that no word can be taken
    for an instruction.

    Parameters
    ----------
    template : str, name of a file beside this one
    content : what `json.dumps` takes; the template reads it from ``sys.inputs.content``
    form : "pdf", or "png" of its first page
    dpi : float, pixels an inch, of a picture
    """
    source = (_FOLDER / template).read_bytes()
    # the compiler may read below its root and in its folders for packages: it gets an empty one for all
    with TemporaryDirectory() as empty, warnings.catch_warnings():
        warnings.simplefilter("error")
        compiler = typst.Compiler(
            source,
            root=empty,
            font_paths=typst.Fonts(include_system_fonts=False, include_embedded_fonts=True),
            ignore_system_fonts=True,
            sys_inputs={"content": json.dumps(content)},
            package_path=empty,
            package_cache_path=empty,
        )
        made = compiler.compile(format=form, ppi=dpi)
    pages = made if isinstance(made, list) else [made]
    return bytes(pages[0] or b"")
