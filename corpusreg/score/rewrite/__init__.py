"""Writes a changed score back: octaves of notes, notes taken out, lines exchanged.

`write` puts a `Change` into the file that the score was read from, so that the rest of
it stays as it is written, and reads the result back: what it wrote is what `changed`
said, note for note, or nothing is written. MusicXML is written from MusicXML; MIDI from
MIDI, and from every other format as the work is heard.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from corpusreg.score.notes import Score
from corpusreg.score.played import perform
from corpusreg.score.readers import read_file
from corpusreg.score.rewrite.change import Change, Exchange, changed, tie_chains
from corpusreg.score.rewrite.musicxml import slurs
from corpusreg.system.errors import CorpusregError, ReadError, UsageError
from corpusreg.system.writing import replacing_named

__all__ = ["Change", "Exchange", "changed", "check_target", "slurs", "tie_chains", "write"]

_MUSICXML = (".musicxml", ".xml")
_MIDI = (".mid", ".midi")
# All columns but the place in the file, which moves when notes are taken out, and the
# number of the voice, which a part gives anew to a line that it takes over.
_COLUMNS = (
    "part", "onset", "pitch", "staff", "bar", "duration", "velocity", "grace", "tie_in",
    "tie_out", "staccato",
)  # fmt: skip


def check_target(source: Path, family: str, target: Path) -> None:
    """Raise UsageError where a score of this format cannot be written to a file so named."""
    suffix = target.suffix.lower()
    if suffix in _MIDI:
        return
    if suffix not in _MUSICXML:
        raise UsageError(f"{target}: cannot be written; name it .musicxml or .mid")
    if family != "musicxml":
        raise UsageError(
            f"{source}: {family} cannot be written back as MusicXML; export the piece as "
            "MusicXML, or write to a .mid file"
        )


def write(
    source: Path,
    score: Score,
    change: Change,
    target: Path,
    programs: Sequence[int | None] = (),
) -> None:
    """Write the score in `source`, changed, to `target` (.musicxml, .xml, .mid or .midi).

    score: as read from `source`; in MusicXML other works in it stay as they are. programs:
    see `midi.heard`. Raises UsageError for what cannot be written there, ReadError where the
    result would not read back as it should, CorpusregError where `target` cannot be
    written; it is written whole or not at all.
    """
    check_target(source, score.format, target)
    if target.exists() and source.exists() and target.samefile(source):
        raise UsageError(f"{target}: is the piece itself; choose another name")
    expected = changed(score, change)
    if target.suffix.lower() in _MUSICXML:
        from corpusreg.score.rewrite.musicxml import edited

        _replace(target, edited(source, score, change), expected)
        return
    from corpusreg.score.rewrite.midi import edited_midi, played_midi

    if score.format == "midi":
        _replace(target, edited_midi(source, score, change), expected)
    else:
        _replace(target, played_midi(perform(expected), programs), None)


def _replace(target: Path, text: bytes, expected: Score | None) -> None:
    """Put a file in its place once it reads back as expected."""
    with replacing_named(target) as aside:
        aside.write_bytes(text)
        if expected is not None:
            _check(aside, target, expected)


def _check(written: Path, target: Path, expected: Score) -> None:
    try:
        found = next(s for s in read_file(written).scores if s.number == expected.number)
    except (CorpusregError, StopIteration):
        found = None
    same = found is not None and len(found.notes) == len(expected.notes)
    if found is not None and same:
        here, there = (np.sort(each.notes[list(_COLUMNS)]) for each in (found, expected))
        same = np.array_equal(here, there)
        for name in ("start", "length", "full", "beat"):
            same &= np.array_equal(getattr(found.bars, name), getattr(expected.bars, name))
    if not same:
        raise ReadError(
            f"{target}: the changed score would not read back as it should, so nothing "
            "was written; try other bars or another way"
        )
