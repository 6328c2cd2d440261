"""Note lists of kern files from this project and from other libraries, in one shape.

A list has one dict entry a staff of the page, top first: a Counter of rows
(onset, duration, pitch, tie_in, tie_out) in quarter notes from the beginning;
grace notes have duration 0 and no ties (the libraries differ in what they keep).
"""

from __future__ import annotations

import re
import warnings
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

from corpusreg.score.notes import Score

NoteRow = tuple[Fraction, Fraction, int, bool, bool]


def own_staves(score: Score) -> list[Counter[NoteRow]]:
    """Rows of this project's reader by staff."""
    staves = [Counter() for part in score.parts for _ in range(part.staves)]
    first, total = [], 0
    for part in score.parts:
        first.append(total)
        total += part.staves
    ticks = score.ticks
    for note in score.notes:
        staff = first[note["part"]] + int(note["staff"]) - 1
        ties = (
            (False, False) if note["grace"] else (bool(note["tie_in"]), bool(note["tie_out"]))
        )
        onset = Fraction(int(note["onset"]), ticks)
        duration = Fraction(int(note["duration"]), ticks)
        staves[staff][(onset, duration, int(note["pitch"]), *ties)] += 1
    return staves


def _music21_staves(score: object) -> list[Counter[NoteRow]]:
    staves = []
    for part in score.parts:  # type: ignore[attr-defined]
        rows: Counter[NoteRow] = Counter()
        for element in part.recurse().notes:
            if "Harmony" in element.classes or "ChordSymbol" in element.classes:
                continue
            onset = Fraction(element.getOffsetInHierarchy(part)).limit_denominator(10**6)
            grace = element.duration.isGrace
            length = Fraction(0 if grace else element.duration.quarterLength)
            for note in element.notes if element.isChord else [element]:
                tie = note.tie.type if note.tie and not grace else ""
                ties = (tie in ("stop", "continue"), tie in ("start", "continue"))
                rows[(onset, length.limit_denominator(10**6), note.pitch.midi, *ties)] += 1
        staves.append(rows)
    return staves


def music21_staves(path: Path) -> list[Counter[NoteRow]]:
    """Rows that music21's own reader gives."""
    from music21.converter.subConverters import ConverterHumdrum

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        converter = ConverterHumdrum()
        converter.parseFile(path)
        return _music21_staves(converter.stream)


def converter21_staves(path: Path) -> list[Counter[NoteRow]]:
    """Rows that converter21 gives, at sounding pitch.

    Its metadata code does not fit the installed music21, so that reference records
    are taken out of the text first; they hold no notes. So are *tremolo records: at
    those it folds repeated notes into one with strokes.
    """
    import converter21

    text = path.read_bytes().decode("utf-8", "replace")
    kept = "\n".join(line for line in text.splitlines() if not line.startswith("!!!"))
    kept = re.sub(r"\*X?tremolo\b", "*", kept)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        converter = converter21.HumdrumConverter()
        converter.parseData(kept)
        return _music21_staves(converter.stream.toSoundingPitch())


def lytk_staves(path: Path) -> list[Counter[NoteRow]]:
    """Rows that lytk gives; raises its own error where it refuses the file."""
    import lytk

    parts = [child["Part"] for child in lytk.from_humdrum(str(path)).to_dict()["children"]]
    staves: list[Counter[NoteRow]] = [Counter() for _ in parts]
    start = Fraction(0)
    for bar in range(max(len(part["measures"]) for part in parts)):
        ends = [start]  # a part may have nothing in a bar that a long rest covers
        for part, rows in zip(parts, staves, strict=True):
            for measure in part["measures"][bar : bar + 1]:
                for voice in measure.get("voices", ()):
                    ends.append(_lytk_voice(voice["elements"], start, rows))
        start = max(ends)
    return staves


def _lytk_voice(
    elements: list[dict[str, Any]], start: Fraction, rows: Counter[NoteRow]
) -> Fraction:
    for element in elements:
        ((kind, body),) = element.items()
        notes = body["notes"] if kind == "Chord" else [body] if kind == "Note" else []
        for note in notes:
            grace = note.get("is_grace", False)
            alter = Fraction(*note["pitch"].get("alter", (0, 1)))
            octave, step = note["pitch"]["octave"], note["pitch"]["step"]
            pitch = int(12 * (octave + 1) + "C D EF G A B".index(step) + alter)
            kinds = [] if grace else [tie["tie_type"] for tie in note.get("ties", ())]
            length = Fraction(0) if grace else _lytk_length(note["duration"])
            rows[(start, length, pitch, "Stop" in kinds, "Start" in kinds)] += 1
        if not (notes and notes[0].get("is_grace", False)):
            start += _lytk_length(body["duration"])
    return start


def _lytk_length(duration: dict[str, Any]) -> Fraction:
    base = 4 * Fraction(*duration["base"])
    dotted = base * 2 - base / 2 ** duration.get("dots", 0)
    return dotted * duration.get("tuplet_normal", 1) / duration.get("tuplet_actual", 1)


def is_split(path: Path) -> bool:
    """Whether a kern file has a spine split."""
    return re.search(rb"(^|\t)\*\^", path.read_bytes(), re.MULTILINE) is not None


def differences(ours: list[Counter[NoteRow]], theirs: list[Counter[NoteRow]]) -> Counter[str]:
    """What differs: rows only in one, and whether the staves stand in the same order.

    Staves are taken in order, top first; where their number differs ('staves'),
    all are taken together.
    """
    found: Counter[str] = Counter()
    ours = [staff for staff in ours if staff]
    theirs = [staff for staff in theirs if staff]
    if len(ours) != len(theirs):
        found["staves"] = len(theirs) - len(ours)
        ours, theirs = [sum(ours, Counter())], [sum(theirs, Counter())]
    for kind, start in (("rows", 0), ("pitch and onset", 1)):
        total = [0, 0]
        for mine, other in zip(ours, theirs, strict=True):
            if start:
                mine, other = _plain(mine), _plain(other)
            total[0] += (mine - other).total()
            total[1] += (other - mine).total()
        found[f"{kind}: only ours"], found[f"{kind}: only theirs"] = total
    return +found if "staves" not in found else found


def _plain(rows: Counter[NoteRow]) -> Counter[tuple[Fraction, int]]:
    plain: Counter[tuple[Fraction, int]] = Counter()
    for row, count in rows.items():
        plain[(row[0], row[2])] += count
    return plain
