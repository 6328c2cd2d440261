"""Small pieces whose events are known: five textures, each changed in one known way.

Every bar of an untouched texture uses the same octaves, so that nothing is cleared;
no pitch but those of the Alberti bass fills half of the beats, so that nothing lifts.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from corpusreg.score.notes import Bars, Dynamic, Part, Score, note_table

TICKS = 24
BAR = 4 * TICKS
BARS = 24
Row = tuple[int, int, int, int]  # part, onset, duration, pitch
Expected = set[tuple[str, int, str]]  # kind, bar from 0, side


@dataclass(frozen=True)
class Piece:
    """rows of notes; low, high: the octaves that may be cleared; floor: a pitch below all."""

    name: str
    rows: tuple[Row, ...]
    low: int
    high: int
    floor: int
    lifts: bool = False  # the lowest octave is a repeated figure


def line(part: int, pitches: Sequence[int], lasts: int = TICKS) -> list[Row]:
    """A line that goes round some pitches, one step further in every bar."""
    per = BAR // lasts
    return [
        (part, bar * BAR + step * lasts, lasts, pitches[(step + bar) % len(pitches)])
        for bar in range(BARS)
        for step in range(per)
    ]


def bars_of(part: int, figure: Sequence[int], moves: Sequence[int] = (0,)) -> list[Row]:
    """One figure in every bar, moved by some semitones in turn."""
    lasts = BAR // len(figure)
    return [
        (part, bar * BAR + step * lasts, lasts, pitch + moves[bar % len(moves)])
        for bar in range(BARS)
        for step, pitch in enumerate(figure)
    ]


def textures() -> list[Piece]:
    """The five untouched textures."""
    soprano, alto = line(0, (75, 77, 79, 80)), line(1, (63, 65, 67, 68))
    tenor, bass = line(2, (51, 53, 55, 56)), line(3, (40, 42, 43, 45))
    alberti = bars_of(1, (60, 67, 64, 67, 60, 67, 64, 67))
    violin = line(0, (76, 79, 77, 80, 78, 81), TICKS // 2)
    arpeggio = bars_of(0, (48, 52, 55, 60, 64, 67, 72, 76), (0, 2, 1, 3))
    single = bars_of(0, (64, 67, 65, 69, 74, 76, 79, 77), (0, 2, 1))
    return [
        Piece("chorale", (*soprano, *alto, *tenor, *bass), 3, 6, 28),
        Piece("tune and accompaniment", (*line(0, (75, 77, 79, 80)), *alberti), 5, 6, 45, True),
        Piece("quartet", (*violin, *alto, *line(2, (53, 55, 57, 58)), *bass), 3, 6, 28),
        Piece("arpeggios", tuple(arpeggio), 4, 6, 40),
        Piece("single line", tuple(single), 5, 6, 52),
    ]


def without(rows: Sequence[Row], octave: int, first: int, last: int) -> tuple[Row, ...]:
    """The rows without what an octave (0 = MIDI 0-11) sounds in bars first to last."""
    return tuple(
        row for row in rows if row[3] // 12 != octave or not first * BAR <= row[1] < last * BAR
    )


def variants() -> Iterator[tuple[str, tuple[Row, ...], Expected]]:
    """Name, notes and all events of every piece."""
    for piece in textures():
        yield f"{piece.name}, untouched", piece.rows, set()
        for bars in (1, 2, 4, 8):
            for side, octave in (("low", piece.low), ("high", piece.high)):
                rows = without(piece.rows, octave, 10, 10 + bars)
                events = {("entry", 10 + bars, side)}
                if piece.lifts and side == "low":
                    events.add(("lift", 10, "low"))
                yield f"{piece.name}, {side} clear for {bars}", rows, events
        for bars in (8, 16):
            rows = without(piece.rows, piece.low, 0, bars)
            yield f"{piece.name}, bass after {bars}", rows, {("held_back", bars, "low")}
        for bars in (4, 8, 13):
            drone = (9, 0, bars * BAR, piece.floor)
            yield (
                f"{piece.name}, drone of {bars}",
                (*piece.rows, drone),
                {("lift", bars, "low")},
            )
        moment = (9, 12 * BAR + TICKS, TICKS, 98)
        yield f"{piece.name}, high moment", (*piece.rows, moment), {("solo", 12, "high")}
    chorale = textures()[0]
    for bars in (4, 6):
        rows = without(chorale.rows, 5, BARS - bars, BARS)
        yield f"chorale without alto at the end, {bars}", rows, {("hollow", BARS - bars, "")}


def score(rows: Sequence[Row], marks: Sequence[Dynamic] = ()) -> Score:
    """The rows as a score in 4/4."""
    numbers = sorted({row[0] for row in rows})
    count = -(-max(onset + lasts for _, onset, lasts, _ in rows) // BAR)
    table = note_table(
        [
            (numbers.index(part), 1, 0, onset // BAR, onset, lasts, pitch, -1, *[False] * 4)
            for part, onset, lasts, pitch in rows
        ]
    )
    labels = [str(bar + 1) for bar in range(count)]
    bars = Bars.plain(labels, [BAR] * count, [BAR] * count, [TICKS] * count)
    parts = tuple(Part(f"Part {number}") for number in numbers)
    return Score(TICKS, parts, bars, table, dynamics=tuple(marks))


def split_by_ties(score_: Score) -> Score:
    """The same notes, each longer than a beat written as tied beats."""
    rows = []
    for note in score_.notes:
        pieces = max(int(note["duration"]) // TICKS, 1)
        lasts = int(note["duration"]) // pieces
        for index in range(pieces):
            piece = note.copy()
            piece["onset"] += index * lasts
            piece["duration"] = (
                lasts if index < pieces - 1 else int(note["duration"]) - index * lasts
            )
            piece["bar"] = piece["onset"] // BAR
            piece["tie_in"], piece["tie_out"] = index > 0, index < pieces - 1
            rows.append(piece)
    return replace(score_, notes=np.array(rows, score_.notes.dtype))


def parts_reversed(score_: Score) -> Score:
    """The same notes with the parts in the opposite order."""
    notes = score_.notes.copy()
    notes["part"] = len(score_.parts) - 1 - notes["part"]
    return replace(score_, notes=notes[::-1].copy(), parts=score_.parts[::-1])
