"""Small pieces of sentences that many modules use."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

__all__ = ["capital", "did_you_mean", "joined", "nearest", "plural", "shared_start"]


_FEW = 40  # names that are all listed where none is near
_PART = 3  # letters from which a word is looked for inside others


def capital(text: str) -> str:
    """Text with its first letter as at the beginning of a sentence.

    >>> capital("bars 1 to 4"), capital("")
    ('Bars 1 to 4', '')
    """
    return text[:1].upper() + text[1:]


def did_you_mean(word: str, known: Iterable[str], most: int = 3) -> str:
    """The known words that have one in them, else those nearest to it, '' where none is near.

    >>> did_you_mean("barok", ["baroque", "modern"]), did_you_mean("x", ["modern"])
    ('; did you mean baroque?', '')
    """
    import difflib

    names = list(known)
    part = word.casefold() if len(word) >= _PART else None
    near = [name for name in names if part and part in name.casefold()][:most]
    near = near or difflib.get_close_matches(word, names, n=most, cutoff=0.6)
    return f"; did you mean {' or '.join(near)}?" if near else ""


def nearest(word: str, known: Iterable[str]) -> str:
    """`did_you_mean`, and where none is near all known words, unless they are many.

    >>> nearest("x", ["modern", "baroque"])
    '; there are modern, baroque'
    """
    names = list(dict.fromkeys(known))
    every = f"; there are {', '.join(names)}" if len(names) <= _FEW else ""
    return did_you_mean(word, names) or every


def joined(texts: Sequence[str]) -> str:
    """A list as people say it.

    >>> joined(["flute"]), joined(["a", "b", "c"])
    ('flute', 'a, b and c')
    """
    return " and ".join(filter(None, (", ".join(texts[:-1]), *texts[-1:])))


def shared_start(titles: Sequence[str]) -> str:
    """What all titles begin with, up to a colon, as the movements of one work do; else ''.

    >>> shared_start(["Suite: Air", "Suite: Jig"]), shared_start(["Suite: Air"])
    ('Suite: ', '')
    """
    start = titles[0].rpartition(": ")[0] if len(titles) > 1 else ""
    while start and not all(title.startswith(f"{start}: ") for title in titles):
        start = start.rpartition(": ")[0]
    return start and f"{start}: "


def plural(number: int, noun: str) -> str:
    """A count with its noun.

    >>> plural(1, "bar"), plural(1200, "work")
    ('1 bar', '1,200 works')
    """
    return f"{number:,} {noun}" + ("" if number == 1 else "s")
