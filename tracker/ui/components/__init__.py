"""Pieces of the face that need code in the browser: each is plain HTML, CSS and JavaScript, no build step."""

from tracker.ui.components.before_after import before_after
from tracker.ui.components.erasures import hear_of_erasures
from tracker.ui.components.point_editor import EditedMarks, edit_marks

__all__ = ["EditedMarks", "before_after", "edit_marks", "hear_of_erasures"]
