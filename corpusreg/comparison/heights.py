"""One passage on many instruments: how high it lies on each, and what would feel the same.

Conventions: bars are named by their printed numbers, in the order of the page;
repeats are not unfolded. Notes that sound into the passage belong to it from its
beginning. Heights are defined in `corpusreg.measures.height`. 'Equally high' is
the transposition that gives the passage the mean height which it has on the
instrument it is compared with, at the same level; where whole octaves come within
two semitones of that, they are taken.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corpusreg.comparison.placing import one_work, part_names, with_examples
from corpusreg.comparison.players import (
    Beyond,
    Line,
    Reach,
    beyond,
    reach_in,
    register_times,
    sounding_in,
    time_by_pitch,
)
from corpusreg.instruments import LEVELS, Instrument, Instruments, find, load
from corpusreg.instruments.ensembles import ensemble_of, kinds
from corpusreg.instruments.limits import open_strings
from corpusreg.measures import height
from corpusreg.measures.height import Height
from corpusreg.measures.texture import texture
from corpusreg.norms import written
from corpusreg.norms.cohorts import RowSource, own_copies
from corpusreg.norms.written import Written
from corpusreg.score.duplicates import fingerprint, shingles
from corpusreg.score.pitch import Spelling
from corpusreg.score.played import Notes, PlayedBars, perform
from corpusreg.system.errors import UsageError
from corpusreg.system.phrases import did_you_mean

__all__ = [
    "Far", "OnInstrument", "Passage", "among", "find_bars", "find_part", "heights", "passage",
]  # fmt: skip

_OCTAVE = 12
_NEAR_OCTAVE = 2  # semitones
_UP_A_STRING = 16  # semitones: a tenth above the open string, as far as a line usually goes


@dataclass(frozen=True)
class OnInstrument:
    """The passage on one instrument at one level.

    registers, tiring, dull: shares of time (0 to 1). exact: semitones to the same
    mean height, up positive; semitones: the whole number taken, octaves preferred.
    moved: the height after that; moved_out: notes out of range after it.
    """

    instrument: Instrument
    level: str
    height: Height
    registers: Mapping[str, float]
    tiring: float
    dull: float
    out_of_range: tuple[Beyond, ...]
    exact: float
    semitones: int
    moved: Height
    moved_out: int


@dataclass(frozen=True)
class Strings:
    """Where a passage of single notes lies on bowed strings.

    lowest: the highest open string that reaches down to its lowest note. alone: open strings
    on which all of it lies no more than a tenth up, lowest first.
    """

    lowest: int
    alone: tuple[int, ...]


@dataclass(frozen=True)
class Passage:
    """Bars `first` to `last` (half-open) of a part on instruments.

    own: the part's instrument, None where it is not known. home: the one that the
    others are compared with, the part's own or else the first that was asked for. time:
    ticks by pitch, shape (128,). ensemble: the medium of the work as in the works table, ''
    where it is not known. spelling: what the piece calls its notes. lines: all sounding parts.
    marks: by which copies of the piece show. reach: None where it lies neither high nor low.
    far: None until it is asked of a reference. strings: None where `home` is not bowed or
    notes sound together.
    """

    path: str
    part: str
    own: Instrument | None
    home: Instrument
    bars: PlayedBars
    first: int
    last: int
    lowest: int
    highest: int
    rows: tuple[OnInstrument, ...]
    time: height.Floats
    ensemble: str
    spelling: Spelling
    lines: Mapping[str, Line]
    marks: tuple[str | None, NDArray[np.uint64]]
    reach: Reach | None = None
    far: Far | None = None
    strings: Strings | None = None


@dataclass(frozen=True)
class Far:
    """How far out a passage lies among the notes written for the instrument `home`.

    lower, higher: how many of them (0 to 1) lie below and above those of the passage. top,
    bottom: the same for its highest and its lowest note, by period.
    """

    written: Written
    lower: float
    higher: float
    top: Mapping[str, float]
    bottom: Mapping[str, float]


def among(source: RowSource, passage: Passage) -> Passage:
    """The passage among what is written for its instrument, where enough is; copies of the
    piece are left out."""
    copies = own_copies(source, *passage.marks).counted
    known = written.fetch(source, [passage.home], passage.ensemble, copies).get(passage.home.id)
    if known is None:
        return passage
    time = passage.time / passage.time.sum()
    periods = {name: written.lower(share) for name, share in known.periods.items()}
    far = Far(
        written=known,
        lower=float(time @ known.lower),
        higher=float(time @ known.higher),
        top={name: float(below[passage.highest]) for name, below in periods.items()},
        bottom={name: float(1 - below[passage.lowest + 1]) for name, below in periods.items()},
    )
    reach = _reach(passage, known)
    return replace(
        passage, far=far, reach=reach and with_examples(source, reach, known, copies)
    )


def _reach(passage: Passage, known: Written | None) -> Reach | None:
    """Where the passage lies high or low for its player: what `compare` says of it."""
    run = passage.first, passage.last
    sides = (
        reach_in(passage.part, passage.lines, passage.bars, known, side, run)
        for side in ("high", "low")
    )
    return next(filter(None, sides), None)


def heights(path: Path, bars: str, ranges: Path | None, **named: Any) -> Passage:
    """`passage` with a user's own ranges, for a child, to which a table cannot be sent."""
    return passage(path, bars, table=load(ranges), **named)


