"""The kern reader against other libraries, note for note, and its speed.

    python tests/benchmarks/readers_kern.py [--sample N]

Reads every bundled kern file and, where the folder is there, every file of
../shared/corpora/kern-dev with this project's reader; then compares N files of
each (default 60 bundled, 100 of the folder, evenly spaced, all bundled files with
split spines among them) with music21, converter21 and, where nothing splits, lytk:
same staff, onset, duration, pitch and ties. Writes results/readers_kern.json; what
the disagreements are is written by hand in results/readers_kern.md.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(ROOT), str(HERE.parent)]

from kern_oracle import (  # noqa: E402
    converter21_staves,
    differences,
    is_split,
    lytk_staves,
    music21_staves,
    own_staves,
)

from corpusreg.score.readers.kern import read_kern  # noqa: E402
from corpusreg.system.errors import ReadError  # noqa: E402

FOLDER = ROOT.parent / "shared" / "corpora" / "kern-dev"
ORACLES: dict[str, Callable[[Path], list[Any]]] = {
    "music21": music21_staves,
    "converter21": converter21_staves,
    "lytk": lytk_staves,
}


def bundled() -> list[Path]:
    """All kern files inside the music21 package."""
    import music21

    return sorted((Path(music21.__file__).parent / "corpus").rglob("*.krn"))


def spread(paths: list[Path], count: int) -> list[Path]:
    """`count` evenly spaced paths."""
    if count >= len(paths):
        return paths
    return [paths[index * len(paths) // count] for index in range(count)]


def read_all(paths: list[Path]) -> dict[str, Any]:
    """Every file with this project's reader: speed, failures, what was lost."""
    notes, failures = 0, {}
    lost: Counter[str] = Counter()
    left_out: Counter[str] = Counter()
    begun = time.process_time()
    for path in paths:
        try:
            score = read_kern(path)
        except ReadError as error:
            failures[path.name] = str(error)
            continue
        notes += len(score.notes)
        lost.update(score.lost)
        left_out.update(score.left_out)
    seconds = time.process_time() - begun
    return {
        "files": len(paths),
        "with_split_spines": sum(map(is_split, paths)),
        "notes": notes,
        "notes_per_cpu_second": round(notes / seconds),
        "failures": failures,
        "lost": dict(sorted(lost.items())),
        "left_out": dict(sorted(left_out.items())),
    }


def speed(paths: list[Path]) -> dict[str, Any]:
    """Notes per CPU second on files without splits, this reader and lytk's note dictionary."""
    import lytk

    plain = [path for path in paths if not is_split(path)]
    begun = time.process_time()
    notes = sum(len(read_kern(path).notes) for path in plain)
    ours = time.process_time() - begun
    begun = time.process_time()
    for path in plain:
        lytk.from_humdrum(str(path)).to_dict()
    theirs = time.process_time() - begun
    return {
        "files": len(plain),
        "notes": notes,
        "ours_notes_per_s": round(notes / ours),
        "lytk_to_dict_notes_per_s": round(notes / theirs),
        "ours_over_lytk": round(theirs / ours, 2),
    }


def compare(path: Path) -> dict[str, Any]:
    """One file against each library: nothing but the differences."""
    score = read_kern(path)
    ours = own_staves(score)
    text = repr([sorted(map(repr, staff.items())) for staff in ours])
    found: dict[str, Any] = {
        "notes": len(score.notes),
        "split": is_split(path),
        "cue": score.left_out.get("cue", 0),
        "rows": hashlib.sha256(text.encode()).hexdigest()[:16],
    }
    for name, oracle in ORACLES.items():
        if name == "lytk" and found["split"]:
            continue
        try:
            found[name] = dict(sorted(differences(ours, oracle(path)).items()))
        except Exception as error:  # noqa: BLE001 - other libraries raise anything
            found[name] = f"{type(error).__name__}: {error}"[:120]
    return found


def _only_cues(result: Any, cues: int) -> bool:
    """Whether all that differs are the cue notes that this project leaves out."""
    return cues > 0 and result == {
        "rows: only theirs": cues,
        "pitch and onset: only theirs": cues,
    }


def totals(files: dict[str, dict[str, Any]]) -> dict[str, dict[str, int]]:
    """For each library: files equal, different, refused, and rows compared."""
    out = {}
    for name in ORACLES:
        results = {path: file[name] for path, file in files.items() if name in file}
        out[name] = {
            "files": len(results),
            "equal": sum(result == {} for result in results.values()),
            "equal_but_for_cue_notes": sum(
                _only_cues(result, files[path]["cue"]) for path, result in results.items()
            ),
            "refused": sum(isinstance(result, str) for result in results.values()),
            "notes_equal_files": sum(
                files[path]["notes"] for path, result in results.items() if result == {}
            ),
        }
    return out


def main() -> None:
    """Run, print, write the digest."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sample", type=int, help="files to compare from each collection")
    wanted = parser.parse_args().sample
    sets = {"bundled": bundled(), "kern-dev": sorted(FOLDER.rglob("*.krn"))}
    digest: dict[str, Any] = {}
    for name, paths in sets.items():
        if not paths:
            continue
        count = wanted or (60 if name == "bundled" else 100)
        chosen = spread(paths, count)
        if name == "bundled":
            chosen = sorted({*chosen, *filter(is_split, paths)})
        files = {}
        for path in chosen:
            files[path.stem] = compare(path)
            print(path.stem[:60], {k: files[path.stem].get(k) for k in ORACLES}, flush=True)
        digest[name] = {
            "all": read_all(paths),
            "speed": speed(paths[:: max(1, len(paths) // 200)]),
            "compared": totals(files),
            "files": files,
        }
        print(name, json.dumps({k: digest[name][k] for k in ("all", "speed", "compared")}))
    target = HERE / "results" / "readers_kern.json"
    target.parent.mkdir(exist_ok=True)
    target.write_text(json.dumps(digest, indent=1, sort_keys=True) + "\n", "utf-8")


if __name__ == "__main__":
    main()
