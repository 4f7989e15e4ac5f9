"""What a person typed stands on the screen as it was typed: nothing makes a link, a picture or a formula of it."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from stillness import settled

from tracker import workflow
from tracker.record.records import MEASURING, PORTFOLIO, Step, Visit, new_id, now
from tracker.store import Store

if TYPE_CHECKING:
    from conftest import Serve, Watched

pytestmark = pytest.mark.browser

APP = Path(__file__).parents[2] / "app.py"

# GitHub Flavored Markdown 0.29 (6.9 autolinks), CommonMark 0.31.2, and Streamlit's own st.markdown: colours, names of
# pictures between colons, formulas, arrows
TYPED = [
    "http://example.com/a_b?c=d&e=f#g",
    "see https://example.com.",
    "HTTPS://EXAMPLE.COM/",
    "(http://example.com)",
    "www.example.com",
    "WWW.example.com/x",
    "ftp://example.com",
    "ada@example.com",
    "a.b-c_d+e@sub.example.co.uk, and more",
    "mailto:ada@example.com",
    "xmpp:ada@example.com/room",
    "<http://example.com> <ada@example.com>",
    "[words](http://example.com) ![picture](http://example.com/x.png)",
    "[words][1] [^1] [1]: http://example.com",
    ":smile: :+1: :-1: :smile:smile: a:b:c:d",
    ":material/delete: :material_delete: :streamlit:",
    ":red[words] :small[words] :blue-background[words] :color[words]{foreground=red} :help[words] :badge[x]",
    "$x^2$ $$x^2$$ costs 5$ or 6$",
    "a -> b <- c <-> d -- e >= f <= g ~= h",
    "->",
    "--",
    "--- -----> <=>",
    "&amp; &#58; &lt;b&gt; &copy;",
    "<b>bold</b> <script>alert(1)</script> <!-- no --> <img src=x onerror=alert(1)>",
    "*a* **b** _c_ __d__ ~~e~~ ~f~ `g` ``h``",
    "# no heading",
    "- no list",
    "+ no list",
    "1. no list",
    "1) no list",
    "> no quote",
    "| a | b |",
    "=== ---",
    "- [ ] nothing to do",
    "back\\slash \\* \\\\",
    "@ada #1 12:30:45 03/04/2025 1:1.5",
    "::: note",
    "::youtube[x]",
    "javascript:alert(1)",
    "line one.  line two",
    "💇🏽‍♀️ Zoë Straße नीरज محمد",
]
SCRIPT = """
import json
import streamlit as st
from tracker.ui.parts.words import plain, plain_lines
typed = json.loads({typed!r})
for number, text in enumerate(typed):
    with st.container(key=f"row-{{number}}"):
        st.markdown(plain(text))
        st.caption(plain(text))
        st.button(plain(text), key=f"button-{{number}}")
        st.markdown("**" + plain(text) + "**, " + plain(text))
with st.container(key="in-one"):
    st.markdown(plain_lines("\\n".join(typed)))