def passage(
    path: Path,
    bars: str,
    *,
    part: str | None = None,
    on: Sequence[str] = (),
    level: str | None = None,
    number: str | None = None,
    table: Instruments,
) -> Passage:
    """A passage on instruments. bars: printed, as in '5-8'. level: both where None.

    on: ids or names of instruments; left out, those of the piece, and those of the
    family where the piece names one only. number: which work of a file of several.
    Raises UsageError for what does not exist or is not clear, ReadError where the file
    cannot be read.
    """
    asked = [find(table, name) for name in on]
    score = one_work(path, number)
    played = table.as_sounding(perform(score, as_written=True))
    names = part_names(played)
    index = find_part(names, part, path.name)
    matched = table.match_all(played.parts)
    own = matched[index]
    chosen = asked or _offered(table, [matched[i] for i in names], own)
    # What is asked for says more than a name that covers many kinds, as 'voice' does.
    home = own if own and not (own.generic and asked) else asked[0] if asked else None
    if home is None:
        raise UsageError(
            f"{path.name}: which instrument '{names[index]}' is for is not known; "
            "name instruments, as in --on flute,bassoon"
        )
    first, last = find_bars(played.bars.labels, bars, path.name)
    every = {name: played.notes.take(played.notes.part == at) for at, name in names.items()}
    notes = sounding_in(every[names[index]], played.bars, first, last)
    if not len(notes):
        raise UsageError(f"{path.name}: '{names[index]}' is silent there (--bars {bars})")
    weight = texture(notes, played.bars).total
    rows = [
        _on(notes, weight, each, one, home)
        for each in _once([*([own] if own else []), *chosen])
        for one in ([level] if level else LEVELS)
    ]
    lowest, highest = int(notes.pitch.min()), int(notes.pitch.max())
    where = (first, last, lowest, highest)
    kind = kinds()[ensemble_of(score, played).kind]
    lines = {
        name: Line(every[name], home if at == index else matched[at])
        for at, name in names.items()
    }
    found = Passage(
        str(path), names[index], own, home, played.bars, *where, tuple(rows),
        time_by_pitch(notes), kind.kind if kind.placed else "", played.spelling, lines,
        (fingerprint(score), shingles(score)), strings=_strings(notes, home),
    )  # fmt: skip
    return replace(found, reach=_reach(found, None))


