"""Which parts of open scores are matched to an instrument, and which ensembles come out.

Reads every score bundled with music21 (without importing it) and, where the folder
is there, ../shared/corpora; LilyPond files are only searched for instrument names.
Prints shares by occurrences and by distinct names, with the file's codes and by
the printed name alone, everything unmatched, and ensembles by collection.

Run: python tests/benchmarks/part_names.py [--write]
`--write` stores the output in tests/benchmarks/results/part_names.txt.
"""

from __future__ import annotations

import re
import sys
from collections import Counter, defaultdict
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path

import numpy as np

from corpusreg.instruments import load
from corpusreg.instruments.ensembles import classify
from corpusreg.instruments.names import is_generic
from corpusreg.score.notes import Part, Score
from corpusreg.score.readers import read_file
from corpusreg.system.errors import CorpusregError

HERE = Path(__file__).resolve().parent
SHARED = HERE.parents[2] / "shared" / "corpora"
SUFFIXES = {".xml", ".mxl", ".musicxml", ".krn", ".abc"}
LILYPOND_NAME = re.compile(r'instrumentName\s*=\s*#?\s*"([^"\\]*[^\W\d_][^"\\]*)"')
# Collections of single tunes without part names: nothing to match in 12,000 works.
TUNES = {"airdsAirs", "essenFolksong", "nottingham-dataset", "oneills1850", "ryansMammoth"}


def collections() -> Iterator[tuple[str, Path]]:
    spec = find_spec("music21")
    if spec and spec.submodule_search_locations:
        bundled = Path(spec.submodule_search_locations[0]) / "corpus"
        for folder in sorted(one for one in bundled.iterdir() if one.is_dir()):
            if folder.name not in TUNES and folder.name[0] != "_":
                yield f"bundled/{folder.name}", folder
    if SHARED.is_dir():
        for folder in sorted(one for one in SHARED.iterdir() if one.is_dir()):
            yield folder.name, folder


def polyphonic_parts(score: Score) -> list[bool]:
    """For each part whether two of its notes sound at once somewhere."""
    notes = score.notes[score.notes["duration"] > 0]
    result = []
    for part in range(len(score.parts)):
        own = np.sort(notes[notes["part"] == part], order=["onset", "duration"])
        ends = own["onset"] + own["duration"]
        before = np.maximum.accumulate(ends)[:-1] if len(own) else ends
        result.append(bool((own["onset"][1:] < before).any()))
    return result


def main() -> None:
    lines = report()
    print("\n".join(lines))
    if "--write" in sys.argv:
        target = HERE / "results" / "part_names.txt"
        target.write_text("\n".join(lines) + "\n", encoding="utf-8")


def report() -> list[str]:
    parts: Counter[Part] = Counter()
    ensembles: defaultdict[str, Counter[str]] = defaultdict(Counter)
    unread = 0
    for label, folder in collections():
        for path in sorted(folder.rglob("*")):
            if path.suffix == ".ly":
                text = path.read_text(encoding="utf-8", errors="replace")
                parts.update(Part(name) for name in LILYPOND_NAME.findall(text))
            if path.suffix not in SUFFIXES:
                continue
            try:
                scores = read_file(path).scores
            except CorpusregError:
                unread += 1
                continue
            for score in scores:
                parts.update(score.parts)
                active = [
                    bool((score.notes["part"] == i).any()) for i in range(len(score.parts))
                ]
                found = classify(score.parts, active, polyphonic_parts(score))
                ensembles[label][found.kind] += 1
    lines = [*shares(parts), f"files that could not be read: {unread}", "", "Ensembles"]
    for label, kinds in ensembles.items():
        counts = ", ".join(f"{kind} {n}" for kind, n in kinds.most_common())
        lines.append(f"{label} ({kinds.total()}): {counts}")
    return lines


def shares(parts: Counter[Part]) -> list[str]:
    table = load()
    named = Counter({p: n for p, n in parts.items() if not is_generic(p.name)})
    silent = parts.total() - named.total()
    drums = Counter({p: n for p, n in named.items() if table.is_unpitched(p)})
    named -= drums
    whole = Counter({p: n for p, n in named.items() if table.match(p)})
    alone: Counter[str] = Counter()
    names: Counter[str] = Counter()
    for part, n in named.items():
        names[part.name] += n
        alone[part.name] += n if table.named(part.name) else 0
    matched_names = sum(n > 0 for n in alone.values())
    lines = [
        f"parts: {parts.total()}; without a telling name: {silent}; percussion without pitch: "
        f"{drums.total()}; named: {named.total()} ({len(names)} distinct names)",
        f"matched with codes and sounds: {whole.total() / named.total():.2%} of occurrences",
        f"matched by the printed name alone: {alone.total() / named.total():.2%} of "
        f"occurrences, {matched_names / len(names):.2%} of distinct names",
        "",
        "Unmatched (occurrences, name, abbreviation, sound, code)",
    ]
    for part, n in (named - whole).most_common():
        lines.append(f"{n:5} {part.name!r} {part.abbreviation!r} {part.sound_id} {part.code}")
    lines += ["", "Unmatched by the printed name alone, matched otherwise"]
    rest = Counter({p.name: 0 for p in named})
    for part, n in whole.items():
        rest[part.name] += n if not table.named(part.name) else 0
    lines += [f"{n:5} {name!r}" for name, n in rest.most_common() if n]
    lines += ["", "Sound or code against the first meaning of the name (occurrences, name, id)"]
    for part, n in whole.most_common():
        meanings, found = table.named(part.name), table.match(part)
        machine = table.match(Part(sound_id=part.sound_id, code=part.code))
        if meanings and machine and machine.id not in {meanings[0].id, meanings[0].kind_of}:
            chosen = found.id if found else ""
            lines.append(f"{n:5} {part.name!r} {part.sound_id or part.code} -> {chosen}")
    return [*lines, ""]


if __name__ == "__main__":
    main()
