"""Small pieces of sentences that many modules use."""

from __future__ import annotations

from collections.abc import Iterable

__all__ = ["capital", "did_you_mean"]


def capital(text: str) -> str:
    """Text with its first letter as at the beginning of a sentence.

    >>> capital("bars 1 to 4"), capital("")
    ('Bars 1 to 4', '')
    """
    return text[:1].upper() + text[1:]


def did_you_mean(word: str, known: Iterable[str], most: int = 3) -> str:
    """The known words nearest to one that is none of them, '' where none is near.

    >>> did_you_mean("barok", ["baroque", "modern"]), did_you_mean("x", ["modern"])
    ('; did you mean baroque?', '')
    """
    import difflib

    near = difflib.get_close_matches(word, list(known), n=most, cutoff=0.5)
    return f"; did you mean {' or '.join(near)}?" if near else ""
