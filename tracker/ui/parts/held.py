"""What a page or part keeps from one run to the next, in one window: one typed object with one owner.

A module that keeps something has a dataclass of its own for it, and nobody else names that class: other modules ask the
owner through a function. What stands in a field stays where Streamlit keeps it, under the field's own key.
"""

from __future__ import annotations

from typing import TypeVar, cast

import streamlit as st

Kept = TypeVar("Kept")

ANYBODY = "of-anybody"
"""In place of an identifier, for what may be any client's: it goes with whoever is erased (`forgetting`)."""


def key_of(kind: type, *of: str) -> str:
    """The key of the session under which an object of that class is kept; no two owners can share one.

    Parameters
    ----------
    kind : class
    of : str, what it belongs to. Where it holds a client's words this carries the identifier of the client, visit,
        draft or photo, by which an erasure finds it
    """
    return " ".join((f"{kind.__module__}.{kind.__qualname__}", *of))


def held(kind: type[Kept], *of: str) -> Kept:
    """The object of that class that this window keeps; it begins with its defaults. Change its fields in place."""
    return cast(Kept, st.session_state.setdefault(key_of(kind, *of), kind()))


def found(kind: type[Kept], *of: str) -> Kept | None:
    """The object of that class that this window keeps, or None."""
    return cast("Kept | None", st.session_state.get(key_of(kind, *of)))


def put(thing: Kept, *of: str) -> Kept:
    """Keep this object in place of the one of its class; gives it back."""
    st.session_state[key_of(type(thing), *of)] = thing
    return thing


def drop(kind: type, *of: str) -> None:
    """Keep no object of that class any more."""
    st.session_state.pop(key_of(kind, *of), None)
