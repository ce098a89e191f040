"""Seeded forward simulator of a clarification station, independent of ``features``."""
