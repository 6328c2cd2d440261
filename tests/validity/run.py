"""All parts of the benchmark in turn, and the result as plain data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

from corpusreg.corpus.files import folder
from corpusreg.measures import definitions
from corpusreg.measures.analysis import Analysis, analyse

from . import calibration, coverage, hidden, notation, twins
from .calibration import Verdict
from .materials import KINDS, Piece, in_turn, pieces, read_pieces
from .tally import LEFT_OUT, Row, Trial, as_json, in_order, summarise, table

__all__ = ["AIMS", "PARTS", "ask", "benchmark", "report"]

PARTS = ("twins", "stay", "entrance", "notation")
AIMS = twins.AIMS | hidden.AIMS | notation.AIMS
NOTED = 6  # missed cases that the result file names, by question and kind
FILES = 6  # works of each kind that also go through MusicXML files
ROUNDS = 2000  # of the coverage simulation
COVERED = (0.93, 0.97)
# Works that calibration takes, in multiples of the sample, by folder.
CALIBRATED = {"songs-dev": 20, "kern-dev": 8}

Say = Callable[[str], None]


def ask(piece: Piece, seed: int, files: bool) -> Iterator[Trial]:
    """Every question that applies to a work."""
    original = analyse(piece.played)
    yield from twins.twins(piece, original)
    yield from hidden.stays(piece, seed)
    yield from notation.notation(piece)
    if piece.kind != "line":
        yield from hidden.whole_stays(piece)
        yield from hidden.entrances(piece, seed)
        if files:
            yield from notation.through_files(piece)


def benchmark(sample: int, seed: int, corpora: Path | None, say: Say) -> dict[str, Any]:
    """Run everything; see `report` for what comes back in words."""
    trials: list[Trial] = []
    used: dict[str, dict[str, int]] = {}
    for kind in KINDS:
        found = pieces(kind, sample, seed, corpora)
        used[kind] = {
            "works": len(found),
            "composers": len({piece.composer for piece in found}),
            **Counter(piece.half for piece in found),
        }
        say(f"{kind}: {len(found)} works")
        for number, piece in enumerate(found):
            trials += ask(piece, seed, number < FILES)
    rows = in_order(summarise(trials, AIMS), PARTS, KINDS)
    say("calibration")
    verdicts = _calibrate(sample, seed, corpora)
    held = coverage.coverage(ROUNDS, seed)
    return {
        "versions": {
            "definitions": definitions.VERSION,
            "corpusreg": version("corpusreg"),
            "music21": version("music21"),
        },
        "seed": seed,
        "sample": sample,
        "used": used,
        # Questions without an aim are there for the record, both halves together.
        "rows": as_json([r for r in rows if r.half == "both" or r.aim is not None]),
        "left_out": dict(
            Counter(f"{t.kind}, {t.question}" for t in trials if t.part == LEFT_OUT)
        ),
        "missed": _missed(trials, rows),
        "calibration": [_verdict(v) for v in verdicts],
        "coverage": {
            "sizes": list(coverage.SIZES),
            "rounds": ROUNDS,
            "held": {rank: right / n for rank, (right, n) in held.items()},
        },
    }


def _verdict(found: Verdict) -> dict[str, Any]:
    rounded: dict[str, Any] = {
        name: [round(x, 3) for x in getattr(found, name)]
        for name in ("distances", "criticals", "correlation")
    }
    if found.ideal:
        rounded["ideal"] = {n: round(x, 3) for n, x in asdict(found.ideal).items()}
    return asdict(found) | rounded | {"verdict": found.word}


def _missed(trials: Sequence[Trial], rows: Sequence[Row]) -> list[dict[str, str]]:
    """Some of the cases behind every aim that was not reached."""
    found = []
    for row in rows:
        if row.half != "both" or row.met is not False:
            continue
        own = [
            trial
            for trial in trials
            if not trial.right
            and (trial.part, trial.question, trial.kind) == (row.part, row.question, row.kind)
        ]
        found += [
            {"question": f"{t.part}: {t.question}", "case": t.case, "detail": t.detail}
            for t in own[:NOTED]
        ]
    return found


def _calibrate(sample: int, seed: int, corpora: Path | None) -> list[Verdict]:
    """Verdicts by model, ensemble, half and measure; none without open corpora."""
    by_ensemble: dict[str, list[tuple[str, str, Analysis]]] = {}
    for name, times in CALIBRATED.items():
        place = corpora / name if corpora else None
        if place is None or not place.is_dir():
            continue
        for file in in_turn(folder(place, name), seed)[: times * sample]:
            for piece in read_pieces(file):
                row = (piece.composer, piece.half, analyse(piece.played))
                by_ensemble.setdefault(piece.kind, []).append(row)
    verdicts = []
    for ensemble, rows in by_ensemble.items():
        works = calibration.measured(rows)
        for model in calibration.MODELS:
            for half in ("both", "tuning", "report"):
                for measure in works.values:
                    asked = (model, ensemble, half, measure, works, seed)
                    found = calibration.judge(*asked)
                    if found and half == "both":
                        found = replace(found, ideal=calibration.ideal(*asked))
                    verdicts += [found] if found else []
    return verdicts


def report(result: dict[str, Any]) -> str:
    """The result as a table for people."""
    rows = [Row(**row) for row in result["rows"]]
    lines = [table(rows), ""]
    lines += [f"left out: {what}: {n}" for what, n in sorted(result["left_out"].items())]
    lines += ["", *_calibration_lines(result["calibration"]), ""]
    low, high = (100 * share for share in COVERED)
    for rank, held in result["coverage"]["held"].items():
        verdict = "reached" if low <= 100 * held <= high else "MISSED"
        aim = f"{low:.0f} to {high:.0f}%"
        lines.append(f"coverage at rank {rank:>2}: {100 * held:5.1f}%  {aim} {verdict}")
    return "\n".join(lines)


def _calibration_lines(verdicts: Sequence[dict[str, Any]]) -> list[str]:
    if not verdicts:
        return ["calibration: needs open corpora (--corpora); nothing was asked"]
    lines = []
    for model, ensemble, half in dict.fromkeys(
        (v["model"], v["ensemble"], v["half"]) for v in verdicts
    ):
        own = [
            v
            for v in verdicts
            if (v["model"], v["ensemble"], v["half"]) == (model, ensemble, half)
        ]
        words = Counter(v["verdict"] for v in own)
        every = ("accepted", "not shown", "cannot be tested", "rejected")
        said = ", ".join(f"{words[w]} {w}" for w in every if words[w])
        worst = max(v["distances"][0] for v in own)
        wrong = ", ".join(v["measure"] for v in own if v["verdict"] == "rejected")
        lines.append(
            f"calibration {model:<13} {ensemble:<10} {half:<6} "
            f"{max(v['works'] for v in own):>4} works {max(v['composers'] for v in own):>3} "
            f"composers, largest pooled distance {worst:.3f}: {said}"
            + (f" ({wrong})" if wrong else "")
        )
    return [*lines, *_chance_lines(verdicts)]


def _chance_lines(verdicts: Sequence[dict[str, Any]]) -> list[str]:
    """What the same questions give where no model can be wrong: values dealt out anew."""
    lines = []
    for ensemble in dict.fromkeys(v["ensemble"] for v in verdicts):
        chance = [
            v["ideal"] for v in verdicts if v["ensemble"] == ensemble and v["model"] == "tool"
            and v["ideal"]
        ]  # fmt: skip
        if chance:
            bounded = sum(c["bounded"] for c in chance) / len(chance)
            pooled = sorted(c["pooled"] for c in chance)
            lines.append(
                f"by chance alone, {ensemble}: pooled distance up to {pooled[0]:.3f} to "
                f"{pooled[-1]:.3f} by measure (19 in 20 deals), correlation shown inside "
                f"{calibration.CORRELATION} in {100 * bounded:.0f}% of deals"
            )
    return lines
