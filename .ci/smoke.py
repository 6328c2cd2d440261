"""A plain install does the main jobs: extract, compare, report, picture, handout, page, query.

Run by the Python of an environment that holds the wheel without extras, outside the checkout.
"""

from __future__ import annotations

import contextlib
import importlib.util
import io
import json
import sys
import tempfile
from pathlib import Path

import corpusreg
from corpusreg.cli import main

ABSENT = ("distributed", "pytest")  # in an extra
UNUSED = ("matplotlib", "music21", "pandas", "scipy", "seaborn")  # not on a comparison's way


def run(*arguments: str) -> str:
    """Standard output of a command that must succeed."""
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        code = main(arguments)
    assert code == 0, f"{arguments} ended with {code}"
    return printed.getvalue()


def measured(pieces: Path) -> None:
    """Add the eight demo pieces in the wheel to the reference that ships, and place one."""
    ships = json.loads(run("check", "--json"))["counts"]["works"]
    assert ships > 10_000, ships
    run("extract", str(pieces), "--workers", "1")
    state = json.loads(run("check", "--json"))
    assert state["ok"], state
    assert state["counts"]["works"] == 8, state
    answer = json.loads(run("compare", str(pieces / "stairs.musicxml"), "--json"))
    (work,) = answer["works"]
    assert work["piece"]["written_bars"] == 32, work["piece"]
    assert answer["reference_id"] == state["reference_id"]
    assert json.loads(run("table", "span", "--by", "ensemble", "--json"))
    listed = run("query").splitlines()[2:]
    assert len(listed) >= 8, listed
    run("query", "failures_by_reason", "--csv")
    loaded = {name.partition(".")[0] for name in sys.modules} & set(UNUSED)
    assert not loaded, f"loaded on the way: {sorted(loaded)}"


def drawn(pieces: Path, folder: Path) -> None:
    """What the README shows beyond numbers works without extras."""
    from sklearn.cluster import KMeans  # noqa: F401

    from corpusreg.room.app import room  # noqa: F401

    piece = str(pieces / "stairs.musicxml")
    for name in ("page.html", "page.pdf"):
        run("compare", piece, "--report", str(folder / name))
    run("map", piece, "--to", str(folder / "map.png"))
    run("heights", piece, "--bars", "5-8", "--picture", str(folder / "heights.pdf"))
    run("atlas", "--to", str(folder / "atlas"))
    run("handout", str(pieces), "--to", str(folder / "sheets"))
    for name in ("page.html", "page.pdf", "map.png", "heights.pdf", "sheets/overview.pdf"):
        assert (folder / name).stat().st_size > 1000, name


def smoke() -> None:
    """All of it."""
    package = Path(corpusreg.__file__).parent
    assert "site-packages" in package.parts, package
    for name in ABSENT:
        assert importlib.util.find_spec(name) is None, f"{name} is installed"
    pieces = package / "demo_pieces"
    measured(pieces)
    with tempfile.TemporaryDirectory() as folder:
        drawn(pieces, Path(folder))
    print("plain install: 8 pieces extracted, compared, drawn, and made into sheets")


if __name__ == "__main__":
    smoke()
