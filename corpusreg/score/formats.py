"""Which file ending is which format: for those who list files and those who read them."""

from __future__ import annotations

__all__ = ["FORMATS"]

# Suffix -> family; a family is one reader.
FORMATS = {
    ".musicxml": "musicxml",
    ".xml": "musicxml",
    ".mxl": "musicxml",
    ".krn": "kern",
    ".kern": "kern",
    ".abc": "abc",
    ".mid": "midi",
    ".midi": "midi",
    ".rmi": "midi",
    ".mei": "mei",
    ".capx": "capella",
    ".nwctxt": "noteworthy",
    ".tntxt": "tinynotation",
    ".ly": "lilypond",
}
