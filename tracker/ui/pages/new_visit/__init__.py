"""New visit: four steps in one column, photos, marks, result, save."""

from tracker.ui.pages.new_visit.flow import page

__all__ = ["page"]
