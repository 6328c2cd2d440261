"""The rows of the instruments table: their form, and how they are read and checked.

Conventions as in `corpusreg.instruments`. A table is CSV in UTF-8 with a header
row; note names as in `corpusreg.score.pitch`; spans 'C4-B4', several of them separated
by semicolons, registers with their name in front ('chalumeau D3-Ab4').
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from corpusreg.instruments.names import plain
from corpusreg.score.pitch import parse_note
from corpusreg.system.errors import DataError, UsageError

__all__ = ["DECAYS", "FAMILIES", "LEVELS", "Instrument", "read_rows"]

FAMILIES = (
    "strings",
    "woodwind",
    "brass",
    "keyboard",
    "plucked",
    "percussion-pitched",
    "voice",
)
DECAYS = ("sustained", "plucked", "struck")
LEVELS = ("student", "professional")

Span = tuple[int, int]

_REQUIRED = ("id", "student_low", "student_high", "professional_low", "professional_high")
_OPTIONAL = (
    *("name", "family", "comfortable_low", "comfortable_high", "tiring", "dull", "decay"),
    *("transposition", "programs", "sound_ids", "kern_codes", "kind_of", "key", "generic"),
    *("registers", "source", "names"),
)
_SPAN = re.compile(r"(.*?)\s*([A-Ga-g][#b]*-?\d+)-([A-Ga-g][#b]*-?\d+)")


@dataclass(frozen=True)
class Register:
    """A named register, MIDI numbers, both ends included."""

    name: str
    low: int
    high: int


@dataclass(frozen=True)
class Instrument:
    """One row of the table. Spans are (lowest, highest) sounding MIDI numbers.

    transposition: semitones from the written to the sounding note (-2 for a
    clarinet in B flat). programs: General MIDI bytes 0-127. kind_of: id of the
    broader row that this one refines, or ''. key: 'Bb', 'A', … or ''.
    tiring, dull: zones inside the professional range.
    """

    id: str
    name: str
    family: str
    student: Span
    professional: Span
    comfortable: Span
    registers: tuple[Register, ...]
    decay: str
    source: str
    tiring: tuple[Span, ...] = ()
    dull: tuple[Span, ...] = ()
    transposition: int = 0
    programs: tuple[int, ...] = ()
    sound_ids: tuple[str, ...] = ()
    kern_codes: tuple[str, ...] = ()
    kind_of: str = ""
    key: str = ""
    generic: bool = False

    def limits(self, level: str) -> Span:
        """Lowest and highest sounding pitch at a level; UsageError for another word."""
        if level == "student":
            return self.student
        if level == "professional":
            return self.professional
        raise UsageError(f"'{level}' is not a level; use one of: {', '.join(LEVELS)}")


def read_rows(
    lines: Iterable[str], where: str, known: Mapping[str, Instrument]
) -> list[tuple[Instrument, tuple[str, ...]]]:
    """Rows of a table file with their printed names (plain text).

    where: the file, for messages. known: rows from which cells left empty are taken.
    Raises DataError, with the row, for columns or values that do not fit.
    """
    reader = csv.DictReader(lines)
    columns = [column.strip() for column in reader.fieldnames or ()]
    reader.fieldnames = columns
    missing = [column for column in _REQUIRED if column not in columns]
    if missing:
        raise DataError(
            f"{where}: row 1 lacks the column {missing[0]}; it needs {', '.join(_REQUIRED)}"
        )
    unknown = [column for column in columns if column not in (*_REQUIRED, *_OPTIONAL)]
    if unknown:
        raise DataError(f"{where}: row 1 has an unknown column '{unknown[0]}'; remove it")
    found: list[tuple[Instrument, tuple[str, ...]]] = []
    first: dict[str, int] = {}
    for cells in reader:
        at = f"{where}: row {reader.line_num}"
        text = {
            key: (value or "").strip() for key, value in cells.items() if isinstance(key, str)
        }
        if not any(text.values()):
            continue
        row = _instrument(text, at, known.get(text["id"]))
        own = tuple(plain(name) for name in text.get("names", "").split(";") if name.strip())
        for word in (row.id, *own):
            if first.setdefault(word, reader.line_num) != reader.line_num:
                raise DataError(
                    f"{at} has '{word}' again (first in row {first[word]}); keep one"
                )
        found.append((row, own))
    return found


def _instrument(text: Mapping[str, str], at: str, base: Instrument | None) -> Instrument:
    """One row; empty cells come from `base` where there is one."""
    if not text["id"]:
        raise DataError(f"{at} has no id; write one, such as 'oboe'")
    student = _range(text, "student", at)
    professional = _range(text, "professional", at)
    if base is None:
        base = Instrument(
            text["id"], text["id"], "", student, professional, student, (), "sustained", ""
        )
    comfortable = _inside(base.comfortable, student) or student
    if text.get("comfortable_low") or text.get("comfortable_high"):
        comfortable = _range(text, "comfortable", at)
    row = replace(
        base,
        student=student,
        professional=professional,
        comfortable=_inside(comfortable, professional) or student,
        name=text.get("name") or base.name,
        source=text.get("source") or base.source,
        family=_word(text.get("family") or base.family, FAMILIES, "family", at),
        decay=_word(text.get("decay") or base.decay, DECAYS, "decay", at),
        tiring=_zones(text, "tiring", at, base.tiring),
        dull=_zones(text, "dull", at, base.dull),
        transposition=_number(
            text.get("transposition") or str(base.transposition), -48, 48, at
        ),
        kind_of=text.get("kind_of") or base.kind_of,
        key=text.get("key") or base.key,
        generic=text.get("generic", "") == "1" or base.generic,
        sound_ids=tuple(text.get("sound_ids", "").split()) or base.sound_ids,
        kern_codes=tuple(text.get("kern_codes", "").split()) or base.kern_codes,
        programs=tuple(_number(byte, 0, 127, at) for byte in text.get("programs", "").split())
        or base.programs,
    )
    return replace(row, registers=_registers(text.get("registers", ""), at, base, professional))


def _range(text: Mapping[str, str], level: str, at: str) -> Span:
    low, high = text[f"{level}_low"], text.get(f"{level}_high", "")
    return _span(low, high, f"{at}, {level} range")


def _span(low: str, high: str, at: str) -> Span:
    try:
        span = parse_note(low), parse_note(high)
    except UsageError as error:
        raise DataError(f"{at}: {error}") from error
    if span[0] >= span[1]:
        raise DataError(f"{at}: {low} is not below {high}; swap or correct them")
    return span


def _spans(cell: str, at: str) -> list[tuple[str, Span]]:
    """Named spans 'low C4-B4; high C5-C6', names optional."""
    found = []
    for piece in filter(None, (one.strip() for one in cell.split(";"))):
        match = _SPAN.fullmatch(piece)
        if match is None:
            raise DataError(
                f"{at}: '{piece}' is not a span of notes; write it as in 'low C4-B4'"
            )
        found.append((match.group(1), _span(match.group(2), match.group(3), at)))
    return found


def _zones(
    text: Mapping[str, str], column: str, at: str, base: tuple[Span, ...]
) -> tuple[Span, ...]:
    return tuple(span for _, span in _spans(text.get(column, ""), f"{at}, {column}")) or base


def _registers(
    cell: str, at: str, base: Instrument, professional: Span
) -> tuple[Register, ...]:
    """Registers as written, or those of the row replaced, cut to the new range."""
    given = [Register(name, *span) for name, span in _spans(cell, f"{at}, registers")]
    if given:
        return tuple(given)
    low, high = professional
    kept = [one for one in base.registers if one.low <= high and one.high >= low]
    if not kept:
        return (Register("whole range", low, high),)
    kept[0] = replace(kept[0], low=low)
    kept[-1] = replace(kept[-1], high=high)
    return tuple(kept)


def _inside(span: Span, outer: Span) -> Span | None:
    low, high = max(span[0], outer[0]), min(span[1], outer[1])
    return (low, high) if low < high else None


def _word(word: str, allowed: tuple[str, ...], column: str, at: str) -> str:
    if word not in allowed:
        raise DataError(f"{at}: '{word}' is no {column}; use one of: {', '.join(allowed)}")
    return word


def _number(text: str, low: int, high: int, at: str) -> int:
    try:
        value = int(text)
    except ValueError:
        value = high + 1
    if not low <= value <= high:
        raise DataError(f"{at}: '{text}' is not a whole number from {low} to {high}")
    return value
