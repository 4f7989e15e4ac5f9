"""Measure, keep and show what a hair colour service really changed."""

NAME = "Measured hair"
"""What the program is called wherever a person reads its name; typed, it is ``measured-hair``."""

__version__ = "0.1.0"

METHOD_VERSION = "2.0"
"""Version of the measuring method; raised whenever a measured number can move."""
