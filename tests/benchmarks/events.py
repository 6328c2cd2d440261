"""How often events hidden in real works are found, and how many there are by nature.

    python tests/benchmarks/events.py [--works 40] [--seed 7]

Clearings: in an untouched work a bar is chosen in which an octave C to B is used (a
beat of sound or more, by notes that begin there, three semitones or more inside its
borders), and that octave is emptied for 1, 2, 4 or 8 bars before. The event list must
hold an entry in that bar that covers that octave. Composers are split in two by a
fixed hash: the numbers in corpusreg.measures were chosen on half 'tuning'; half
'report' is the honest one. The natural rate counts the events of the untouched works.
"""

from __future__ import annotations

import argparse
import random
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from corpusreg.measures.happenings import happenings  # noqa: E402
from corpusreg.score.played import Played  # noqa: E402
from tests.validity.changes import without  # noqa: E402
from tests.validity.materials import CORPORA, KINDS, Piece, pieces  # noqa: E402

LENGTHS = (1, 2, 4, 8)
TRIALS = 4  # a work and length
ENTRIES = ("entry", "held_back", "solo")
INSIDE = 3  # semitones


def real_entries(played: Played) -> list[tuple[int, int]]:
    """Bars and octaves in which an octave is clearly used, by notes that begin there."""
    notes, bars = played.notes, played.bars
    used: Counter[tuple[int, int]] = Counter()
    inside = (notes.pitch % 12 >= INSIDE) & (notes.pitch % 12 < 12 - INSIDE)
    for bar, pitch, lasts in zip(
        notes.bar[inside].tolist(),
        notes.pitch[inside].tolist(),
        notes.duration[inside].tolist(),
        strict=True,
    ):
        used[bar, pitch // 12] += lasts
    return sorted(key for key, ticks in used.items() if ticks >= bars.beat[key[0]])


def cleared(played: Played, bar: int, octave: int, length: int) -> Played | None:
    """The work with an octave emptied before a bar; None where nothing else sounds there."""
    notes, start = played.notes, played.bars.start
    inside = notes.pitch // 12 == octave
    gone = inside & (notes.onset < start[bar])
    gone &= notes.onset + notes.duration > start[bar - length]
    left = notes.bar[~gone]
    if not np.isin(np.arange(bar - length, bar), left).all():
        return None
    return without(played, gone)


def trials(piece: Piece, length: int, seed: int) -> Iterator[bool]:
    """Whether each hidden clearing is found."""
    draw = random.Random(f"{seed}:{piece.name}:{length}")
    choices = [each for each in real_entries(piece.played) if each[0] >= length]
    draw.shuffle(choices)
    done = 0
    for bar, octave in choices:
        changed = cleared(piece.played, bar, octave, length)
        if changed is None:
            continue
        found = happenings(changed.notes, changed.bars, changed.seconds)
        yield any(
            event.kind in ENTRIES
            and event.first == bar
            and (event.low is None or event.low <= 12 * octave)
            and (event.high is None or event.high >= 12 * octave + 11)
            for event in found
        )
        done += 1
        if done == TRIALS:
            return


def main() -> None:
    """Print found rates and natural rates by kind and half."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--works", type=int, default=40)
    parser.add_argument("--seed", type=int, default=7)
    options = parser.parse_args()
    for kind in KINDS:
        found: dict[tuple[str, int], list[bool]] = {}
        natural: Counter[tuple[str, str]] = Counter()
        corpora = CORPORA if CORPORA.is_dir() else None
        for piece in pieces(kind, options.works, options.seed, corpora):
            own = happenings(piece.played.notes, piece.played.bars, piece.played.seconds)
            natural[piece.half, "bars"] += len(piece.played.bars)
            for event in own:
                natural[piece.half, event.kind] += 1
            for length in LENGTHS:
                found.setdefault((piece.half, length), []).extend(
                    trials(piece, length, options.seed)
                )
        for half in ("tuning", "report"):
            rates = "  ".join(
                f"{length} bars {100 * np.mean(own):5.1f} % of {len(own)}"
                for length in LENGTHS
                if (own := found.get((half, length)))
            )
            bars = max(natural[half, "bars"], 1)
            rate = "  ".join(
                f"{name} {100 * natural[half, name] / bars:.1f}" for name in (*ENTRIES, "lift")
            )
            print(
                f"{kind:<8} {half:<7} found: {rates}\n{'':<16} per 100 bars: {rate}", flush=True
            )


if __name__ == "__main__":
    main()
