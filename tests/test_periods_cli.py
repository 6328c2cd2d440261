"""`corpusreg periods` on real works: the small reference."""

from __future__ import annotations

import csv
import io
import itertools
import json
import re
import shlex
from pathlib import Path

import numpy as np
import pytest
from conftest import PIECES, Command, command

from corpusreg.measures.definitions import MEASURES
from corpusreg.store import open_reference


def good(run: Command, *arguments: str) -> str:
    done = run("periods", *arguments)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return done.stdout


def test_the_text_fits_and_traces_every_number(run: Command) -> None:
    text = good(run)
    reference = json.loads(run("check", "--json").stdout)["reference_id"]
    assert f"Reference {reference}" in text
    assert text.isascii()
    assert [line for line in text.splitlines() if len(line) > 88] == []
    for measure in MEASURES:
        assert f"{measure.title.upper()} [{measure.unit}]" in text
    assert "Cannot be tested: " in text
    assert "Works for all forces are mixed here" in " ".join(text.split())


@pytest.mark.parametrize("within", [[], ["--ensemble", "choir"]])
def test_the_query_below_gives_the_composers_of_a_cell(run: Command, within: list[str]) -> None:
    said = " ".join(good(run, "span", *within).split())
    asked = re.search(r"corpusreg (query composers_of_cell [^,]*), and works_of_cell", said)
    assert asked is not None
    (span,) = json.loads(good(run, "span", "--json", *within))["measures"]
    largest = max(span["cells"], key=lambda cell: cell["units"])
    assert f"period={largest['period']}" in asked[1]
    rows = json.loads(run(*shlex.split(asked[1]), "--json").stdout)
    assert len(rows) == largest["units"]
    assert sum(row["works"] for row in rows) == largest["works"]


def test_counts_are_those_of_the_store(run: Command) -> None:
    found = json.loads(good(run, "span", "--json"))
    (span,) = found["measures"]
    rows = {
        row["group"]: row
        for row in json.loads(run("table", "span", "--by", "period", "--json").stdout)
    }
    assert {cell["period"] for cell in span["cells"]} == set(rows)
    for cell in span["cells"]:
        row = rows[cell["period"]]
        assert (cell["works"], cell["units"]) == (row["works"], row["units"])
        assert cell["median"] == pytest.approx(row["p50"], abs=1e-3)
    assert sum(period["works"] for period in found["periods"]) == found["works"]


def test_figures_are_those_of_composer_means_by_other_means(
    run: Command, in_home: Path
) -> None:
    """Means by SQL, tau and delta by counting pairs; `test_effects` has the slope."""
    (span,) = json.loads(good(run, "span", "--json"))["measures"]
    with open_reference() as reference:
        by_year = reference.fetch_columns(
            "SELECT avg(year) AS year, avg(span) AS span FROM matrix "
            "WHERE period IS NOT NULL AND span IS NOT NULL GROUP BY unit"
        )
        by_period = reference.fetch_columns(
            "SELECT period, avg(span) AS span FROM matrix "
            "WHERE period IS NOT NULL AND span IS NOT NULL GROUP BY unit, period"
        )
    points = list(zip(by_year["year"], by_year["span"], strict=True))
    pairs = [
        np.sign(one[0] - two[0]) * np.sign(one[1] - two[1])
        for one, two in itertools.combinations(points, 2)
    ]
    assert span["trend"]["units"] == [len(points)]
    assert span["trend"]["value"] == pytest.approx(sum(pairs) / len(pairs))
    assert span["pairs"]
    for pair in span["pairs"]:
        first, second = (by_period["span"][by_period["period"] == p] for p in pair["periods"])
        counted = [np.sign(late - early) for early in first for late in second]
        assert pair["value"] == pytest.approx(sum(counted) / len(counted))
        assert pair["units"] == [len(first), len(second)]


def test_one_ensemble_only(run: Command) -> None:
    found = json.loads(good(run, "span", "--ensemble", "choir", "--json"))
    assert {e for period in found["periods"] for e in period["ensembles"]} == {"choir"}
    assert "works for choir with a period" in " ".join(good(run, "--ensemble", "choir").split())


def test_rows(run: Command) -> None:
    rows = list(csv.DictReader(io.StringIO(good(run, "span", "travel", "--csv"))))
    assert {row["measure"] for row in rows} == {"span", "travel"}
    medians = [row for row in rows if row["result"] == "median"]
    assert all(float(row["value"]) > 0 and int(row["works"]) > 0 for row in medians)


def test_half_and_double_bars_are_in_the_store(run: Command) -> None:
    found = json.loads(good(run, "movement_bar", "--json"))
    trend = found["measures"][0]["trend"]
    repeated = {check["name"]: check for check in trend["checks"]}
    assert repeated["half"]["value"] is not None
    assert repeated["double"]["units"] == repeated["half"]["units"] == trend["units"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["spn"], "did you mean span"),
        (["romantik"], "did you mean romantic"),
        (["--ensemble", "chior"], "did you mean choir"),
        (["--csv", "--json"], "are forms of one answer; choose one"),
    ],
)
def test_a_wrong_word_is_one_line_and_code_2(
    run: Command, arguments: list[str], said: str
) -> None:
    done = run("periods", *arguments)
    assert done.returncode == 2
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert said in done.stderr


def test_works_without_dates_are_said_to_be_so(tmp_path: Path) -> None:
    env = {"CORPUSREG_HOME": str(tmp_path)}
    assert command(["extract", PIECES, "--workers", "1"], env).returncode == 0
    done = command(["periods", "span"], env)
    assert (done.returncode, done.stderr) == (0, "")
    assert "8 without a period are left out" in " ".join(done.stdout.split())
    assert "Nothing can be compared." in done.stdout
    found = json.loads(command(["periods", "--json"], env).stdout)
    assert (found["works"], found["around"], found["tests"]) == (0, 8, 0)
