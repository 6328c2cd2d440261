"""Writes tests/data/known_works.csv: bars, notes, lowest and highest pitch by music21.

The works were drawn at random, a fixed number from each corpus. Taken out again were those
where music21's count cannot be had or is known to be of something else: four tunes with
ornaments and triplets (see benchmarks/results/readers_abc_midi.md), a song with six cue notes,
five hymns whose encoding or voices it does not take, and one kern score in which a single note
of 1,681 differs, which is not yet explained.

Run by hand: `python tests/write_known_works.py`. It reads the works named in the file, those
of open corpora from ../shared/corpora, with music21 10 (kern with converter21, which knows
split spines) and not with corpusreg. Rows of works that are not there are kept.

bars     measures of the part that has most of them, as written
notes    heads of sounding notes as written; continued ties and grace notes left out
lowest, highest  sounding pitch as MIDI number, grace notes left out
"""

from __future__ import annotations

import csv
import re
from pathlib import Path
from typing import Any

DATA = Path(__file__).parent / "data" / "known_works.csv"
CORPORA = Path(__file__).parents[2] / "shared" / "corpora"
COLUMNS = ("corpus", "path", "number", "bars", "notes", "lowest", "highest")


def place_of(corpus: str, path: str) -> Path:
    """Where a work is, whether it is there or not."""
    from corpusreg.corpus.files import bundled_root

    return (bundled_root() if corpus == "bundled" else CORPORA / corpus) / path


def counted(path: Path, number: str) -> tuple[int, int, int, int]:
    """Bars, notes, lowest and highest pitch of one work, by music21."""
    import music21

    found = _kern(path) if path.suffix == ".krn" else _parsed(path, number)
    found = found.toSoundingPitch()
    pitches = []
    for element in found.recurse().notes:
        if element.duration.isGrace or isinstance(element, music21.harmony.ChordSymbol):
            continue
        for note in element.notes if isinstance(element, music21.chord.Chord) else [element]:
            continued = note.tie is not None and note.tie.type in ("continue", "stop")
            if not continued and not isinstance(note, music21.note.Unpitched):
                pitches.append(int(note.pitch.ps))
    parts = found.parts or [found]
    bars = max(len(part.getElementsByClass(music21.stream.Measure)) for part in parts)
    if path.suffix == ".abc":
        bars = _bars_of_first_voice(path) or bars
    return bars, len(pitches), min(pitches), max(pitches)


def _parsed(path: Path, number: str) -> Any:
    import music21

    given = {"number": int(number)} if number else {}
    source = _text(path) if path.suffix == ".abc" else path
    form = "abc" if path.suffix == ".abc" else None
    found: Any = music21.converter.parse(source, format=form, forceSource=True, **given)
    return found.scores[0] if isinstance(found, music21.stream.Opus) else found


def _text(path: Path) -> str:
    data = path.read_bytes()
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _bars_of_first_voice(path: Path) -> int:
    """Bars between the bar signs of the first of several voices, 0 where there is one.

    music21 lays the voices of such a tune end to end, and so counts all their bars.
    """
    lines = re.findall(r"(?m)^\[V: *(\w+)[^\]]*\](.*)", _text(path))
    if len({voice for voice, _ in lines}) < 2:
        return 0
    music = " ".join(line for voice, line in lines if voice == lines[0][0])
    plain = re.sub(r"\[[A-Za-z]:[^\]]*\]|\"[^\"]*\"|![^!]*!|%.*", " ", music)
    return sum(re.search(r"[A-Ga-gxz]", bar) is not None for bar in re.split(r"[|\]]+", plain))


def _kern(path: Path) -> Any:
    """Without reference records and tremolo marks; see kern_oracle.converter21_staves."""
    import converter21

    text = path.read_bytes().decode("utf-8", "replace")
    kept = "\n".join(line for line in text.splitlines() if not line.startswith("!!!"))
    converter = converter21.HumdrumConverter()
    converter.parseData(re.sub(r"\*X?tremolo\b", "*", kept))
    return converter.stream


def rows() -> list[dict[str, str]]:
    """The rows of the data file."""
    with DATA.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def main() -> None:
    """Renew the rows of the works that are there, and say which changed."""
    renewed = []
    for row in rows():
        path = place_of(row["corpus"], row["path"])
        if path.exists():
            values = map(str, counted(path, row["number"]))
            new = row | dict(zip(COLUMNS[3:], values, strict=True))
            if new != row:
                print(f"{row['path']}: {list(row.values())[3:]} -> {list(new.values())[3:]}")
            row = new
        renewed.append(row)
    with DATA.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(renewed)


if __name__ == "__main__":
    main()
