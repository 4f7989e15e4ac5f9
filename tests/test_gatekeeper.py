"""Who may speak to the app: each rule with the request that it refuses and its neighbour that it lets in.

What the headers mean is taken from RFC 6454 (an origin is scheme, host and port), RFC 9110 and 9112 (Host), RFC 6455
(Origin of a socket) and the W3C's Fetch Metadata Request Headers.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from tracker.ui.gatekeeper import Asked, is_this_computer, refusal

PAGES = {"/", "/clients"}
OWN = "http://127.0.0.1:8501"
PAGE = Asked(port=8501, peer="127.0.0.1", hosts=("127.0.0.1:8501",), site="none", mode="navigate", dest="document")
SOCKET = Asked(
    port=8501, peer="127.0.0.1", socket=True, path="/_stcore/stream", hosts=("127.0.0.1:8501",), origins=(OWN,)
)
UPLOAD = replace(SOCKET, socket=False, method="PUT", path="/_stcore/upload_file/a/b", site="same-origin", mode="cors")
PICTURE = replace(PAGE, path="/picture/0/320.jpg", site="same-origin", mode="no-cors", dest="image")


@pytest.mark.parametrize("asked", [PAGE, SOCKET, UPLOAD, PICTURE, replace(UPLOAD, method="DELETE")])
def test_our_own_page_is_let_in(asked: Asked) -> None:
    assert refusal(asked, PAGES) == ""


@pytest.mark.parametrize("name", ["127.0.0.1", "localhost", "LOCALHOST", "[::1]"])
def test_this_computer_has_three_names(name: str) -> None:
    assert refusal(replace(PAGE, hosts=(f"{name}:8501",)), PAGES) == ""
    own = replace(SOCKET, hosts=(f"{name}:8501",), origins=(f"http://{name.lower()}:8501",))
    assert refusal(own, PAGES) == ""


@pytest.mark.parametrize(
    "hosts",
    [
        (),
        ("",),
        ("127.0.0.1:8501", "127.0.0.1:8501"),
        ("127.0.0.1:8501, evil.example",),
        ("127.0.0.1:8502",),
        ("127.0.0.1",),  # without a port it is port 80 that was meant
        ("evil.example:8501",),
        ("localhost.evil.example:8501",),
        ("127.0.0.1.evil.example:8501",),
        ("localhost.:8501",),
        ("192.168.1.4:8501",),
        ("0.0.0.0:8501",),
        ("me@127.0.0.1:8501",),
        ("[",),
    ],
)
def test_another_name_or_port_is_refused(hosts: tuple[str, ...]) -> None:
    for asked in (PAGE, SOCKET, UPLOAD, PICTURE):
        assert refusal(replace(asked, hosts=hosts), PAGES)


def test_the_usual_port_goes_without_saying() -> None:
    plain = replace(PAGE, port=80, hosts=("localhost",))
    assert refusal(plain, PAGES) == ""
    assert refusal(replace(plain, origins=("http://localhost",)), PAGES) == ""
    assert refusal(replace(plain, secure=True), PAGES)
    assert refusal(replace(plain, port=443, secure=True, origins=("https://localhost",)), PAGES) == ""


@pytest.mark.parametrize(
    "origin",
    [
        "http://127.0.0.1:8502",  # another program of this computer
        "http://localhost:8501",  # another name is another origin
        "https://127.0.0.1:8501",
        "http://127.0.0.1",
        "http://evil.example",
        "http://evil.example:8501",
        "http://127.0.0.1:8501.evil.example",
        "http://127.0.0.1:8501/",
        "null",
        "",
    ],
)
def test_another_origin_is_refused(origin: str) -> None:
    for asked in (SOCKET, UPLOAD, replace(UPLOAD, method="DELETE"), replace(PAGE, origins=())):
        assert refusal(replace(asked, origins=(origin,)), PAGES)
    assert refusal(replace(SOCKET, origins=(OWN, origin)), PAGES)


@pytest.mark.parametrize("method", ["PUT", "POST", "DELETE", "PATCH", "OPTIONS", "BREW"])
def test_what_changes_something_says_where_it_comes_from(method: str) -> None:
    assert refusal(replace(UPLOAD, method=method, origins=()), PAGES)
    assert refusal(replace(SOCKET, origins=()), PAGES)


@pytest.mark.parametrize("site", ["cross-site", "same-site", "something new"])
def test_a_foreign_page_may_lead_to_a_page_and_to_nothing_else(site: str) -> None:
    led = replace(PAGE, site=site)
    assert refusal(led, PAGES) == ""
    assert refusal(replace(led, path="/clients"), PAGES) == ""
    for other in (
        replace(led, path="/picture/0/320.jpg"),
        replace(led, path="/_stcore/health"),
        replace(led, path="/media/a.zip"),
        replace(led, dest="iframe"),
        replace(led, mode="no-cors", dest="script"),
        replace(led, method="POST", origins=(OWN,)),
        replace(PICTURE, site=site),
        replace(SOCKET, site=site),
        replace(UPLOAD, site=site),
    ):
        assert refusal(other, PAGES), other


def test_a_program_that_is_no_browser_may_look() -> None:
    assert refusal(Asked(port=8501, peer="::1", hosts=("localhost:8501",), path="/_stcore/health"), PAGES) == ""


@pytest.mark.parametrize("peer", ["192.168.1.20", "10.0.0.1", "2001:db8::1", "::ffff:10.0.0.1", "0.0.0.0", "", "unix"])  # noqa: S104
def test_another_computer_is_refused_whatever_it_says(peer: str) -> None:
    assert not is_this_computer(peer)
    for asked in (PAGE, SOCKET, UPLOAD, PICTURE):
        assert "only the computer" in refusal(replace(asked, peer=peer), PAGES)


@pytest.mark.parametrize("peer", ["127.0.0.1", "127.8.8.8", "::1", "::ffff:127.0.0.1"])
def test_the_loopback_addresses_are_this_computer(peer: str) -> None:
    assert is_this_computer(peer)
