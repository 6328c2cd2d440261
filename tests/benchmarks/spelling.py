"""How many accidentals a piece's spelling gets right: `python tests/benchmarks/spelling.py
FOLDER [COUNT]`.

Takes some **kern files of a folder, always the same, and counts, over the notes that are
written with an accidental, or named with one here, how many have another name on the page:
by the spelling of each piece, and by the usual names for all. Prints one line.
"""

from __future__ import annotations

import random
import re
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from corpusreg.score.pitch import USUAL, Spelling, parse_note, spelled
from corpusreg.score.readers import read_scores
from corpusreg.system.errors import CorpusregError

_NOTE = re.compile(r"(?<![a-zA-Z])([a-g]+|[A-G]+)([#-]*)")


def written(path: Path) -> Counter[str]:
    """How often each name stands in a file."""
    lines = path.read_text(errors="ignore").splitlines()
    notes = [n for line in lines if line[:1] not in "*!=" for n in _NOTE.finditer(line)]
    return Counter(n[1][0].upper() + n[2].replace("-", "b") for n in notes)


def wrong(names: Counter[str], spelling: Spelling) -> tuple[int, int]:
    """Notes with an accidental on the page or by the spelling, and how many differ."""
    here = [
        (name, count, spelling[parse_note(f"{name}4") % 12]) for name, count in names.items()
    ]
    signed = [each for each in here if len(each[0]) > 1 or len(each[2]) > 1]
    return sum(each[1] for each in signed), sum(c for name, c, by in signed if name != by)


def found(paths: list[Path]) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
    """By the piece's spelling and by the usual names, for each file that holds one work."""
    for path in paths:
        try:
            scores = read_scores(path)
        except CorpusregError:
            continue
        if len(scores) == 1:
            names = written(path)
            yield wrong(names, spelled(scores[0].notes, scores[0].keys)), wrong(names, USUAL)


def main() -> None:
    paths = sorted(Path(sys.argv[1]).rglob("*.krn"))
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 250
    results = list(found(random.Random(5).sample(paths, min(count, len(paths)))))
    for title, which in (("by the piece", 0), ("by the usual names", 1)):
        notes = sum(each[which][0] for each in results)
        bad = sum(each[which][1] for each in results)
        print(f"{title}: {bad} of {notes} otherwise ({100 * bad / notes:.1f} %)")


if __name__ == "__main__":
    main()