st.expander(plain(typed[0]), key="expander")
st.pills("Pick", typed, format_func=plain, key="pick")
st.success(plain(typed[14]))
"""


def shown(text: str) -> str:
    """As a browser draws it: several spaces are one."""
    return " ".join(text.split())


def test_every_sign_is_shown_as_it_was_typed(serve: Serve, desktop: Watched, tmp_path: Path) -> None:
    script = tmp_path / "words.py"
    script.write_text(SCRIPT.format(typed=json.dumps(TYPED)), "utf-8")
    page = desktop.page
    with serve(script, tmp_path / "studio", tmp_path / "server.log") as address:
        page.goto(address)
        page.locator(".st-key-pick").wait_for()
        page.get_by_text(TYPED[-1]).last.wait_for()
        page.wait_for_function(
            "count => document.querySelectorAll('[class*=st-key-row-] p').length === count", arg=4 * len(TYPED)
        )
        for number, text in enumerate(TYPED):
            found = page.locator(f".st-key-row-{number} [data-testid=stMarkdownContainer] p").all_inner_texts()
            found += page.locator(f".st-key-row-{number} [data-testid=stCaptionContainer] p").all_inner_texts()
            bold = f"{shown(text)}, {shown(text)}"
            assert found == [shown(text), shown(text), bold, shown(text)], text
        assert page.locator(".st-key-in-one p").inner_text().split("\n") == [shown(text) for text in TYPED]
        # a picture at the beginning of a pill stands in a box of its own there
        picked = [shown(text) for text in page.locator(".st-key-pick button").all_inner_texts()]
        assert picked == [shown(text) for text in TYPED]
        assert page.locator(".st-key-expander summary p").inner_text() == TYPED[0]
        assert page.locator("[data-testid=stAlert] p").inner_text() == shown(TYPED[14])
        assert made_of(page) == []
        # copied too, nothing is there that was not typed
        copied = page.evaluate(
            "() => { const row = document.querySelector('.st-key-row-0 p'); getSelection().selectAllChildren(row);"
            " return getSelection().toString() }"
        )
        assert copied == TYPED[0]
    assert desktop.outside == []


def made_of(page: Any) -> list[str]:
    """Links to elsewhere, pictures, formulas and icons in the page, none of which the app itself has in its words."""
    made = ", ".join(
        (
            "a[href]",
            ".katex",
            "img[alt='Streamlit logo']",
            "[role=img][aria-label$=' icon']",
            "[class*=stMarkdownColored]",
            "[class*=stMarkdownBadge]",
            "li input[type=checkbox]",
        )
    )
    within = (
        f"[data-testid=stMain] :is([data-testid=stMarkdownContainer], [data-testid=stCaptionContainer]) :is({made})"
    )
    found = page.locator(within).evaluate_all("all => all.map(e => [e.href || '', e.outerHTML.slice(0, 200)])")
    return [markup for href, markup in found if not href.startswith("http://127.0.0.1:")]


@pytest.mark.slow  # walks over every page
def test_no_page_makes_anything_of_what_was_typed(serve: Serve, desktop: Watched, tmp_path: Path) -> None:
    everything = " ".join(TYPED[:20])
    home = tmp_path / "studio"
    with Store(home) as store:
        client = workflow.add_client(
            store, "www.example.com :smile:", everything, {MEASURING: True, PORTFOLIO: True}, "a@example.com"
        )
        workflow.note_contact(store, client.id, everything, by="b@example.com")
        workflow.keep_price(store, "powder http://example.com :red[x]", 100.0, "g", 9.0, "$x$")
        step = Step(
            "www.example.com", "a@example.com", ":material/delete:", 5.0, everything, placement=("-> http://a.example",)
        )
        service = "http://example.com :smile: ->"
        on = now().date() - timedelta(days=40)
        visit = Visit(
            new_id(), client.id, on, (service,), (step,), everything, everything, now(), 1, everything, everything
        )
        visit = workflow.record_visit(store, replace(workflow.start_draft(store, client.id, "visit"), visit=visit))
        again = workflow.start_draft(store, client.id, "visit", visit)
        workflow.keep_draft(store, replace(again, step=3))
        workflow.edit_client(
            store, store.clients.get(client.id), client.name, "http://other.example.com", by="www.example.com"
        )
    pages = [
        "",
        "who-is-due",
        "clients",
        f"client?client={client.id}",
        f"new-visit?draft={again.id}",
        f"new-visit?client={client.id}",
        f"compare?visit={visit.id}",
        f"past-results?visit={visit.id}",
        "how-services-wear",
        "prices",
        "my-data",
        f"merge?client={client.id}",
        "portfolio",
        "studio",
    ]
    with serve(APP, home, tmp_path / "server.log") as address:
        for path in pages:
            page = desktop.page
            page.goto(f"{address}/{path}")
            page.locator("h1").first.wait_for()
            settled(page)
            page.locator("[data-testid=stMain] details:not([open]) > summary").evaluate_all(
                "all => all.map(e => e.click())"
            )
            settled(page)
            assert made_of(page) == [], path
    assert desktop.outside == []
