"""The photos that were opened last, for all windows together: forty windows must not hold forty photos."""

from __future__ import annotations

from tracker.workflow import DecodedPhotos

OPENED = DecodedPhotos()
"""So that moving a mark does not open the file again."""
