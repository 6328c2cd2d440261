"""Printed part names taken apart: words, ordinals, keys, and known names inside them.

Aim: 'Clarinetto 1mo in B.', 'Kl. I in B' and 'Bb Clarinet 1' name one
instrument. Nothing here knows which names exist; a caller passes them in.

Conventions
-----------
plain text   lower case, no accents, one space between words, letters only.
key          a letter with an optional b or #, as in 'Bb'; German B and H,
             Es, As, Des and the syllables ut to si are understood. A lone B is
             read as the German one, B flat: no English part is 'in B'.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Container
from functools import lru_cache
from typing import NamedTuple

__all__ = ["is_generic", "plain", "read_name", "says_which"]

_PLAIN_LETTERS = str.maketrans({"ł": "l", "ø": "o", "œ": "oe", "æ": "ae", "♭": "b", "♯": "#"})

# What numbers, choirs and instructions add to a name without changing the instrument.
_NOISE_WORDS = """
i ii iii iv vi vii viii ix j ij mo imo do ndo iido dus dem st nd rd th er re me to da di
first second third fourth primo secondo secundo terzo tertio quarto prima seconda secunda
primus secundus tertius quartus primi secundi tertia primae secundae erste erster zweite
zweiter dritte premier premiere deuxieme troisieme solo soli tutti div divisi unis ripieno
ripieni ripien rip concertato concertante conc principale princ obligato obbligato
obligatto obligat oblig obl in ex e ed et und and vel or oder ou o with con mit avec the
for practice only verse strophe cutaway part parte pars staff section sordino sord sordini
muted ad lib libitum pro de del della per la l il left right hand rh lh upper lower
secondi due duo obligata obligate oblige oblg obgl obg obligatt placitum unisono chorale
imi jmo ida iida toni mus im principalo libe expressivo espressivo prymo sekundo princypalo
prinpalo prinzipale up down unisoni unisono fuga grosso lub
"""
_GROUP_WORDS = "coro cori chori choro choir chorus chor chorum"
_NOISE = frozenset(_NOISE_WORDS.split())
_GROUP = frozenset(_GROUP_WORDS.split())
_GENERIC = frozenset(
    (
        "",
        "musicxml part",
        "track",
        "part",
        "staff",
        "instrument",
        "untitled",
        "midi",
        "p",
        "s v",
    )
)
_SYLLABLES = {"ut": "C", "do": "C", "re": "D", "mi": "E", "fa": "F", "sol": "G", "la": "A"}
_GERMAN = {"es": "Eb", "as": "Ab", "b": "Bb", "h": "B", "dis": "Eb", "des": "Db", "si": "B"}
_KEY = r"(?:(?:ut|re|mi|fa|sol|la|si)(?:\s?b(?:emol)?)?|[ad-h]es|[ae]s|dis|[a-h][b#]?)"
_IN_KEY = re.compile(rf"\b(?:in|ex|en|aus)\s+({_KEY})(?![a-z#])|\(({_KEY})\)")
_LONE_KEY = re.compile(r"[a-h]b?|[ae]s|d[ie]s|ut|[sm]ib")
# The long or the short crook of a horn in B flat or C, and no voice or string.
_CROOK = re.compile(
    r"\b((?:in )?[a-h]b?) \(?(?:basso|alto)\)?(?= (?:horns?|corn[io])\b)"
    r"|\b((?:horns?|corn[io]) in [a-h]b?) \(?(?:basso|alto)\b\)?"
)
_ORDINAL = re.compile(
    r"\d+\s?\.?\s?(?:mo|do|ndo|m?us|dus|tius|ti[oa]|di|da|to|tus|tes?|st|nd|rd|th|er|re|me|eme|m?a|um|m|o)?(?![a-z])"
)
_FLAT = re.compile(r"\b([a-h])(?:\||[ -])?(?:b|flat|bemol)\b")
_WORD = re.compile(r"[^\W\d_]+")


class ReadName(NamedTuple):
    """A name read: the known phrases in order, and the key ('' where none is named)."""

    phrases: tuple[str, ...]
    key: str


def plain(text: str) -> str:
    """Words of a text without case, accents, numbers and signs.

    >>> plain("Flûte 1."), plain("Oboe d'amore")
    ('flute', 'oboe d amore')
    """
    return " ".join(_WORD.findall(_ORDINAL.sub(" ", _folded(text))))


def is_generic(name: str) -> bool:
    """The name says nothing about the instrument: empty, 'Track 3', 'MusicXML Part'.

    >>> is_generic("MusicXML Part"), is_generic("Track 12"), is_generic("Manru")
    (True, True, False)
    """
    return plain(name) in _GENERIC


def says_which(name: str) -> bool:
    """The name tells one of several of the same instrument apart, and does not say which.

    >>> says_which("2do."), says_which("in Es"), says_which(""), says_which("Oboe 2do")
    (True, True, False, False)
    """
    words = _WORD.findall(_ORDINAL.sub(" ", _key(_folded(name))[1]))
    return bool(name.strip(" []")) and _NOISE.issuperset(words)


def read_name(name: str, known: Container[str]) -> ReadName:
    """The known phrases in a printed name, longest first from the left.

    Every word must be a known phrase, a number, a key or a word such as 'solo':
    a name with any other word in it is not read at all ('Ground Bass' is not a
    bass singer). Single letters count only when nothing else is left. Text in
    round brackets is dropped when the name cannot be read with it.

    >>> read_name("Clarinetto 1mo in B.", {"clarinetto"})
    ReadName(phrases=('clarinetto',), key='Bb')
    >>> read_name("Ground Bass", {"bass"})
    ReadName(phrases=(), key='')
    """
    text = _CROOK.sub(lambda found: found[1] or found[2], _folded(name))
    key, rest = _key(text)
    joined = re.sub(r"(?<=[^\W\d_])\(([^\W\d_]+)\)", r"\1", rest)
    for attempt in (rest, joined, re.sub(r"\([^)]*\)?", " ", rest)):
        words = _WORD.findall(_ORDINAL.sub(" ", attempt))
        without = [word for word in words if word not in _GROUP]
        for chosen in (words, without):
            phrases, lone_key = _segments(chosen, known)
            if phrases:
                return ReadName(phrases, key or lone_key)
    return ReadName((), key)


@lru_cache(maxsize=4096)
def _folded(text: str) -> str:
    """Lower case without accents; long s, ligatures and flat signs spelled out."""
    letters = unicodedata.normalize("NFKD", text).casefold().translate(_PLAIN_LETTERS)
    letters = unicodedata.normalize("NFKD", letters)
    bare = "".join(c for c in letters if not unicodedata.combining(c))
    return _FLAT.sub(r"\1b", bare)


def _key(text: str) -> tuple[str, str]:
    """Key named by 'in X', 'ex X' or '(X)', and the text without it."""
    match = _IN_KEY.search(text)
    if match is None:
        return "", text
    written = match.group(1) or match.group(2)
    return _key_name(written), text[: match.start()] + " " + text[match.end() :]


def _key_name(written: str) -> str:
    """'es' -> 'Eb', 'b' -> 'Bb', 'sib' -> 'Bb', 'la' -> 'A'."""
    if written in _GERMAN:
        return _GERMAN[written]
    flat = re.fullmatch(r"(ut|re|mi|fa|sol|la|si)\s?b(?:emol)?", written)
    if flat:
        syllable = flat.group(1)
        return (_SYLLABLES.get(syllable) or "B") + "b"
    return _SYLLABLES.get(written) or written[0].upper() + written[1:]


def _segments(words: list[str], known: Container[str]) -> tuple[tuple[str, ...], str]:
    """Words cut into known phrases; ((), '') when a word is neither known nor noise."""
    phrases: list[str] = []
    key = ""
    telling = [word for word in words if word not in _NOISE or words == [word]]
    at = 0
    while at < len(words):
        size = _longest(words, at, known, alone=len(telling) == 1)
        word = words[at]
        is_key = len(telling) > 1 and word in telling and bool(_LONE_KEY.fullmatch(word))
        if size > 1 or (size == 1 and not is_key):
            phrases.append(" ".join(words[at : at + size]))
            at += size
        elif is_key or word in _NOISE:
            key = _key_name(word) if is_key else key
            at += 1
        else:
            return (), ""
    return tuple(phrases), key


def _longest(words: list[str], at: int, known: Container[str], *, alone: bool) -> int:
    """Words in the longest known phrase at a position; 0 for none."""
    for size in range(min(5, len(words) - at), 0, -1):
        phrase = " ".join(words[at : at + size])
        if phrase in known and (len(phrase) > 1 or alone):
            return size
    return 0
