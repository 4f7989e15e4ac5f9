"""The shell: settings as shipped, the server's own rules and pictures, and markup that nobody can break out of."""

from __future__ import annotations

import re
import tomllib
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest
from streamlit.web.server.app_discovery import discover_asgi_app

from tracker.errors import CardNotFound
from tracker.measure.reading import Check
from tracker.photo import Limits
from tracker.ui import look, navigation
from tracker.ui.look import Swatch
from tracker.ui.parts import upload
from tracker.ui.safe_settings import SAFE

REPOSITORY = Path(__file__).parents[1]
INTERFACE = REPOSITORY / "tracker" / "ui"
SETTINGS = tomllib.loads((REPOSITORY / ".streamlit" / "config.toml").read_text("utf-8"))
THEME = tomllib.loads((INTERFACE / "theme.toml").read_text("utf-8"))["theme"]
STYLE = (INTERFACE / "look.css").read_text("utf-8")
HOSTILE = "<img src=x onerror=alert(1)>\"'&"


def test_app_is_short_and_found_by_streamlit_run() -> None:
    app = REPOSITORY / "app.py"
    assert len(app.read_text("utf-8").splitlines()) < 60
    assert discover_asgi_app(app).is_asgi_app


def test_no_pages_folder_stands_beside_the_script() -> None:
    """Streamlit would read it as its own list of pages and deny ours to whoever opens one first."""
    assert not (INTERFACE / "start" / "pages").exists()


def test_the_file_of_settings_says_what_the_program_sets_itself() -> None:
    """`streamlit run` takes some of them from the file, before it loads the program."""
    for name, value in SAFE.items():
        section, option = name.split(".")
        assert SETTINGS[section][option] == value, name
    assert {
        f"{section}.{name}" for section in ("browser", "client", "global", "server") for name in SETTINGS[section]
    } == set(SAFE)


def test_what_may_be_handed_over_is_what_is_read() -> None:
    limits = Limits()
    assert limits.max_bytes == upload.LARGEST_MB * 1024**2
    assert limits.max_raw_bytes == upload.LARGEST_RAW_MB * 1024**2
    assert SETTINGS["server"]["maxUploadSize"] == upload.LARGEST_RAW_MB


def test_every_setting_is_known_to_streamlit() -> None:
    for section, values in {**SETTINGS, "theme": THEME}.items():
        for name, value in values.items():
            for option in (
                [f"{section}.{name}.{inner}" for inner in value] if isinstance(value, dict) else [f"{section}.{name}"]
            ):
                st.get_option(option)


def test_theme_is_grey_with_equal_red_green_and_blue() -> None:
    colours = re.findall(r"#[0-9a-fA-F]{6}", str(THEME))
    links = {THEME[mode]["linkColor"] for mode in ("light", "dark")}
    assert len(colours) > 40
    for colour in set(colours) - links:
        assert colour[1:3] == colour[3:5] == colour[5:7], colour


@pytest.mark.parametrize(("mode", "index"), [("light", 0), ("dark", 1)])
def test_accent_and_text_have_enough_contrast(mode: str, index: int) -> None:
    theme = THEME[mode]
    action, over, focus = (
        re.findall(rf"--t-{name}: (#\w{{6}})", STYLE)[index] for name in ("action", "action-over", "focus")
    )
    page = theme["backgroundColor"]
    assert contrast("#ffffff", action) >= 4.5
    assert contrast("#ffffff", over) >= 4.5
    assert contrast(action, page) >= 3
    assert contrast(focus, page) >= 3
    assert contrast(theme["linkColor"], page) >= 4.5
    assert contrast(theme["textColor"], theme["secondaryBackgroundColor"]) >= 7
    assert contrast(theme["grayTextColor"], page) >= 4.5
    assert re.findall(r"--t-page: (#\w{6})", STYLE)[index] == page


def contrast(one: str, other: str) -> float:
    """Ratio of WCAG 2.2."""

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


