"""A core install does the main job: extract, compare, table and query, without extras.

Run by the Python of an environment that holds the wheel alone, outside the checkout.
"""

from __future__ import annotations

import contextlib
import importlib.util
import io
import json
import sys
from pathlib import Path

import corpusreg
from corpusreg.cli import main

ABSENT = ("seaborn", "sklearn", "scipy")  # in an extra
UNUSED = (*ABSENT, "matplotlib", "music21", "pandas")  # not on the way of a comparison


def run(*arguments: str) -> str:
    """Standard output of a command that must succeed."""
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        code = main(arguments)
    assert code == 0, f"{arguments} ended with {code}"
    return printed.getvalue()


def smoke() -> None:
    """Extract the eight demo pieces from the wheel, and place one of them."""
    folder = Path(corpusreg.__file__).parent
    assert "site-packages" in folder.parts, folder
    for name in ABSENT:
        assert importlib.util.find_spec(name) is None, f"{name} is installed"
    pieces = folder / "demo_pieces"
    run("extract", str(pieces), "--workers", "1")
    state = json.loads(run("check", "--json"))
    assert state["ok"], state
    assert state["counts"]["works"] == 8, state
    assert state["counts"]["failures"] == 0, state
    answer = json.loads(run("compare", str(pieces / "stairs.musicxml"), "--json"))
    (work,) = answer["works"]
    assert work["piece"]["bars"] == 32, work["piece"]
    assert answer["reference_id"] == state["reference_id"]
    assert json.loads(run("table", "span", "--by", "ensemble", "--json"))
    listed = run("query").splitlines()[2:]
    assert len(listed) >= 8, listed
    run("query", "failures_by_reason", "--csv")
    loaded = {name.partition(".")[0] for name in sys.modules} & set(UNUSED)
    assert not loaded, f"loaded on the way: {sorted(loaded)}"
    print("core install: 8 pieces extracted, 1 compared, table and query answered")


if __name__ == "__main__":
    smoke()
