"""Whether `revise` finds shifts again that were taken away, and keeps the bass.

    python tests/benchmarks/revise.py [--works 20] [--seed 7]

Twins: real works in which each shift is answered by keeping the entry in the register
before it, made as in tests/validity (hands moved by octaves from shift to shift) and,
apart from it, by `contrast settled`, which keeps bass and melody. Asked of a twin is
'move more at N' for bars N that have lost their shift (at most SHIFTS a work, the
largest); found is a shift at N of half the size or more in one of the options.

Bass: the lowest pitch class at every moment as heard, by a count of its own, in every
contrast and every option that moves octaves. Time: processor time of
one call of `options`, with all before it but the reading of the file.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from corpusreg.instruments import load  # noqa: E402
from corpusreg.measures.analysis import Analysis, analyse  # noqa: E402
from corpusreg.revision.contrast import WAYS, contrast  # noqa: E402
from corpusreg.revision.intentions import intention  # noqa: E402
from corpusreg.revision.limits import MoveLimits  # noqa: E402
from corpusreg.revision.search import goals, options  # noqa: E402
from corpusreg.revision.units import LazyAnalysis, music  # noqa: E402
from corpusreg.score.notes import Score  # noqa: E402
from corpusreg.score.played import Notes, Played, perform  # noqa: E402
from corpusreg.score.rewrite import Change, changed, tie_chains  # noqa: E402
from tests.validity import changes  # noqa: E402
from tests.validity.materials import CORPORA, Piece, pieces  # noqa: E402

KINDS = ("piano", "song", "quartet")
SHIFTS = 4
LONGEST = 130  # bars
RESULT = Path(__file__).parent / "results" / "revise.json"


def twin(score: Score) -> Score:
    """The twin of tests/validity as a score: what enters keeps the register before it."""
    played = perform(score, as_written=True)
    notes, chain = score.notes, tie_chains(score.notes)
    rows = np.flatnonzero((chain == np.arange(len(notes))) & (notes["duration"] > 0))
    heads = notes[rows]
    # The row of a note travels as its loudness, which no octave depends on.
    row = (rows + 1) / (len(notes) + 1)
    plain = Notes(
        part=heads["part"],
        staff=heads["staff"],
        voice=heads["voice"],
        bar=heads["bar"].astype(np.int64),
        onset=heads["onset"],
        duration=heads["duration"],
        pitch=heads["pitch"].astype(np.int64),
        loudness=row,
        written=heads["duration"],
    )
    order = np.lexsort((plain.duration, plain.part, plain.pitch, plain.onset))
    moved = changes.musical(
        replace(played, notes=plain.take(order)), changes.shift_bars(played)
    ).notes
    octaves = np.zeros(len(notes), np.int64)
    back = np.rint(moved.loudness * (len(notes) + 1)).astype(int) - 1
    octaves[back] = (moved.pitch - notes["pitch"][back]) // 12
    return changed(score, Change.of(len(notes), octaves[chain]))


def lost(before: Analysis, after: Analysis) -> Iterator[tuple[int, float]]:
    """Played bars that have lost their shift, and its size, the largest first."""
    left = {shift.bar for shift in after.shifts}
    bars = before.played.bars
    for shift in sorted(before.shifts, key=lambda shift: -shift.size):
        if shift.by != "part" and shift.bar not in left and bars.time[shift.bar] == 1:
            yield shift.bar, shift.size


def bass_kept(before: Played, after: Played) -> bool:
    """Lowest pitch classes, counted moment by moment."""

    def classes(played: Played, ticks: list[int]) -> list[int]:
        starts = played.notes.onset[:, None] <= ticks
        ends = (played.notes.onset + played.notes.duration)[:, None] > ticks
        lowest = np.where(starts & ends, played.notes.pitch[:, None], 999).min(axis=0)
        return [int(p) % 12 if p < 999 else -1 for p in lowest]

    edges = np.unique(
        np.concatenate(
            [
                n
                for p in (before, after)
                for n in (p.notes.onset, p.notes.onset + p.notes.duration)
            ]
        )
    )
    return all(
        classes(before, part) == classes(after, part) for part in np.array_split(edges, 20)
    )


def restored(score: Score, size: float, bar: int, tally: dict[str, list[float]]) -> bool:
    """Whether an option for the played bar brings back half of a shift."""
    began = time.process_time()
    source = music(score, load())
    limits = MoveLimits(source, melody=False)
    before = LazyAnalysis(limits.played)
    label = before.played.bars.labels[bar]
    wanted = goals(intention(f"move more at {label}"), source, before, "twin")
    found = options(source, limits, before, wanted)
    tally["seconds"].append(time.process_time() - began)
    tally["options"].append(len(found))
    tally["bass"] += [bass_kept(limits.played, option.measured.played) for option in found]
    return any(
        shift.bar == bar and shift.size >= size / 2
        for option in found
        for shift in option.measured.analysis.shifts
    )


def one(piece: Piece, tally: dict[str, list[float]]) -> None:
    """All that is asked of one work."""
    score = piece.score
    before = analyse(piece.played)
    source = music(score, load())
    limits = MoveLimits(source, melody=True)
    page = LazyAnalysis(perform(score, as_written=True))
    twins = {"twins": twin(score)}
    for way in WAYS:
        change = contrast(source, limits, page, way, 0, len(score.bars))
        heard = perform(changed(score, change))
        tally[f"contrast {way} moves"].append(bool(change.octaves.any()))
        tally["contrast bass"].append(bass_kept(piece.played, heard))
        if way == "settled":
            twins["settled"] = changed(score, change)
            tally["settled shifts"].append(len(analyse(heard).shifts))
            tally["shifts"].append(len(before.shifts))
    for name, other in twins.items():
        gone = list(lost(before, analyse(perform(other))))[:SHIFTS]
        for bar, size in gone:
            tally[name].append(restored(other, size, bar, tally))


def main() -> None:
    """Print and keep the shares."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--works", type=int, default=20)
    parser.add_argument("--seed", type=int, default=7)
    asked = parser.parse_args()
    corpora = CORPORA if CORPORA.is_dir() else None
    results = {}
    for kind in KINDS:
        tally: dict[str, list[float]] = defaultdict(list)
        found = pieces(kind, asked.works, asked.seed, corpora)
        for piece in found:
            if len(piece.played.bars) <= LONGEST:
                one(piece, tally)
        results[kind] = {
            "works": len(tally["shifts"]),
            **{name: round(float(np.mean(each)), 3) for name, each in tally.items()},
            "asked": {name: len(tally[name]) for name in ("twins", "settled")},
            "slowest seconds": round(max(tally["seconds"], default=0.0), 2),
        }
        print(kind, json.dumps(results[kind], indent=1), flush=True)
    RESULT.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
