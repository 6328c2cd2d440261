"""Who a composer is, however the name is spelt.

data/composers.csv: id, name, spellings (separated by |), born, died, source. Names
are compared without case, accents, punctuation, dates, opus numbers and library
sigla and arrangers, with 'Last, First' turned round; given names may be initials where
only one composer in the table has them. Father and son of one name stay apart: '(Vater)'
and the like are part of a name. data/not_composers.csv lists what stands in a composer's
place without naming one ('Irish', 'collected by ...').
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import cache

from corpusreg.corpus.tables import cell_year, rows

__all__ = [
    "SIGLUM", "Composer", "composer_key", "in_order", "is_anonymous", "music_by", "resolve",
]  # fmt: skip

_APOSTROPHE = re.compile("['’ʻ]")
_NO_LETTERS = re.compile(r"[\W_]+")
# Letters that have no accent to strip but are written plainly in many catalogues.
_LETTERS = str.maketrans(
    {"ł": "l", "Ł": "L", "ø": "o", "Ø": "O", "ß": "ss", "đ": "d", "æ": "ae"}
)
# Hymn books put everything on one line: "Words: A. Music: 'Tune' B, 1680. Setting: C."
_MUSIC_BY = re.compile(
    r"\bMusic(?: and Setting)?:\s*(?:(['\"]).*?\1\s(?:or\s)?)*(.*?)\s*(?:\bSetting\b|;|$)"
)
_LEADING = re.compile(r"^\W*(?:(?:melody|composed|composer|comp|attr|by)\b\W*)+", re.I)
# 'Johann Strauss (Sohn)': the one bracket that says who is meant.
_GENERATION = re.compile(
    r"\((?:the )?(I{1,3}|vater|sohn|father|son|elder|younger|p[eè]re|fils|[sj]r\.?|"
    r"sen(?:ior)?\.?|jun(?:ior)?\.?)\)",
    re.I,
)
_NOT_NAME = re.compile(
    r"[(\[{<].*?[)\]}>]|[(\[{<].*$"  # whatever is bracketed
    r"|[\\\n%?].*$"  # footnote marks, further lines, doubts
    r"|\b(?:c(?:a|irca)?\.?\s*)?1\d{3}.*$"  # a year and what follows
    r"|\s(?i:op(?:us)?\b|bwv\b|kv?\s*\.?\s*\d|d\s*\.\s*\d|hob\b).*$"  # work numbers
    # whoever arranged it, after a name
    r"|(?<=[^\s,;])[\s,;]+(?i:(?:arr(?:anged|\.)?|harmoni[sz]ed|adapted)\s+by\b|arr\.).*$"
)
# Words of a family name that stay whole where given names become initials.
_PARTICLES = frozenset(
    ["da", "de", "del", "della", "den", "der", "des", "di", "du", "la", "le", "van", "von"]
)
# A manuscript by its library, such as 'F-Pn 568': its number is no year.
SIGLUM = re.compile(r"\b[A-Z]{1,3}-\s?[A-Z].*$", re.S)


@dataclass(frozen=True)
class Composer:
    """A row of the authority table; a year is None where it is not known."""

    id: str
    name: str
    born: int | None
    died: int | None
    source: str


def resolve(name: str) -> Composer | None:
    """The composer a name, spelling or id stands for; None when the table has none.

    >>> resolve("J.S. Bach").id == resolve("Bach, Johann Sebastian").id
    True
    """
    return _index().get(composer_key(name))


def is_anonymous(name: str, relative: str = "") -> bool:
    """Whether the text names nobody: empty, 'anonymous', a nation, a collector.

    `relative` is the path of a bundled file, for rules that hold in one collection.

    >>> is_anonymous("Anonymous I-Rvat 1419"), is_anonymous("Clara Schumann")
    (True, False)
    """
    key = composer_key(name)
    return not key or any(
        pattern.search(key) for glob, pattern in _not_composers() if fnmatchcase(relative, glob)
    )


def in_order(name: str) -> str:
    """A name as people say it, where a catalogue has the family name first.

    >>> in_order("Holland, Jan Dawid"), in_order("Bach, Johann Sebastian (1685-1750)")
    ('Jan Dawid Holland', 'Johann Sebastian Bach')
    >>> in_order("Clara Schumann")
    'Clara Schumann'
    """
    said = _NOT_NAME.sub("", " " + name).strip(" ,;.") or name.strip()
    last, comma, first = said.partition(",")
    turned = comma and "," not in first and not re.search(r"\d| and | & ", said)
    return f"{first.strip()} {last.strip()}" if turned else said


def composer_key(name: str) -> str:
    """A name in the form that spellings are compared in: 'johann sebastian bach'."""
    plain = _LEADING.sub("", SIGLUM.sub("", music_by(name)))
    plain = _NOT_NAME.sub("", " " + _GENERATION.sub(r"\1", plain)).strip(" ,;.")
    if plain.count(",") == 1:
        last, first = plain.split(",")
        plain = f"{first} {last}"
    if not plain.isascii():
        plain = unicodedata.normalize("NFKD", plain.translate(_LETTERS))
        plain = "".join(c for c in plain if not unicodedata.combining(c))
    return " ".join(_NO_LETTERS.sub(" ", _APOSTROPHE.sub("", plain)).casefold().split())


def music_by(text: str) -> str:
    """The part of a credit that is about the music; '' where it is about the words only.

    >>> music_by("Words: A. Poet, 1719.  Music: 'St. Anne' William Croft, 1708.")
    'William Croft, 1708.'
    """
    found = _MUSIC_BY.search(text)
    if found is not None:
        return found[2]
    return "" if text.lstrip().startswith("Words:") else text.strip()


@cache
def _not_composers() -> tuple[tuple[str, re.Pattern[str]], ...]:
    return tuple((row["glob"], re.compile(row["pattern"])) for row in rows("not_composers.csv"))


@cache
def _index() -> dict[str, Composer]:
    index: dict[str, Composer] = {}
    shortened: dict[str, set[Composer]] = {}
    for row in rows("composers.csv"):
        born, died = cell_year(row["born"]), cell_year(row["died"])
        composer = Composer(row["id"], row["name"], born, died, row["source"])
        for spelling in (row["id"], row["name"], *filter(None, row["spellings"].split("|"))):
            index.setdefault(composer_key(spelling), composer)
        for key in _shortened(row["name"]):
            shortened.setdefault(key, set()).add(composer)
    for key, composers in shortened.items():
        if len(composers) == 1:
            index.setdefault(key, next(iter(composers)))
    return index


def _shortened(name: str) -> set[str]:
    """'Johann Sebastian Bach' as 'j s bach', 'js bach' and 'johann s bach'.

    What is written with a hyphen at the end is one family name; 'van' and the like may be
    whole or initials: 'c m von weber', 'c m v weber'. Initials do not tell 'Johann Strauss
    II' from the first.
    """
    name = re.sub(r" I{1,3}$", "", name)
    words = composer_key(name).split()
    last = len(composer_key(name.split()[-1]).split())
    given, family = words[:-last], " ".join(words[-last:])
    if not given:
        return set()
    initials = [word[0] for word in given]
    whole = [word if word in _PARTICLES else word[0] for word in given]
    ways = {" ".join(initials), " ".join(whole), "".join(initials)}
    ways |= {" ".join([given[0], *way[1:]]) for way in (initials, whole)}
    return {f"{way} {family}" for way in ways}
