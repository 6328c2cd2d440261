"""What makes LilyPond read a source that it refused, and whether the notes are still right.

Old sources say what newer versions of LilyPond refuse, mostly about the look of the page.
What can be said anew is said anew (`mended`). Where an error is left, LilyPond goes on and
hears the rest. That is taken only where no error can have touched a note
(`beside_the_music`); whether another reader finds the same notes (`agrees`) is told.
"""

from __future__ import annotations

import posixpath
import re
from collections import Counter
from collections.abc import Mapping
from functools import partial
from typing import Any

from corpusreg.score.readers.lilypond.lines import ScoreReport
from corpusreg.score.readers.lilypond.sources import INCLUDE, beside, plain

__all__ = ["PRELUDE", "agrees", "beside_the_music", "mended", "whole"]

# Procedures of older versions, in front of every source. The last four only arranged the
# page: notes under a line of octaves are written as they sound.
PRELUDE = r"""
#(define crg-unfold unfold-repeats)
#(define (unfold-repeats . given)
   (if (null? (cdr given)) (crg-unfold '() (car given)) (apply crg-unfold given)))
#(define (set-octavation . given) *unspecified*)
#(define (set-accidental-style . given) *unspecified*)
#(define (override-auto-beam-setting . given) *unspecified*)
#(define (revert-auto-beam-setting . given) *unspecified*)
"""
# Words joined by '+', as versions before 2.23 had it.
_WORD = r'(?:"(?:\\.|[^"\\\n])*"|\\[A-Za-z]+)'
_JOINED = re.compile(rf"{_WORD}(?:[ \t]*\+[ \t]*{_WORD})+")
_ONE = re.compile(_WORD)
# The encoding of a file, as versions before 2.6 had it.
_ENCODING = re.compile(r'\\encoding\s+"[^"\n]*"')
# An error as LilyPond tells it, with file, line and column.
_ERROR = re.compile(
    r"^(?:/work/score/)?([^\n:]+):(\d+):(\d+): (?:fatal )?error: ([^\n]+)", re.MULTILINE
)
_SCHEME = "Guile signaled an error for the expression beginning here"
# What stands before a Scheme expression that is a value of the page's look, or of a name:
# where the music then uses that name, that is an error of another kind.
_VALUE = re.compile(r"""(?:[\w.\-"'#)]|\\tweak\s+\S+)\s*=\s*\Z|\\tweak\s+[^\s{}]+\s*\Z""")
# Blocks in which no note is written, and any other.
_BLOCK = re.compile(r"(\\(?:paper|layout|midi|header)\s*)?\{|\}")
# Scheme that says what later notes mean.
_OF_NOTES = re.compile(r"pitch|note|language|transpos|relative|music")
_DEEPEST = 20  # includes in includes
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def mended(texts: Mapping[str, str]) -> dict[str, str]:
    """The files of a piece in words that LilyPond still knows.

    Includes have the names of the files, also where a system took capitals for small.
    """

    return {
        file: _JOINED.sub(
            _appended, _ENCODING.sub("", INCLUDE.sub(partial(_named, file, texts), text))
        )
        for file, text in texts.items()
    }


def _named(file: str, texts: Mapping[str, str], found: re.Match[str]) -> str:
    wanted = found.group(1)
    inner = beside(wanted, file, texts, any_case=True)
    if inner is None or beside(wanted, file, texts) is not None:
        return found.group()
    own = posixpath.relpath(inner, posixpath.dirname(file) or ".")
    return found.group().replace(wanted, own)


def _appended(found: re.Match[str]) -> str:
    words = [word.removeprefix("\\") for word in _ONE.findall(found.group())]
    return f"#(string-append {' '.join(words)})"


def whole(texts: Mapping[str, str], name: str, depth: int = 0) -> str:
    """A file with all that it includes put in place; what is not there stays as it is."""

    def put(found: re.Match[str]) -> str:
        inner = beside(found.group(1), name, texts)
        return found.group() if inner is None else whole(texts, inner, depth + 1)

    return INCLUDE.sub(put, texts[name]) if depth < _DEEPEST else texts[name]


def beside_the_music(said: str, texts: Mapping[str, str]) -> bool:
    """Whether every error that LilyPond tells is of Scheme that can have made no note.

    Such Scheme is the value of an override, a setting or a name, or stands outside all
    music or in a block without notes. texts: the files as LilyPond had them.
    """
    found = _ERROR.findall(said)
    return bool(found) and all(
        words.startswith(_SCHEME) and _outside(texts.get(posixpath.normpath(name), ""), at)
        for name, at, words in ((name, (int(line), int(column)), words)
                                for name, line, column, words in found)
    )  # fmt: skip


def _outside(text: str, at: tuple[int, int]) -> bool:
    line, column = at
    lines = text.split("\n")
    if not 0 < line <= len(lines):
        return False
    row = lines[line - 1].expandtabs(8)
    # The column is that of the sign # or of what follows it.
    start = max(row.rfind("#", 0, column + 1), row.rfind("$", 0, column + 1))
    if start < 0:
        return False
    if _OF_NOTES.search(row[start:]):
        return False
    before = plain("\n".join([*lines[: line - 1], row[:start]]))
    # Strings may hold braces, Scheme characters too.
    bare = re.sub(r'"(?:\\.|[^"\\])*"|#\\.', '""', before)
    closed = bare.count("{") == bare.count("}") and bare.count("<<") == bare.count(">>")
    return bool(closed or _VALUE.search(before) or _in_block(bare))


def _in_block(before: str) -> bool:
    """Whether what comes before ends inside a block in which no note is written."""
    open_: list[bool] = []
    for found in _BLOCK.finditer(before):
        if found.group() != "}":
            open_.append(bool(found.group(1)))
        elif open_:
            open_.pop()
    return any(open_)


def agrees(heard: list[ScoreReport], text: str) -> bool:
    """Whether another reader finds each printed \\score with the same pitches as often."""
    import lytk

    try:
        read = lytk.from_lilypond_movements_string(text)
        movements = [movement.to_dict() for movement in read]
    except (lytk.LytkError, ValueError, OverflowError, RecursionError):
        return False
    found = []
    for movement in movements:
        pitches: Counter[int] = Counter()
        _collect(movement, pitches)
        found.append(pitches)
    printed = [score for score in heard if score.printed]
    for score in printed:
        own = Counter(60 + int(head.semitones) for head in score.heads)
        if not own or own not in found:
            return False
        found.remove(own)
    return bool(printed)


def _collect(item: Any, found: Counter[int]) -> None:
    """Count the pitches of a tree of notes."""
    if isinstance(item, list):
        for value in item:
            _collect(value, found)
    elif isinstance(item, dict):
        if "step" in item and "octave" in item:
            over, under = item.get("alter", (0, 1))
            found[12 * (item["octave"] + 1) + _STEPS[item["step"]] + over // under] += 1
        for value in item.values():
            _collect(value, found)
