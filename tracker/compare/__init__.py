"""Comparing photos: sets of one state, changes between states, past results."""
