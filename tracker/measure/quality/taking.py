"""How a photo was taken, where its file tells: flash, zoom and computed looks. All of it only warns."""

from __future__ import annotations

from tracker.measure.quality import limits
from tracker.measure.reading import Check

_SCENES = {"landscape": "landscapes", "portrait": "portraits", "night": "night scenes"}
_LOOKS = {"contrast": "contrast", "saturation": "strength of colour"}

_PORTRAIT_OFF = "Switch portrait mode off and take the photo again."


def check_taking(warning: str) -> Check | None:
    """The check behind a note on how the photo was taken; None where the note is about something else.

    Parameters
    ----------
    warning : str, one of those in `Photo.warnings`
    """
    name, _, more = warning.partition(" ")
    if name == "flash_fired":
        return _warn(
            "flash",
            "The flash fired: its light falls on card and hair differently, and makes the hair shine.",
            "Take the photo again without flash.",
        )
    if name == "digital_zoom":
        return _zoom(float(more))
    if name == "portrait_mode":
        return _warn(
            "portrait_mode",
            "The photo was taken in portrait mode: what it blurs behind the head may take the edge of the hair along.",
            _PORTRAIT_OFF,
        )
    if name == "depth_map":
        return _warn(
            "portrait_mode",
            "The file holds a depth map, as portrait mode writes it: the edge of the hair may be blurred.",
            f"{_PORTRAIT_OFF} If it was off, nothing is wrong.",
        )
    if name == "scene" and more in _SCENES:
        return _warn(
            "scene",
            f"The camera was set to {_SCENES[more]}: it then changes contrast, colour or sharpness by itself.",
            "Set it to its ordinary photo mode and take the photo again.",
        )
    if name == "look" and more in _LOOKS:
        return _warn(
            f"look_{more}",
            f"The camera was set to another {_LOOKS[more]} than its normal one.",
            "Set it back to normal, for every photo.",
        )
    return None


def _zoom(times: float) -> Check:
    ok = times <= limits.ZOOM
    return Check(
        "zoom",
        ok,
        times,
        limits.ZOOM,
        "times",
        "The photo was hardly enlarged by digital zoom."
        if ok
        else f"The photo was enlarged {times:.1f} times by digital zoom: the hair has fewer real pixels than it seems.",
        "" if ok else "Set the zoom to 1, stand about a metre away, and take the photo again.",
        stops=False,
    )


def _warn(name: str, says: str, advice: str) -> Check:
    return Check(name, False, 1.0, 0.0, "file", says, advice, stops=False)
