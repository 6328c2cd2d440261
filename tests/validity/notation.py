"""Part 5: the same music written otherwise measures the same, to the last bar.

Scores are rewritten as a copyist could: values doubled or halved with the bars kept,
repeats written out, parts and notes in another order, notes split by ties. A second
round writes both forms to MusicXML files and reads them back.
"""

from __future__ import annotations

import random
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from corpusreg.measures.analysis import Analysis, analyse
from corpusreg.score.notes import Bars, Dynamic, Pedal, Score, Tempo
from corpusreg.score.order import played_order
from corpusreg.score.played import perform
from corpusreg.score.readers import read_scores

from . import changes
from .materials import Piece
from .musicxml import cannot_write, musicxml
from .tally import Trial

__all__ = [
    "AIMS", "REWRITTEN", "differences", "double_values", "halve_values", "notation",
    "reorder_parts", "shuffle_notes", "split_notes", "through_files", "write_repeats_out",
]  # fmt: skip

TOLERANCE = 1e-9  # relative: sums in another order differ in their last digits


def double_values(score: Score) -> Score:
    """Every value twice as long, with the bars kept: 4/4 becomes 4/2."""
    return _stretched(score, 2)


def halve_values(score: Score) -> Score:
    """Every value half as long, with the bars kept: 4/4 becomes 4/8."""
    return replace(score, ticks=score.ticks * 2, tempos=_tempos(score, 1, 0.5))


def _tempos(score: Score, times: int, faster: float) -> tuple[Tempo, ...]:
    """Marks that keep the time a bar takes: minims are counted where crotchets were."""
    return tuple(Tempo(t.tick * times, t.quarters_per_minute * faster) for t in score.tempos)


def _stretched(score: Score, times: int) -> Score:
    notes, bars = score.notes.copy(), score.bars
    for name in ("onset", "duration"):
        notes[name] *= times
    longer = {n: getattr(bars, n) * times for n in ("start", "length", "full", "beat")}
    dynamics = tuple(
        replace(d, tick=d.tick * times, end=None if d.end is None else d.end * times)
        for d in score.dynamics
    )
    return replace(
        score,
        notes=notes,
        bars=replace(bars, **longer),
        dynamics=dynamics,
        pedals=tuple(Pedal(p.part, p.start * times, p.end * times) for p in score.pedals),
        tempos=_tempos(score, times, times),
    )


def write_repeats_out(score: Score) -> Score:
    """The bars in the order in which they are played, without signs."""
    order = played_order(score.bars)[0]
    old, index = score.bars, np.asarray(order, np.int64)
    bars = Bars.plain(
        [str(i + 1) for i in range(len(order))],
        old.length[index], old.full[index], old.beat[index], section=old.section[index],
    )  # fmt: skip
    rows, dynamics = [], []
    for new, written in enumerate(order):
        move = int(bars.start[new] - old.start[written])
        own = score.notes[score.notes["bar"] == written].copy()
        own["onset"] += move
        own["bar"] = new
        rows.append(own)
        dynamics += [_moved(d, move) for d in score.dynamics if _bar_of(d, old) == written]
    return replace(
        score,
        bars=bars,
        notes=np.concatenate(rows),
        dynamics=tuple(dynamics),
        pedals=_pedals_written_out(score, order, bars),
        tempos=score.tempos[:1],  # the first tempo holds; only seconds depend on it
    )


def _pedals_written_out(score: Score, order: list[int], bars: Bars) -> tuple[Pedal, ...]:
    """Pedals bar by bar; those that go on over a barline kept in one."""
    old, found = score.bars, []
    for pedal in score.pedals:
        end = -1
        for new, written in enumerate(order):
            first = int(max(pedal.start, old.start[written]))
            last = int(min(pedal.end, old.start[written] + old.length[written]))
            if first >= last:
                continue
            move = int(bars.start[new] - old.start[written])
            goes_on = end == first + move and new and order[new - 1] == written - 1
            begin = found.pop().start if goes_on else first + move
            found.append(Pedal(pedal.part, begin, last + move))
            end = last + move
    return tuple(found)


def _bar_of(dynamic: Dynamic, bars: Bars) -> int:
    inside = np.flatnonzero(
        (bars.start <= dynamic.tick) & (dynamic.tick < bars.start + bars.length)
    )
    return int(inside[-1]) if len(inside) else len(bars) - 1


def _moved(dynamic: Dynamic, move: int) -> Dynamic:
    end = None if dynamic.end is None else dynamic.end + move
    return replace(dynamic, tick=dynamic.tick + move, end=end)


def reorder_parts(score: Score) -> Score:
    """The parts from the last to the first."""
    last = len(score.parts) - 1
    notes = score.notes.copy()
    notes["part"] = last - notes["part"]
    return replace(
        score,
        parts=score.parts[::-1],
        notes=notes,
        dynamics=tuple(replace(d, part=last - d.part) for d in score.dynamics),
        pedals=tuple(replace(p, part=last - p.part) for p in score.pedals),
    )


def shuffle_notes(score: Score) -> Score:
    """The rows of the note table in another order."""
    order = np.random.default_rng(0).permutation(len(score.notes))
    return replace(score, notes=score.notes[order])


