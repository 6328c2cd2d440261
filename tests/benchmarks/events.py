"""Events against scores that a musician annotated, and how many there are by nature.

    python tests/benchmarks/events.py [ANNOTATIONS] [--works 12] [--seed 7] [--list]

ANNOTATIONS is a folder with `events.json` and `lines.json` (their README says what the kinds
are and how sure they are); without it only the natural rates are printed. Every event that
the tool gives is scored, with its notes, and of the stays only the main ones, one in
MAIN_STAY bars at most. `REPORTED` is the one table that turns the tool's kinds into those
of the annotations; a kind that is not printed (`PRINTED_KINDS`) is scored all the same, and
marked.

Counting, as the annotations ask for it: a report matches an item of its kind within a bar, or
where the spans share half of what they cover, and notes within 3 semitones. An item is found
once, further reports of it are duplicates. False is a report of a kind that was annotated
completely for these bars, matches nothing, and is not tolerated. Traps are what looks like an
event and is none. What is heard again in a repeat counts once.

Clearings: in an untouched work the place of a real note (PLACE semitones on both sides) is
emptied for some bars before it; the event list must hold an entry there in that bar.
"""

from __future__ import annotations

import argparse
import json
import random
import re
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from corpusreg.measures.analysis import (  # noqa: E402
    Analysis,
    analyse,
    line_events,
)
from corpusreg.measures.events import KINDS as TOOL_KINDS  # noqa: E402
from corpusreg.measures.events import PRINTED_KINDS, Event  # noqa: E402
from corpusreg.score.played import Played, perform  # noqa: E402
from corpusreg.score.readers import read_file  # noqa: E402
from tests.validity.materials import CORPORA, KINDS, Piece, pieces  # noqa: E402

MAIN_STAY = 12  # bars
NEAR = 3  # semitones
CLEARED = (4, 8, 12)  # bars
PLACE = 5  # semitones
TRIALS = 3  # a work and length
ENTRIES = ("withheld_bass", "withheld_top", "cleared", "entry")

# Kind of the tool -> kinds of events.json and of lines.json.
REPORTED: dict[str, tuple[str, str]] = {
    "withheld_bass": ("withheld_bass", ""),
    "withheld_top": ("withheld_top", ""),
    "cleared": ("cleared_entry", ""),
    "entry": ("cleared_entry", ""),
    "shift": ("register_shift", ""),
    "gap": ("hollow", ""),
    "in_octaves": ("octave_doubling", ""),
    "isolated": ("isolated_extreme", ""),
    "crossing": ("crossing", ""),
    "high_point": ("extreme", "high_point"),
    "low_point": ("extreme", "low_point"),
    "climb": ("", "climb"),
    "descent": ("", "descent"),
    "wedge": ("", "wedge"),
    "pedal_point": ("drone_lifts", "pedal_point"),  # the first only where it ends
    "voice_entry": ("", "voice_entry"),
    "octave_return": ("", "return_other_octave"),
    "dialogue": ("", "dialogue"),
    "closing": ("", ""),
}
SPANS = {
    "stay", "hollow", "octave_doubling", "crossing", "nothing", "wedge", "pedal_point",
    "dialogue",
}  # fmt: skip
WAYS = {"climb", "descent"}
ONE_FACT = {"cleared_entry", "withheld_bass", "withheld_top"}  # may stand for one another
# A cleared place is also the other side of these, and then not false.
OTHER_SIDE = {"register_shift", "isolated_extreme", "octave_doubling", "hollow"}
NOT_IN_NOTHING = {"stay", "extreme", "nothing"}

Item = dict[str, Any]


@dataclass(frozen=True)
class Report:
    """One report in printed bars and MIDI numbers."""

    kind: str
    bar: int
    first: int
    last: int
    low: int | None
    high: int | None
    which: str = ""


@dataclass
class Tally:
    """Counts of one kind."""

    clear: int = 0
    clear_found: int = 0
    mild: int = 0
    mild_found: int = 0
    false: int = 0
    bars: int = 0
    duplicates: int = 0


@dataclass
class Score:
    """Counts of one set of annotations; each miss and false alarm in words."""

    kinds: dict[str, Tally] = field(default_factory=dict)
    traps: int = 0
    traps_sprung: int = 0
    nothing_bars: int = 0
    in_nothing: int = 0
    lines: list[str] = field(default_factory=list)

    def of(self, kind: str) -> Tally:
        return self.kinds.setdefault(kind, Tally())


