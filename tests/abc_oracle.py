"""Notes of two readings of one tune, made comparable: ours, and music21's."""

from __future__ import annotations

import re
from collections import Counter
from fractions import Fraction
from typing import Any

from corpusreg.score.notes import Score

Event = tuple[Fraction, Fraction, int]  # onset and duration in quarter notes, pitch


def merged(rows: list[tuple[Fraction, Fraction, int, bool, bool]]) -> Counter[Event]:
    """Sounding notes of (onset, end, pitch, tie in, tie out) rows, ties joined."""
    waiting: dict[tuple[Fraction, int], list[int]] = {}
    notes: list[list[Any]] = []
    for onset, end, pitch, tie_in, tie_out in sorted(rows, key=lambda row: row[:3]):
        before = waiting.get((onset, pitch), [])
        if tie_in and before:
            index = before.pop()
            notes[index][1] = end
        else:
            index = len(notes)
            notes.append([onset, end, pitch])
        if tie_out:
            waiting.setdefault((end, pitch), []).append(index)
    return Counter((onset, end - onset, pitch) for onset, end, pitch in notes)


def ours(score: Score) -> Counter[Event]:
    """Notes of one of our scores, in quarter notes."""
    table = score.notes[~score.notes["grace"]]
    rows = [
        (
            Fraction(int(n["onset"]), score.ticks),
            Fraction(int(n["onset"] + n["duration"]), score.ticks),
            int(n["pitch"]),
            bool(n["tie_in"]),
            bool(n["tie_out"]),
        )
        for n in table
    ]
    return merged(rows)


def theirs(stream: Any) -> Counter[Event]:
    """Notes of a music21 score; a tie to the same pitch counts even without its stop."""
    rows = []
    for element in stream.flatten().notes:
        if element.duration.isGrace or "ChordSymbol" in element.classes:
            continue
        onset = Fraction(element.offset)
        end = onset + Fraction(element.duration.quarterLength)
        for head in element.notes if element.isChord else (element,):
            kind = head.tie.type if head.tie else ""
            rows.append(
                (
                    onset,
                    end,
                    head.pitch.midi,
                    kind != "start" and kind != "",
                    kind in ("start", "continue"),
                )
            )
    started = {(end, pitch) for _, end, pitch, _, out in rows if out}
    rows = [(a, b, p, i or (a, p) in started, o) for a, b, p, i, o in rows]
    return merged(rows)


def kind_of(a: Counter[Event], b: Counter[Event]) -> str:
    """How two readings of one tune differ."""
    if a == b:
        return "equal"

    def only(events: Counter[Event], *fields: int) -> Counter[tuple[Any, ...]]:
        return Counter(tuple(e[f] for f in fields) for e in events.elements())

    if only(a, 0, 2) == only(b, 0, 2):
        return "durations"
    if only(a, 0, 1) == only(b, 0, 1):
        octaves = {x[2] - y[2] for x, y in zip(sorted(a), sorted(b), strict=False)}
        return "octave" if octaves <= {-24, -12, 12, 24} else "pitches"
    if [e[2] for e in sorted(a.elements())] == [e[2] for e in sorted(b.elements())]:
        return "onsets"
    return "notes"


def split_lines(text: str) -> list[tuple[str, str]]:
    """(number, text) of each tune, cut at `X:` lines and nothing else."""
    tunes: list[list[str]] = []
    for line in text.split("\n"):
        if line.lstrip().startswith("X:"):
            tunes.append([])
        if tunes:
            tunes[-1].append(line)
    return [(t[0].split(":", 1)[1].strip(), "\n".join(t).strip() + "\n") for t in tunes]


def by_music21(tune: str) -> Counter[Event]:
    """music21's reading of one tune, with accidentals carried to the bar line."""
    from music21 import converter, stream

    text = "%abc-2.1\n" + tune
    found = converter.parse(text, format="abc", forceSource=True, storePickle=False)
    return theirs(found.scores[0] if isinstance(found, stream.Opus) else found)


def without_signs(tune: str) -> str:
    """A tune without what music21 stumbles over: grace notes, slurs, dots, decorations,
    annotations, and blanks and slurring hyphens beside the signs of broken rhythm.

    None of them moves a note, so a difference that goes away with them is not ours.
    """
    lines = []
    for line in tune.split("\n"):
        if re.match(r"[A-Za-z]:(?![|:])|%", line):
            lines.append(line)
            continue
        line = re.sub(r'"[^"]*"|![^!|\s]*!|%.*|\{[^}]*\}', "", line)
        line = re.sub(r"(\[[A-Za-z]:[^\]]*\])|[HTPOMSuv~.)](?![:\d])|\((?!\d)", r"\1", line)
        lines.append(re.sub(r"[\s-]*([<>]+)[\s-]*", r"\1", line))
    return "\n".join(lines)


def difference(mine: Counter[Event], tune: str) -> str:
    """How music21 differs from a reading of a tune, in its text or else without signs."""
    if mine == by_music21(tune):
        return "equal"
    kind = kind_of(mine, by_music21(without_signs(tune)))
    return "equal without signs" if kind == "equal" else kind
