"""LilyPond sources: how many are read, how fast, and with the right notes?

    python tests/benchmarks/readers_lilypond.py [--sample N] [--seed S]

Reads a random sample of the pieces of ../shared/corpora/lilypond-dev that
../shared/corpora/lilypond-verified.tsv names, through `read_file`, without what is kept
from earlier runs. Three other accounts of the same notes:

verified  the number of notes that two other readers agreed on (LilyPond 2.24.1's own
          event listener and lytk), from that table
lytk      pitches of the whole file, with how often each is written
midi      pitches of the MIDI file that LilyPond itself writes, as a set, of five pieces
          of one \\score; MIDI is played, so repeats make more notes of the same pitches

A source that corpusreg does not read counts as a failure unless plain LilyPond, without
corpusreg's listener, fails on it as well.

Who is right, in the sample of the digest: where the number of notes differs, corpusreg
writes out percent and tremolo repeats, which sound (two pieces). Where pitches differ from
lytk's, three pieces have a clef with an 8 below, of which lytk gives the written pitch
(LilyPond's MIDI, read for two of them, has corpusreg's), and two consist of several
files, which lytk does not join. Sources that are not read use commands that 2.25 no longer
has, or want a file that is not in the folder. Digest: results/readers_lilypond.json.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import random
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

from corpusreg.score.notes import Score
from corpusreg.score.readers import read_file
from corpusreg.score.readers.lilypond import box, program
from corpusreg.score.readers.lilypond.sources import Sources, gather
from corpusreg.system.errors import ReadError

ROOT = Path(__file__).parents[2]
CORPORA = ROOT.parent / "shared" / "corpora"
PIECES = CORPORA / "lilypond-dev"
# Its files leave the box one after the other, as the only output.
PLAIN = '"$@" >&2; code=$?; cat /tmp/out*.midi; exit $code'
HEAD = b"MThd"
PLAIN_SECONDS = 25  # of computing, for LilyPond without the listener
STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
RESULT = Path(__file__).parent / "results" / "readers_lilypond.json"


def sample(count: int, seed: int) -> list[tuple[Path, int]]:
    """Sources and the numbers of their notes, as the table has them."""
    with (CORPORA / "lilypond-verified.tsv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file, delimiter="\t") if row["exact"] == "1"]
    found = [(PIECES / row["file"].removeprefix("ftp/"), int(row["notes"])) for row in rows]
    found = sorted(pair for pair in found if pair[0].is_file())
    return random.Random(seed).sample(found, min(count, len(found)))


def plain_run(sources: Sources) -> tuple[int, list[int], str]:
    """LilyPond without the listener: 1 where it failed, pitches of its MIDI, last words."""
    with program._copies(program._converted(sources, boxed=True)) as work:
        command, root = program._command("lilypond")
        main = f"{box.WORK}/score/{sources.main}"
        command += ["--loglevel=ERROR", "-dbackend=svg", "-I", main.rpartition("/")[0]]
        command = ["/bin/sh", "-c", PLAIN, "sh", *command, "-o", f"{box.SCRATCH}/out", main]
        ran = box.run(command, work, root, boxed=True, alone=False)
    # Errors come while a source is read; drawing, which takes long, is not waited for.
    failed = "error:" in ran.said if ran.late else ran.code != 0
    files = [HEAD + rest for rest in ran.wrote.split(HEAD)[1:]]
    return (
        int(failed),
        [p for file in files for p in midi_pitches(file)],
        ran.said[-300:].strip(),
    )


def midi_pitches(content: bytes) -> list[int]:
    """Pitches of all note-ons."""
    import io

    import mido

    return [
        event.note
        for track in mido.MidiFile(file=io.BytesIO(content)).tracks
        for event in track
        if event.type == "note_on" and event.velocity
    ]


def written(scores: tuple[Score, ...]) -> Counter[int]:
    return Counter(int(p) for score in scores for p in score.notes["pitch"])


def by_lytk(path: Path) -> Counter[int]:
    """Pitches of the written notes as the fast library has them; none where it fails."""
    import lytk

    found: Counter[int] = Counter()
    try:
        for score in lytk.from_lilypond_movements(str(path)):
            _collect(score.to_dict(), found)
    except (lytk.LytkError, ValueError, OverflowError, RecursionError):
        return Counter()
    return found


def _collect(item: Any, found: Counter[int]) -> None:
    if isinstance(item, list):
        for value in item:
            _collect(value, found)
    elif isinstance(item, dict):
        if "step" in item and "octave" in item:
            base = 12 * (item["octave"] + 1) + STEPS[item["step"]]
            over, under = item.get("alter", (0, 1))
            found[base + over // under] += 1
        for value in item.values():
            _collect(value, found)


def one(path: Path, notes: int) -> dict[str, Any]:
    """What became of a piece."""
    row: dict[str, Any] = {"piece": path.relative_to(PIECES).as_posix(), "verified": notes}
    began = time.perf_counter()
    try:
        result = read_file(path)
    except ReadError as error:
        return row | {"read": False, "why": str(error).partition(": ")[2]}
    row |= {"read": True, "seconds": round(time.perf_counter() - began, 2)}
    row |= {
        "works": len(result.scores),
        "failures": [reason for _, reason in result.failures],
        "notes": sum(len(score.notes) for score in result.scores),
        "bars": [len(score.bars) for score in result.scores],
        "parts": [[part.name for part in score.parts] for score in result.scores],
        "as_lytk": by_lytk(path) == written(result.scores),
        "lost": [dict(score.lost) for score in result.scores if score.lost],
    }
    return row


def against_midi(rows: list[dict[str, Any]], count: int) -> list[dict[str, Any]]:
    """Sets of pitches beside those of LilyPond's own MIDI file."""
    found = []
    for row in sorted(rows, key=lambda row: row["verified"]):
        if len(found) == count:
            break
        path = PIECES / row["piece"]
        if not row["read"] or row["works"] != 1:
            continue
        _, pitches, _ = plain_run(gather(path))
        if not pitches:
            continue
        own = written(read_file(path).scores)
        found.append(
            {
                "piece": row["piece"],
                "same_pitches": set(own) == set(pitches),
                "only_here": sorted(set(own) - set(pitches)),
                "only_midi": sorted(set(pitches) - set(own)),
                "notes": [row["notes"], len(pitches)],
            }
        )
    return found