def number(label: object) -> int:
    """The number at the beginning of a bar's label, 0 where there is none."""
    found = re.match(r"-?\d+", str(label))
    return int(found[0]) if found else 0


def midi(name: str | int) -> int:
    """A note name such as 'F#3' as a MIDI number."""
    if isinstance(name, int):
        return name
    letter, signs, octave = re.fullmatch(r"([A-G])([#b]*)(-?\d+)", name).groups()  # type: ignore[union-attr]
    base = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}[letter]
    return base + signs.count("#") - signs.count("b") + 12 * (int(octave) + 1)


def reports(analysis: Analysis, column: int) -> list[Report]:
    """What the tool says about a work, in the kinds of one of the two files."""
    labels = [number(label) for label in analysis.played.bars.labels]
    others = (e for e in line_events(analysis.played) if e.kind not in PRINTED_KINDS)
    found = [
        report
        for event in (*analysis.events, *others)
        if (report := _report(event, labels, column)) is not None
    ]
    if column == 0:
        most = max(len(labels) // MAIN_STAY, 1)
        for index in analysis.ranking[:most]:
            stay = analysis.stays[index]
            first, last = labels[stay.first], labels[stay.last - 1]
            found.append(Report("stay", first, first, last, stay.low, stay.high))
    return list(dict.fromkeys(found))


def _report(event: Event, labels: Sequence[int], column: int) -> Report | None:
    kind = REPORTED[event.kind][column]
    first, bar = labels[event.first], labels[event.bar]
    last = labels[max(event.last - 1, event.first)]
    if kind == "drone_lifts":
        if event.ending == "with the piece":
            return None
        first = last = bar
    which = {"high_point": "high", "low_point": "low"}.get(event.kind, "")
    return Report(kind, bar, first, last, event.low, event.high, which) if kind else None


def span(item: Item) -> tuple[int, int, int]:
    """Bar, first and last bar of an item."""
    bar, first, last = (
        None if item.get(key) is None else number(item[key])
        for key in ("bar", "start_bar", "end_bar")
    )
    bar = first if bar is None else bar
    assert bar is not None
    first = bar if first is None else first
    return bar, first, max(bar, first) if last is None else last


def bars_of(item: Item) -> list[int]:
    """The bars in which an item may be reported."""
    return [span(item)[0], *(number(bar) for bar in item.get("alt_bars", []))]


def same_notes(report: Report, item: Item) -> bool:
    """Whether the notes lie within NEAR of each other."""
    notes = item.get("notes") or {}
    if report.low is None or report.high is None or "low" not in notes:
        return True
    low, high = midi(notes["low"]), midi(notes["high"])
    return report.low - NEAR <= high and low - NEAR <= report.high


def matches(report: Report, item: Item) -> bool:
    """Whether a report is of an item."""
    kind = item["kind"]
    if report.kind != kind and not {report.kind, kind} <= ONE_FACT:
        return False
    if report.which and item.get("which") and report.which != item["which"]:
        return False
    _, first, last = span(item)
    shared = min(report.last, last) - max(report.first, first) + 1
    half = 2 * shared >= max(report.last, last) - min(report.first, first) + 1
    if kind in SPANS:
        there = abs(report.first - first) <= 1 or half
    elif kind in WAYS:
        there = abs(report.last - last) <= 1 or half
    else:
        there = any(abs(report.bar - bar) <= 1 for bar in bars_of(item))
        if kind == "extreme":
            again = [str(bar).lstrip("X") for bar in item.get("bars_all", [])]
            there |= str(report.bar) in again
    return there and same_notes(report, item)


def count(entry: Item, found: Sequence[Report], complete: Sequence[str], score: Score) -> None:
    """Add the reports on one entry to the counts."""
    real = [item for item in entry["items"] if item["kind"] != "not_an_event"]
    begin, end = entry["complete_range"]
    for kind in complete:
        score.of(kind).bars += end - begin + 1
    pairs = sorted(
        (
            report.kind != item["kind"],
            min(abs(report.bar - bar) for bar in bars_of(item)),
            item["strength"] != "clear",
            number_,
            place,
        )
        for number_, report in enumerate(found)
        for place, item in enumerate(real)
        if matches(report, item)
    )
    by_item: dict[int, int] = {}
    for *_, number_, place in pairs:
        if place not in by_item and number_ not in by_item.values():
            by_item[place] = number_
    for place, item in enumerate(real):
        _found(score, entry, item, place in by_item)
    matched = {pair[3] for pair in pairs}
    for number_, report in enumerate(found):
        if number_ in matched:
            score.of(report.kind).duplicates += number_ not in by_item.values()
        else:
            _unmatched(score, entry, report, complete)
    _traps(score, entry, [r for n, r in enumerate(found) if n not in matched])


def _found(score: Score, entry: Item, item: Item, found: bool) -> None:
    tally = score.of(item["kind"])
    if item["strength"] == "clear":
        tally.clear += 1
        tally.clear_found += found
    else:
        tally.mild += 1
        tally.mild_found += found
    if not found:
        score.lines.append(
            f"missed {item['strength']} {item['kind']} {entry['file'][-40:]} "
            f"{item.get('bar', item.get('start_bar'))} {item.get('notes')}"
        )


def _unmatched(score: Score, entry: Item, report: Report, complete: Sequence[str]) -> None:
    begin, end = entry["complete_range"]
    tolerated = entry.get("tolerated", {}).get(report.kind, [])
    if report.kind not in complete or not begin <= report.bar <= end or report.bar in tolerated:
        return
    other_side = report.kind == "cleared_entry" and any(
        item["kind"] in OTHER_SIDE
        and abs(span(item)[0] - report.bar) <= 1
        and same_notes(report, item)
        for item in entry["items"]
    )
    if not other_side:
        score.of(report.kind).false += 1
        score.lines.append(
            f"false {report.kind} {entry['file'][-40:]} {report.bar} {report.low} {report.high}"
        )


def _traps(score: Score, entry: Item, unmatched: Sequence[Report]) -> None:
    for item in entry["items"]:
        if item["kind"] == "not_an_event":
            sprung = [
                report
                for report in unmatched
                if (
                    report.kind == item["would_be"]
                    or {report.kind, item["would_be"]} <= ONE_FACT
                )
                and abs(report.bar - span(item)[0]) <= 1
                and same_notes(report, item)
            ]
            score.traps += 1
            score.traps_sprung += bool(sprung)
            score.lines += [f"trap {r.kind} {entry['file'][-40:]} {r.bar}" for r in sprung[:1]]
        elif item["kind"] == "nothing":
            _, first, last = span(item)
            score.nothing_bars += last - first + 1
            inside = [
                report
                for report in unmatched
                if report.kind not in NOT_IN_NOTHING
                and report.kind not in item.get("except_kinds", [])
                and first < report.bar <= last
            ]
            score.in_nothing += len(inside)
            score.lines += [
                f"nothing {r.kind} {entry['file'][-40:]} {r.bar} {r.low} {r.high}"
                for r in inside
            ]


class Works:
    """Analyses of the annotated files, each read once."""

    def __init__(self) -> None:
        self._known: dict[tuple[str, int], Analysis | None] = {}

    def of(self, entry: Item) -> Analysis | None:
        """The analysis of an entry's movement; None where the file is not there."""
        key = (entry["file"], int(entry.get("measure_index_offset") or 0))
        if key not in self._known:
            self._known[key] = _read(entry, key[1])
        return self._known[key]


def _read(entry: Item, offset: int) -> Analysis | None:
    root = entry["corpus_root"]
    if root == "MUSIC21":
        import music21

        folder = Path(music21.__file__).parent / "corpus"
    else:
        folder = (ROOT / root) if (ROOT / root).is_dir() else CORPORA / Path(root).name
    if not (folder / entry["file"]).exists():
        print(f"not here, left out: {folder / entry['file']}")
        return None
    scores = read_file(folder / entry["file"]).scores
    chosen = [score for score in scores if score.first_bar <= offset][-1]
    return analyse(perform(chosen))


def annotated(folder: Path, show: bool) -> None:
    """Print the counts of both files, the demo pieces apart from the others."""
    works = Works()
    for column, name in enumerate(("events.json", "lines.json")):
        entries = json.loads((folder / name).read_text(encoding="utf-8"))
        for title, demo in (("all", None), ("demo pieces", True), ("others", False)):
            score = Score()
            for entry in entries:
                analysis = works.of(entry)
                if analysis is None or demo is (entry["corpus"] != "demo"):
                    continue
                complete = entry.get("complete_kinds") or entry["complete_kinds_new"]
                count(entry, reports(analysis, column), complete, score)
            print(f"\n{name}, {title}")
            _print(score)
            if show and demo is None:
                print("\n".join(sorted(score.lines)))


def _print(score: Score) -> None:
    head = ("clear found", "mild found", "false", "in bars", "per 100", "twice")
    print(f"{'kind':20}" + "".join(f"{each:>14}" for each in head))
    told = {"stay", *(name for kind in PRINTED_KINDS for name in REPORTED[kind])}
    for kind, own in sorted(score.kinds.items()):
        if kind in ("nothing", ""):
            continue
        rate = f"{100 * own.false / own.bars:.1f}" if own.bars else "-"
        cells = (
            f"{own.clear_found} of {own.clear}",
            f"{own.mild_found} of {own.mild}",
            own.false,
            own.bars,
            rate,
            own.duplicates,
        )
        mark = "" if kind in told else " *"
        print(f"{kind + mark:20}" + "".join(f"{each!s:>14}" for each in cells))
    print("* measured, and not told")
    if score.traps or score.nothing_bars:
        print(
            f"traps sprung: {score.traps_sprung} of {score.traps}; reports inside passages "
            f"in which nothing happens: {score.in_nothing} in {score.nothing_bars} bars"
        )


def natural(works: int, seed: int) -> Iterator[str]:
    """Events in 100 bars of untouched works, and hidden clearings found, by medium."""
    for medium in KINDS:
        counts: Counter[str] = Counter()
        bars = 0
        chosen = pieces(medium, works, seed, CORPORA if CORPORA.is_dir() else None)
        for piece in chosen:
            bars += len(piece.played.bars)
            counts.update(event.kind for event in analyse(piece.played).events)
        rates = "  ".join(
            f"{kind} {100 * counts[kind] / max(bars, 1):.1f}"
            for kind in TOOL_KINDS
            if counts[kind]
        )
        yield f"{medium} ({len(chosen)} works, {bars} bars): {rates}"
        for length in CLEARED:
            own = [hit for piece in chosen for hit in found_clearings(piece, length, seed)]
            yield f"  cleared for {length} bars: found {sum(own)} of {len(own)}"


def cleared(played: Played, row: int, length: int) -> Played | None:
    """The work with the place of a note emptied before it; None where nothing else sounds."""
    notes = played.notes
    bar, onset = int(notes.bar[row]), int(notes.onset[row])
    gone = np.abs(notes.pitch - notes.pitch[row]) <= PLACE
    gone &= (notes.onset < onset) & (
        notes.onset + notes.duration > played.bars.start[bar - length]
    )
    left = notes.bar[~gone]
    if not np.isin(np.arange(bar - length, bar), left).all():
        return None
    return played.only(~gone)


def found_clearings(piece: Piece, length: int, seed: int) -> list[bool]:
    """Whether each hidden clearing of a work is found, in its bar and at its place."""
    draw = random.Random(f"{seed}:{piece.name}:{length}")
    rows = np.flatnonzero(piece.played.notes.bar >= length).tolist()
    draw.shuffle(rows)
    found: list[bool] = []
    for row in rows:
        changed = cleared(piece.played, row, length)
        if changed is None:
            continue
        pitch, bar = int(piece.played.notes.pitch[row]), int(piece.played.notes.bar[row])
        found.append(
            any(
                event.kind in ENTRIES
                and event.bar == bar
                and event.low - PLACE <= pitch <= event.high + PLACE
                for event in analyse(changed).events
            )
        )
        if len(found) == TRIALS:
            break
    return found


def main() -> None:
    """Print recall and false alarms by kind, then natural rates by medium."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("annotations", nargs="?", type=Path, help="folder with the annotations")
    parser.add_argument("--works", type=int, default=12, help="works of each medium")
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--list", action="store_true", help="name each miss and false alarm")
    options = parser.parse_args()
    folder = options.annotations
    if folder is None or not (folder / "events.json").is_file():
        print("no annotations: give the folder that holds events.json and lines.json")
    else:
        annotated(folder, options.list)
    print("\nevents in 100 bars by nature")
    for line in natural(options.works, options.seed):
        print(line, flush=True)


if __name__ == "__main__":
    main()
