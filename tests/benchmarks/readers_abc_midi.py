"""Hold the ABC and MIDI readers against other libraries, note for note.

    python tests/benchmarks/readers_abc_midi.py abc [--every N]   about 10 minutes
    python tests/benchmarks/readers_abc_midi.py midi

`abc` reads every N-th tune of music21's bundled corpus with our reader and with
music21 (told `%abc-2.1`, without which it does not carry accidentals to the bar
line) and counts tunes whose notes (onset, duration, pitch; ties merged, grace
notes out) are equal. Tunes that differ are written out with the kind of
difference. `midi` reads the files in ../shared/corpora (if there), as written by
lytk, and generated files, with mido, symusic and lytk.

A digest goes to results/readers_abc_midi.json.
"""

from __future__ import annotations

import argparse
import io
import json
import subprocess
import sys
import time
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

import lytk
import numpy as np

from corpusreg.score.readers.abc import read_abc_file
from corpusreg.score.readers.abc_source import decode
from corpusreg.score.readers.midi import read_midi

sys.path.insert(0, str(Path(__file__).parents[1]))
from abc_oracle import difference, ours, split_lines

RESULTS = Path(__file__).parent / "results" / "readers_abc_midi.json"


def compare_abc(every: int) -> dict[str, Any]:
    """Every `every`-th tune of the bundled corpus by both readers."""
    import music21

    root = Path(music21.__file__).parent / "corpus"
    kinds: Counter[str] = Counter()
    differing: list[str] = []
    cpu = Counter[str]()
    seen = notes = 0
    for path in sorted(root.rglob("*.abc")):
        begun = time.process_time()
        scores = read_abc_file(path).scores
        cpu["ours"] += time.process_time() - begun
        text = decode(path.read_bytes())
        for score, (_, tune) in zip(scores, split_lines(text), strict=True):
            seen += 1
            if seen % every:
                continue
            begun = time.process_time()
            mine = ours(score)
            notes += mine.total()
            try:
                kind = difference(mine, tune)
            except Exception as error:  # noqa: BLE001  music21 raises errors of any kind
                kind = f"music21 fails: {str(error)[:80]}"
            cpu["music21"] += time.process_time() - begun
            kinds[kind.split(":")[0]] += 1
            if not kind.startswith("equal"):
                differing.append(f"{path.name} {score.number}: {kind}")
    return {
        "tunes": sum(kinds.values()),
        "notes": notes,
        "kinds": dict(kinds),
        "differing": differing,
        "cpu seconds": {key: round(value, 1) for key, value in cpu.items()},
    }


def import_seconds(library: str) -> float:
    """Shortest of five process times with the import, less those without it."""

    def once(code: str) -> float:
        begun = time.perf_counter()
        subprocess.run([sys.executable, "-c", code], check=True)
        return time.perf_counter() - begun

    return min(once(f"import {library}") for _ in range(5)) - min(
        once("pass") for _ in range(5)
    )


def generated_midi(notes: int) -> bytes:
    """A format 1 file of eight tracks with running lines, made by mido."""
    import mido

    made = mido.MidiFile(type=1, ticks_per_beat=480)
    rng = np.random.default_rng(1)
    for channel in range(8):
        track = mido.MidiTrack()
        made.tracks.append(track)
        for pitch in rng.integers(36, 96, notes // 8).tolist():
            track.append(mido.Message("note_on", note=pitch, velocity=70, channel=channel))
            track.append(mido.Message("note_off", note=pitch, time=120, channel=channel))
    out = io.BytesIO()
    made.save(file=out)
    return out.getvalue()


def midi_files(folder: Path) -> list[Path]:
    """MIDI files to read: twenty written by lytk from open scores, and a generated one."""
    shared = Path(__file__).parents[3] / "shared" / "corpora" / "songs-dev"
    files = []
    for source in sorted(shared.rglob("*.mxl"))[:20]:
        files.append(folder / f"{source.stem}.mid")
        lytk.to_midi(lytk.from_musicxml(str(source)), str(files[-1]))
    files.append(folder / "generated.mid")
    files[-1].write_bytes(generated_midi(20_000))
    return files


def compare_midi(folder: Path) -> dict[str, Any]:
    """Speed of three libraries and of our reader, and whether the notes agree."""
    import mido

    files = midi_files(folder)
    libraries: dict[str, Any] = {
        "mido": lambda path: mido.MidiFile(path),
        "lytk": lambda path: lytk.from_midi(str(path)).to_dict(),
        "ours": read_midi,
    }
    try:
        import symusic

        libraries["symusic"] = lambda path: symusic.Score(str(path)).tracks
    except ImportError:
        symusic = None
    cpu: dict[str, float] = {}
    for name, read in libraries.items():
        begun = time.process_time()
        for path in files:
            read(path)
        cpu[name] = round(time.process_time() - begun, 3)
    agree: Counter[str] = Counter()
    total = 0
    for path in files:
        score = read_midi(path)
        table = score.notes
        mine = Counter(
            zip(
                table["onset"].tolist(),
                table["duration"].tolist(),
                table["pitch"].tolist(),
                strict=True,
            )
        )
        total += mine.total()
        if symusic is not None:
            tracks = (t for t in symusic.Score(str(path)).tracks if not t.is_drum)
            other = Counter((n.time, n.duration, n.pitch) for t in tracks for n in t.notes)
            agree["ours = symusic"] += mine == other
        sounding = Counter((Fraction(o, score.ticks), p) for o, _, p in mine.elements())
        notes = Counter(
            (Fraction(o, 480), p) for o, _, p, _ in lytk.from_midi(str(path)).notes(480)
        )
        agree["ours = lytk (onset, pitch)"] += sounding == notes
    return {
        "files": len(files),
        "notes": total,
        "cpu seconds": cpu,
        "agree": dict(agree),
        "import seconds": {n: round(import_seconds(n), 3) for n in libraries if n != "ours"},
    }


def main() -> None:
    """Run one comparison and keep its digest."""
    import tempfile

    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("what", choices=("abc", "midi"))
    options.add_argument("--every", type=int, default=1)
    given = options.parse_args()
    if given.what == "abc":
        found = compare_abc(given.every)
    else:
        with tempfile.TemporaryDirectory() as folder:
            found = compare_midi(Path(folder))
    digest = json.loads(RESULTS.read_text()) if RESULTS.exists() else {}
    digest[given.what] = found
    RESULTS.parent.mkdir(exist_ok=True)
    RESULTS.write_text(json.dumps(digest, indent=1) + "\n")
    print(json.dumps({k: v for k, v in found.items() if k != "differing"}, indent=1))


if __name__ == "__main__":
    main()
