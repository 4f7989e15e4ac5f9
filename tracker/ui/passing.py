"""Photos that a page shows for marking and that are never kept: in the memory of this process only, and few of them."""

from __future__ import annotations

import threading
from collections import OrderedDict

from tracker.errors import NotFound
from tracker.workflow import PassingPhoto

MOST = 40
"""Most photos held at once; the oldest gives way, and its page asks for it again."""

_held: OrderedDict[str, PassingPhoto] = OrderedDict()
_one_at_a_time = threading.Lock()


def hold(photo: PassingPhoto) -> None:
    """Let the server show this photo until it is forgotten."""
    with _one_at_a_time:
        _held[photo.id] = photo
        while len(_held) > MOST:
            _held.popitem(last=False)


def held(photo_id: str) -> PassingPhoto:
    """A photo that is held.

    Raises
    ------
    NotFound : it is not held, or no longer
    """
    with _one_at_a_time:
        photo = _held.get(photo_id)
    if photo is None:
        raise NotFound("This photo is not here any more.", "Add it again.")
    return photo


def let_go(photo_id: str) -> None:
    """Forget a photo."""
    with _one_at_a_time:
        _held.pop(photo_id, None)


def passing_url(photo: PassingPhoto) -> str:
    """Address of the photo as the browser shows it."""
    return f"/passing/{photo.id}.jpg"
