"""Untrusted bytes to an upright photo, and a clean JPEG back."""

from tracker.photo.model import Limits, Photo
from tracker.photo.profile import build_profile, parse_profile
from tracker.photo.raw import can_read_raw
from tracker.photo.read import read_photo
from tracker.photo.write import clean_jpeg, scaled_jpeg, screen_jpeg

__all__ = [
    "Limits",
    "Photo",
    "build_profile",
    "can_read_raw",
    "clean_jpeg",
    "parse_profile",
    "read_photo",
    "scaled_jpeg",
    "screen_jpeg",
]