def split_notes(score: Score) -> Score:
    """Every second note that can be is split into two tied ones.

    Not those with a staccato dot: a dot within a tie means something else.
    """
    draw = random.Random(0)
    notes = score.notes
    rows = []
    for row in np.flatnonzero((notes["duration"] >= 2) & ~notes["staccato"] & ~notes["grace"]):
        if draw.random() < 0.5:
            rows.append(row)
    first, second = notes[rows].copy(), notes[rows].copy()
    cut = np.array([draw.randrange(1, int(d)) for d in first["duration"]], np.int64)
    second["onset"] += cut
    second["duration"] -= cut
    first["duration"] = cut
    first["tie_out"], second["tie_in"] = True, True
    rest = np.delete(notes, rows)
    return replace(score, notes=np.concatenate((rest, first, second)))


REWRITTEN: dict[str, Callable[[Score], Score]] = {
    "values doubled": double_values,
    "values halved": halve_values,
    "repeats written out": write_repeats_out,
    "parts re-ordered": reorder_parts,
    "notes in another order": shuffle_notes,
    "notes split by ties": split_notes,
}

_TEXTURES = ("piano", "quartet", "song", "line")
AIMS = {
    ("notation", f"{question}{where}", kind): 1.0
    for question in REWRITTEN
    for where in ("", ", in a file")
    for kind in _TEXTURES
} | {("notation", "played twice: cuts kept", kind): 1.0 for kind in _TEXTURES}


def differences(a: Analysis, b: Analysis) -> list[str]:
    """What two analyses say differently, in words; [] where they are equal."""
    found = []
    for name, value in a.values.items():
        other = b.values[name]
        same = value.value == other.value or (
            value.value is not None
            and other.value is not None
            and np.isclose(value.value, other.value, rtol=TOLERANCE, atol=1e-12)
        )
        if not same or value.reason != other.reason:
            found.append(f"{name} {value.value} against {other.value}")
    for what, own, others in (
        ("stays", [_stay(a, i) for i in a.ranking], [_stay(b, i) for i in b.ranking]),
        ("shifts", [(s.bar, s.by) for s in a.shifts], [(s.bar, s.by) for s in b.shifts]),
        ("hollow bars", a.hollow.tolist(), b.hollow.tolist()),
    ):
        if own != others:
            found.append(f"{what} differ")
    return found


def _stay(analysis: Analysis, index: int) -> tuple[int, int, int, int]:
    stay = analysis.stays[index]
    return stay.first, stay.last, stay.low, stay.high


def notation(piece: Piece) -> Iterator[Trial]:
    """Each rewriting of one work, and the work played twice. Lines are rewritten too."""
    score = piece.score
    if _is_part(piece):
        return
    original = analyse(perform(score))
    for question, rewrite in REWRITTEN.items():
        if question == "repeats written out" and not _repeats(score):
            continue
        if question == "parts re-ordered" and len(score.parts) < 2:
            continue
        found = differences(original, analyse(perform(rewrite(score))))
        yield _trial(piece, question, found)
    yield _trial(piece, "played twice: cuts kept", _cuts_moved(piece, original))


def _cuts_moved(piece: Piece, original: Analysis) -> list[str]:
    """Cuts that differ when the work is played twice, but for the two stays at the seam."""
    found = analyse(changes.twice(piece.played))
    length = len(piece.played.bars)
    once = [stay.first for stay in original.stays]
    both = [stay.first for stay in found.stays]
    first = [cut for cut in both if cut < length]
    second = [cut - length for cut in both if cut > length]
    # The last stay of the first time and the first one of the second may join.
    faults = []
    if first[: len(once) - 1] != once[:-1]:
        faults.append("first time cut otherwise")
    if [c for c in second if c > once[min(1, len(once) - 1)]] != once[2:]:
        faults.append("second time cut otherwise")
    return faults


def through_files(piece: Piece) -> Iterator[Trial]:
    """The rewritings again, each written to a MusicXML file and read."""
    score = replace(piece.score, dynamics=(), pedals=(), tempos=())
    if _is_part(piece) or cannot_write(score):
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "piece.musicxml"
        original = _read_back(score, path)
        for question, rewrite in REWRITTEN.items():
            again = rewrite(score)
            if cannot_write(again) or (
                question == "repeats written out" and not _repeats(score)
            ):
                continue
            found = differences(original, _read_back(again, path))
            yield _trial(piece, f"{question}, in a file", found)


def _read_back(score: Score, path: Path) -> Analysis:
    path.write_text(musicxml(score), encoding="utf-8")
    return analyse(perform(read_scores(path)[0]))


def _is_part(piece: Piece) -> bool:
    """Whether the work is one part of a score, which comes under the score's own kind."""
    return piece.kind == "line" and len(piece.score.parts) > 1


def _repeats(score: Score) -> bool:
    return len(played_order(score.bars)[0]) != len(score.bars)


def _trial(piece: Piece, question: str, found: list[str]) -> Trial:
    detail = "; ".join(found[:3])
    return Trial(
        "notation", question, piece.kind, piece.half, piece.name, not found, False, detail
    )
