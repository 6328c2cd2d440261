"""Years as people write them, and the period a year belongs to.

Conventions
-----------
year    int of the Gregorian calendar, 1000 to 2099: three-digit numbers in titles
        are opus and catalogue numbers far more often than years.
range   `Years(first, last)`, inclusive; None where that end is open ('<1611').
period  the name whose row of data/periods.csv holds the year.

Year rule: a stated work date, else birth + 35 but not after death, else the middle of
the years in which the composer is known to have been active, else none.
The 35 is common practice for the middle of a working life, and so are the 20 and the 65 for
its ends; no source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from corpusreg.corpus.tables import rows

__all__ = [
    "Years", "parse_active", "parse_life", "parse_years", "period_of", "typical_year",
    "working_life",
]  # fmt: skip

MIDLIFE = 35
BEGINS, ENDS = 20, 65  # ages
_CENTURY = re.compile(r"(?<!\d)(\d{2})(?:st|nd|rd|th)\b[\s-]*(?:c\b|cent)", re.I)
_DECADE = re.compile(r"(?<!\d)(1\d{3}|20\d{2})'?s\b")
_YEAR = re.compile(r"(?<!\d)(1\d{3}|20\d{2})(?!\d)")
_SHORT_RANGE = re.compile(r"(?<!\d)((?:1\d|20)\d{2})(\??\s*-\s*)(\d{2})(?![\d-])")
_ISO_DATE = re.compile(r"(?<!\d)((?:1\d|20)\d{2})-\d{1,2}-\d{1,2}(?!\d)")
_SLASH_DATE = re.compile(r"(?<!\d)((?:1\d|20)\d{2})/[\d^~?/|]*")
_BEFORE = re.compile(r"<|\bbefore\b|\bby\b|\bante\b|\bvor\b|\bprzed\b", re.I)
_AFTER = re.compile(r">|\bafter\b|\bpost\b|\bnach\b|\bpo\b", re.I)
# A life of which only two signs are known, '<1790->1810': there by 1790, and after 1810.
_SEEN = re.compile(r"\s*<=?\s*(1\d{3}|20\d{2})\s*-\s*>=?\s*(1\d{3}|20\d{2})\s*")
_FLOURISHED = re.compile(r"\bfl(?:\.|ourished|oruit)|\bactive\b|\bworked\b", re.I)
_ABOUT = re.compile(r"~|\?|\bc\.?\s*(?=\d)|\bca\.?\b|\bcirca\b|\babout\b|\bum\b", re.I)


@dataclass(frozen=True)
class Years:
    """An inclusive range of years; None is an open end; `about` where the text hedges."""

    first: int | None
    last: int | None
    about: bool = False

    @property
    def middle(self) -> int | None:
        """Middle year, or None where an end is open."""
        if self.first is None or self.last is None:
            return None
        return (self.first + self.last) // 2


def parse_years(text: str) -> Years | None:
    """The years a text names, from its earliest to its latest; None if it names none.

    >>> parse_years("1838-40")
    Years(first=1838, last=1840, about=False)
    >>> parse_years("c. 1790")
    Years(first=1790, last=1790, about=True)
    >>> parse_years("<1611")
    Years(first=None, last=1611, about=False)
    """
    plain = _plain(text)
    found = [int(year) for year in _YEAR.findall(plain)]
    spans = [(year, year) for year in found]
    spans += [(int(d) // 10 * 10, int(d) // 10 * 10 + 9) for d in _DECADE.findall(plain)]
    if not spans:
        spans = [(100 * int(c) - 99, 100 * int(c)) for c in _CENTURY.findall(plain)]
    spans = [(a, b) for a, b in spans if a >= 1000]
    if not spans:
        return None
    first, last = min(a for a, _ in spans), max(b for _, b in spans)
    about = _ABOUT.search(plain) is not None
    if first == last and _BEFORE.search(plain):
        return Years(None, last, about)
    if first == last and _AFTER.search(plain):
        return Years(first, None, about)
    return Years(first, last, about)


def parse_life(text: str) -> tuple[int | None, int | None]:
    """Years of birth and death from a text such as '1685/03/21-1750/07/28'.

    A bound ('<1611', '>1591', 'before 1583') is not a date and gives None, as does
    a missing one. A single year is taken as birth unless the text says died.

    >>> parse_life("1685/03/21-1750/07/28"), parse_life("~1535->1591/04/30")
    ((1685, 1750), (1535, None))
    >>> parse_life("<1611->1611"), parse_life("d. 1560"), parse_life("b. 1500")
    ((None, None), (None, 1560), (1500, None))
    """
    plain = _plain(text)
    marks = list(_YEAR.finditer(plain))
    if not marks:
        return None, None
    born: int | None = int(marks[0].group())
    died: int | None = int(marks[-1].group()) if len(marks) > 1 else None
    before_first, before_last = plain[: marks[0].start()], plain[: marks[-1].start()]
    if len(marks) == 1 and re.search(
        r"†|\+|\bd\.|\bdied\b|\bgest|-\s*[~<>]?\s*$", before_first
    ):
        born, died = None, born
    if _FLOURISHED.search(before_first):
        return None, None
    bound = r"(?:[<>]|\b(?:before|after|ante|post)\b)[\s~]*$"
    if re.search(bound, before_first, re.I):
        born, died = (None, None) if len(marks) == 1 else (None, died)
    if len(marks) > 1 and re.search(bound, before_last, re.I):
        died = None
    return born, died


def parse_active(text: str) -> Years | None:
    """Years between which a person is known to have been active; None if it names none.

    >>> parse_active("<1790->1810"), parse_active("1685-1750")
    (Years(first=1790, last=1810, about=False), None)
    >>> parse_active("fl. 1474-1507")
    Years(first=1474, last=1507, about=False)
    """
    seen = _SEEN.fullmatch(_plain(text))
    if seen is not None:
        first, last = int(seen[1]), int(seen[2])
        return Years(first, last) if first <= last else None
    years = parse_years(text) if _FLOURISHED.search(text) else None
    return years if years is not None and years.middle is not None else None


def typical_year(born: int | None, died: int | None) -> int | None:
    """Birth + 35, but not after death; None without a birth year.

    >>> typical_year(1685, 1750), typical_year(1797, 1828), typical_year(None, 1750)
    (1720, 1828, None)
    """
    if born is None:
        return None
    return born + MIDLIFE if died is None else min(born + MIDLIFE, died)


def working_life(born: int, died: int | None) -> Years:
    """From 20 years after birth to 65 years after it, or to death where that is earlier.

    >>> working_life(1685, 1750), working_life(1797, 1828)
    (Years(first=1705, last=1750, about=False), Years(first=1817, last=1828, about=False))
    """
    last = born + ENDS if died is None else min(born + ENDS, died)
    return Years(min(born + BEGINS, last), last)


def period_of(year: int | None) -> str:
    """Name of the period a year belongs to, '' for no year.

    >>> period_of(1599), period_of(1600), period_of(1419), period_of(None)
    ('renaissance', 'baroque', 'medieval', '')
    """
    if year is None:
        return ""
    return next(name for name, first, last in _periods() if first <= year <= last)


@lru_cache(maxsize=1)
def _periods() -> tuple[tuple[str, int, int], ...]:
    return tuple(
        (r["name"], int(r["first"] or -9999), int(r["last"] or 9999))
        for r in rows("periods.csv")
    )


def _plain(text: str) -> str:
    """One kind of dash, dates cut down to their year, '1838-40' written out."""
    plain = re.sub("[‐-―−]", "-", text)
    plain = _ISO_DATE.sub(r"\1", plain)
    plain = _SLASH_DATE.sub(r"\1", plain)
    return _SHORT_RANGE.sub(_write_out, plain)


def _write_out(match: re.Match[str]) -> str:
    year, dash, ending = match.groups()
    # '1910-05' is a month: a range never runs backwards.
    return f"{year}{dash}{year[:2]}{ending}" if int(ending) > int(year[2:]) else year
