"""Notes that were held against music21 before: it takes minutes to read a few dozen scores.

data/agreed.json has the digests of what our readers gave when they agreed with music21, or
differed as a test says, and the version of music21. Any other notes, and those of any other
version, are held against music21 itself.

    python tests/agreed.py      holds all of them against it again, and writes the file
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path

DIGESTS = Path(__file__).parent / "data" / "agreed.json"
TESTS = ("abc", "kern", "musicxml_library")
agreed: dict[str, str] = json.loads(DIGESTS.read_text("utf-8")) if DIGESTS.exists() else {}
if agreed.get("music21") != version("music21"):
    agreed = {}


def held(name: str, notes: object, against_music21: Callable[[], None]) -> None:
    """Call what holds these notes, whose `repr` tells all of them, against music21 and fails
    where they differ, unless it has passed before.
    """
    digest = hashlib.blake2b(repr(notes).encode(), digest_size=16).hexdigest()
    if agreed.get(name) != digest:
        against_music21()
        agreed[name] = digest


def main() -> None:
    """Ask music21 about all of them."""
    import agreed as used  # as the tests import it
    import pytest

    used.agreed = {"music21": version("music21")}
    if pytest.main([f"{Path(__file__).parent}/test_{n}.py" for n in TESTS] + ["-k", "music21"]):
        raise SystemExit("readers and music21 differ; nothing was written")
    DIGESTS.write_text(json.dumps(used.agreed, indent=1, sort_keys=True) + "\n", "utf-8")


if __name__ == "__main__":
    main()