def _strings(notes: Notes, row: Instrument) -> Strings | None:
    order = np.argsort(notes.onset)
    apart = (notes.onset + notes.duration)[order][:-1] <= notes.onset[order][1:]
    low, high = int(notes.pitch.min()), int(notes.pitch.max())
    reaching = [each for each in open_strings(row.id) if each <= low]
    if not reaching or not apart.all():
        return None
    # What lies above the highest string is played on it, however far up.
    highest = open_strings(row.id)[-1]
    alone = tuple(each for each in reaching if each == highest or high - each <= _UP_A_STRING)
    return Strings(reaching[-1], alone)


def find_part(names: Mapping[int, str], asked: str | None, where: str) -> int:
    """Index of a part by name, by a piece of its name, or by its number on the page from 1.

    names: sounding parts by index. Raises UsageError where it is not one part.
    """
    choices = ", ".join(names.values())
    if asked is None:
        if len(names) == 1:
            return next(iter(names))
        raise UsageError(f"{where} has {len(names)} parts; choose one with --part: {choices}")
    if asked.isdecimal() and int(asked) - 1 in names:
        return int(asked) - 1
    word = asked.casefold().strip()
    found = [i for i, name in names.items() if name.casefold() == word]
    found = found or [i for i, name in names.items() if word and word in name.casefold()]
    if len(found) == 1:
        return found[0]
    if found:
        several = " or ".join(f"{names[i]} (--part {i + 1})" for i in found)
        raise UsageError(f"{where}: '{asked}' may be {several}; choose one")
    hint = did_you_mean(asked, names.values(), most=1) or f"; its parts are {choices}"
    raise UsageError(f"{where} has no part '{asked}'{hint}")


def find_bars(labels: Sequence[str], asked: str, where: str) -> tuple[int, int]:
    """Bars 'a-b' or 'a' by printed numbers as a half-open run of positions.

    Where numbers occur again, as in a file of several movements, the first bars
    with these numbers are meant. Raises UsageError where there are none.
    """
    asked = asked.strip()
    if asked in labels:
        at = labels.index(asked)
        return at, at + 1
    first, _, last = (end.strip() for end in asked.partition("-"))
    missing = next((end for end in (first, last or first) if end not in labels), None)
    if missing is not None:
        raise UsageError(
            f"{where} has no bar '{missing}'; its bars are {labels[0]} to {labels[-1]}"
        )
    start = labels.index(first)
    if last not in labels[start:]:
        raise UsageError(f"{where}: bar {last} comes before bar {first}; write {last}-{first}")
    return start, labels.index(last, start) + 1


def _offered(
    table: Instruments, present: Sequence[Instrument | None], own: Instrument | None
) -> list[Instrument]:
    """The instruments of the piece; of a single one its family."""
    known = _once([row for row in present if row is not None])
    if len(known) > 1 or own is None:
        return known
    # Without those that only refine another row, such as the clarinet in A.
    plain = (row for row in table.values() if not row.kind_of or table[row.kind_of].generic)
    return [*known, *(r for r in plain if r.family == own.family and not r.generic)]


def _once(rows: Sequence[Instrument]) -> list[Instrument]:
    return list({row.id: row for row in rows}.values())


def _on(
    notes: Notes, weight: height.Floats, row: Instrument, level: str, home: Instrument
) -> OnInstrument:
    span = row.limits(level)
    exact = height.equally_high(weight, home.limits(level), span)
    octaves = _OCTAVE * round(exact / _OCTAVE)
    semitones = octaves if abs(exact - octaves) <= _NEAR_OCTAVE else round(exact)
    time = time_by_pitch(notes)
    there = height.measure(weight, span)
    moved = semitones / (span[1] - span[0])
    pitch = notes.pitch + semitones
    return OnInstrument(
        instrument=row,
        level=level,
        height=there,
        registers=register_times(time, row),
        tiring=height.share(time, height.inside(row.tiring)),
        dull=height.share(time, height.inside(row.dull)),
        out_of_range=beyond(notes, span),
        exact=exact,
        semitones=semitones,
        moved=Height(there.mean + moved, there.low + moved, there.high + moved),
        moved_out=int(((pitch < span[0]) | (pitch > span[1])).sum()),
    )
