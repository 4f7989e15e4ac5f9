"""From untrusted bytes to an upright photo, and back to a clean JPEG."""

from tracker.photo.model import Limits, Photo
from tracker.photo.raw import can_read_raw
from tracker.photo.read import decode_photo
from tracker.photo.turns import Turns
from tracker.photo.worker import read_photo, start_reader
from tracker.photo.write import clean_jpeg, read_kept, scaled_jpeg, screen_jpeg

__all__ = [
    "Limits",
    "Photo",
    "Turns",
    "can_read_raw",
    "clean_jpeg",
    "decode_photo",
    "read_kept",
    "read_photo",
    "scaled_jpeg",
    "screen_jpeg",
    "start_reader",
]
