"""Colour mathematics, uncertainty and the geometry of lines; knows nothing about hair."""
