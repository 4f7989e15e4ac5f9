"""Pieces that more than one page shows."""
