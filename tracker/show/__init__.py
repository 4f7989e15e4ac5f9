"""What a person is shown beside the numbers: overlays of what was measured, and the calendar file."""
