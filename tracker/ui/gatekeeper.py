"""Who may speak to the app: its own page, in a browser on this computer, and nobody else. No server, only the decision.

A browser lets any page that it shows send requests to this computer; what tells them apart are the headers that it, not
the page, writes: `Host` (RFC 9110, 7.2; exactly one: RFC 9112, 3.2), `Origin` (RFC 6454: scheme, host and port; for
sockets RFC 6455, 10.2) and `Sec-Fetch-*` (W3C Fetch Metadata). Another port of this computer is another origin, though
the same site.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Collection
from dataclasses import dataclass

NAMES = ("127.0.0.1", "localhost", "[::1]")
"""The names by which this computer calls itself. Any other name that leads here is how a foreign page would get in."""

_READING = ("GET", "HEAD")
_USUAL_PORT = {"http": 80, "https": 443}


@dataclass(frozen=True, slots=True)
class Asked:
    """What one request says about where it comes from.

    Attributes
    ----------
    socket : bool, True for the opening of a web socket
    secure : bool, True where it came over TLS
    port : int, at which the app is served
    peer : str, address of the computer at the other end; empty where it is not known
    method, path : str, as in the request; a socket is opened by GET
    hosts, origins : the values of these headers, one for each time the header occurs
    site, mode, dest : str, the `Sec-Fetch-` headers of these names; empty where there is none
    """

    port: int
    peer: str
    socket: bool = False
    secure: bool = False
    method: str = "GET"
    path: str = "/"
    hosts: tuple[str, ...] = ()
    origins: tuple[str, ...] = ()
    site: str = ""
    mode: str = ""
    dest: str = ""


def refusal(asked: Asked, pages: Collection[str]) -> str:
    """Why this request is not answered, as a sentence; empty where it is.

    Parameters
    ----------
    asked : the request
    pages : paths that a link elsewhere may lead to: pages, which show nothing to the page that holds the link
    """
    scheme = "https" if asked.secure else "http"
    if not is_this_computer(asked.peer):
        return "This app answers only the computer it runs on."
    if len(asked.hosts) != 1 or asked.hosts[0].lower() not in _hosts(scheme, asked.port):
        return "This app answers only under this computer’s own name and its own port."
    if asked.origins:
        if asked.origins != (f"{scheme}://{asked.hosts[0].lower()}",):
            return "This app answers only its own page."
    elif asked.socket or asked.method not in _READING:
        return "This app answers only a page that says where it comes from."
    if asked.site not in ("", "same-origin", "none") and not _opens_a_page(asked, pages):
        return "This app answers only its own page."
    return ""


def is_this_computer(address: str) -> bool:
    """True for the loopback addresses of IPv4 and IPv6, and for those of IPv4 written as IPv6."""
    try:
        known = ipaddress.ip_address(address)
    except ValueError:
        return False
    if isinstance(known, ipaddress.IPv6Address) and known.ipv4_mapped is not None:
        return known.ipv4_mapped.is_loopback
    return known.is_loopback


def _hosts(scheme: str, port: int) -> set[str]:
    """What `Host` may say; browsers leave out the port that is usual for the scheme."""
    with_port = {f"{name}:{port}" for name in NAMES}
    return with_port | set(NAMES) if port == _USUAL_PORT[scheme] else with_port


def _opens_a_page(asked: Asked, pages: Collection[str]) -> bool:
    """A link elsewhere that opens a page of ours in a window of its own."""
    return (
        not asked.socket
        and asked.method in _READING
        and asked.mode == "navigate"
        and asked.dest == "document"
        and asked.path in pages
    )
