"""Make the reference that ships with the package. A maintainer's command.

    python reports/make_reference.py FOLDER [--workers N] [--missing WORDS]

FOLDER holds the open corpora of the catalogue at their revisions, each in a folder of its
name (songs, quartets, ...). They are measured with the bundled scores, published in
CORPUSREG_HOME, and packed into corpusreg/data/reference. WORDS say what is not there of a
corpus, as in 'of library what is not for keyboard'. It is run and committed once for each
version of the definitions.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from corpusreg.building.release import release
from corpusreg.terminal import Stages


def main() -> None:
    """Make it, and say what it took."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--workers", type=int)
    parser.add_argument("--missing", action="append", default=[], help="for the data sheet")
    options = parser.parse_args()
    began = time.monotonic()
    with Stages() as stages:
        made = release(
            options.folder,
            missing=options.missing,
            workers=options.workers,
            on_progress=stages.measured,
        )
    print(
        f"{made.folder}: {made.size:,} bytes, {made.built.works:,} works, "
        f"{made.built.failed:,} files failed, {time.monotonic() - began:.0f} s"
    )
    for problem in made.built.problems:
        print(problem)
    if made.absent:
        print(f"absent: {', '.join(made.absent)}")


if __name__ == "__main__":
    main()