def main() -> None:
    """Run the benchmark and write the digest."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--sample", type=int, default=60)
    options.add_argument("--seed", type=int, default=1)
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as home:
        os.environ["CORPUSREG_HOME"] = home
        rows = [one(*pair) for pair in sample(chosen.sample, chosen.seed)]
        box.CPU_SECONDS = PLAIN_SECONDS
        for row in rows:
            if not row["read"]:
                failed, _, said = plain_run(gather(PIECES / row["piece"]))
                row |= {"plain_lilypond_fails": bool(failed), "said": said}
        midi = against_midi(rows, 5)
    read = [row for row in rows if row["read"]]
    compiled = [row for row in rows if row["read"] or not row["plain_lilypond_fails"]]
    whole = [row for row in read if not row["failures"]]
    digest = {
        "lilypond": ".".join(map(str, program.version())),
        "sample": len(rows),
        "seed": chosen.seed,
        "compiled_by_lilypond": len(compiled),
        "read": len(whole),
        "share_read_of_compiled": round(len(whole) / max(1, len(compiled)), 4),
        "notes_as_verified": sum(row["notes"] == row["verified"] for row in read),
        "pitches_as_lytk": sum(row["as_lytk"] for row in read),
        "seconds_median": sorted(row["seconds"] for row in read)[len(read) // 2],
        "seconds_most": max(row["seconds"] for row in read),
        "other_number_of_notes": [
            row for row in read if row["notes"] != row["verified"] or row["failures"]
        ],
        "not_read": [row for row in rows if not row["read"]],
        "midi": midi,
        "unnamed_parts": sum(
            not name for row in read for work in row["parts"] for name in work
        ),
        "parts": sum(len(work) for row in read for work in row["parts"]),
    }
    RESULT.write_text(json.dumps(digest, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    print(json.dumps({k: v for k, v in digest.items() if not isinstance(v, list)}, indent=1))


if __name__ == "__main__":
    main()
