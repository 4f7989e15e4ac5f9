"""What people see besides the numbers: overlays of what was measured, and the calendar file."""