class Reader(HTMLParser):
    """Collects the tags, attributes and text of a piece of markup."""

    def __init__(self, markup: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text = ""
        self.feed(markup)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.mark.parametrize(
    "markup",
    [
        look.swatches_html([Swatch("#aabbcc", HOSTILE, HOSTILE, HOSTILE), Swatch(HOSTILE, HOSTILE)]),
        look.check_list_html([Check("card", ok, 1, 2, "", HOSTILE, HOSTILE) for ok in (True, False)]),
        look.step_bar_html([HOSTILE, HOSTILE], 1),
        look.photo_html("/picture/x/320.jpg?v=1&w=2", HOSTILE, caption=HOSTILE, href="/client?client=1"),
    ],
)
def test_what_a_person_typed_stays_text(markup: str) -> None:
    read = Reader(markup)
    assert HOSTILE in read.text
    known = "class style aria-label aria-current aria-hidden src alt loading decoding href target"
    assert {name for name, _ in read.attributes} <= set(known.split())
    assert read.tags.count("img") == markup.count("<img src=&quot;") + ("/picture/" in markup)


@pytest.mark.parametrize(
    "address", ["https://example.org/a.jpg", "//example.org/a.jpg", "/\\example.org", "javascript:1", ""]
)
def test_photos_come_from_the_app_only(address: str) -> None:
    with pytest.raises(ValueError, match="within the app"):
        look.photo_html(address, "photo")
    with pytest.raises(ValueError, match="within the app"):
        look.photo_html("/picture/x/320.jpg", "photo", href=address or "x")


def test_only_look_writes_markup_that_varies() -> None:
    constant = {"look.py", "focus.py", "opening.py"}  # the others write a style sheet and a fixed script
    for file in INTERFACE.rglob("*.py"):
        text = file.read_text("utf-8")
        assert "unsafe_allow_html" not in text, file
        assert "st.html(" not in text or file.name in constant, file


def test_nothing_of_the_record_lies_in_the_memory_of_streamlit() -> None:
    """What these are given stays there and can be fetched for minutes after an erasure; `parts.offer` and the picture
    routes keep nothing."""
    keeping = r"st\.(download_button|image|audio|video|pdf|logo|cache_data|cache_resource)\b"
    for file in INTERFACE.rglob("*.py"):
        assert not re.search(keeping, file.read_text("utf-8")), file


def test_components_write_text_as_text() -> None:
    for file in (INTERFACE / "components").rglob("*.js"):
        assert not re.search(
            r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|eval\(", file.read_text("utf-8")
        ), file


@pytest.mark.parametrize("name", [file.stem.replace("_", " ") for file in (INTERFACE / "drawings").glob("*.svg")])
def test_drawings_are_ours_and_whole(name: str) -> None:
    from xml.etree import ElementTree as Tree

    root = Tree.fromstring(look.drawing(name))  # noqa: S314 (our own file)
    assert root.tag.endswith("svg")
    assert "href" not in look.drawing(name)
    assert "mask-image: url(data:image/svg+xml," in look.drawing_html(name, "how to hold the card")


@pytest.mark.parametrize("name", ["../look", "no such"])
def test_only_our_drawings_are_read(name: str) -> None:
    with pytest.raises(KeyError):
        look.drawing(name)


def shown(running: AppTest) -> str:
    """All written markup of the page but its style sheet."""
    bodies = [element.proto.body for element in running.get("html")]
    return "\n".join(body for body in bodies if "<style>" not in body)


def open_today(monkeypatch: pytest.MonkeyPatch, page: Any, home: Path) -> AppTest:
    from tracker.ui.pages import today

    monkeypatch.setenv("TRACKER_HOME", str(home))
    monkeypatch.setattr(today, "page", page)
    return AppTest.from_file(str(INTERFACE / "start" / "script.py"), default_timeout=30).run()


def test_an_expected_failure_is_said_in_its_own_words(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def page() -> None:
        raise CardNotFound("No card was found in <b>this</b> photo.", "Put it beside the hair.")

    running = open_today(monkeypatch, page, tmp_path)
    assert not running.exception
    assert "No card was found in &lt;b&gt;this" in shown(running)
    assert "Put it beside the hair." in shown(running)


def test_any_other_failure_is_one_line_with_a_number_that_is_in_the_log(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    def page() -> None:
        raise RuntimeError("/secret/path")

    running = open_today(monkeypatch, page, tmp_path)
    assert not running.exception
    assert "/secret/path" not in shown(running)
    number = re.search(r"number ([0-9a-f]{8})", shown(running))
    assert number is not None
    assert number[1] in caplog.text
    assert "/secret/path" in caplog.text


def test_addresses_of_pages() -> None:
    assert navigation.address("today") == "/"
    assert navigation.address("client", client="ab", back="a b&c") == "/client?client=ab&back=a+b%26c"
    # the menu holds no more than a phone has room for; every other page is reached by a link
    assert [entry.name for entry in navigation.ENTRIES if entry.listed] == [
        "today",
        "due",
        "clients",
        "new_visit",
        "portfolio",
        "studio",
    ]


def test_a_warning_is_told_from_a_stop_and_shows_its_figures() -> None:
    def markup(**given: bool) -> str:
        return look.check_list_html(
            [Check("gloss", value=0.12, limit=0.08, unit="share", says="s", advice="a", **given)]
        )

    warned, stopped, passed = markup(ok=False, stops=False), markup(ok=False, stops=True), markup(ok=True, stops=False)
    assert 'class="t-warn"' in warned
    assert "Look at this: " in warned
    assert 'class="t-stop"' in stopped
    assert 'class="t-ok"' in passed
    # three shapes, so that nobody needs to see a colour
    assert len({re.search(r"mask-image: url\([^)]*\)", each)[0] for each in (warned, stopped, passed)}) == 3  # type: ignore[index]
    assert "Measured 12\N{NO-BREAK SPACE}%, at most 8\N{NO-BREAK SPACE}%" in warned
