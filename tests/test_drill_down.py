"""Numbers of tables led back to works and bars, on the small reference of real works."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import direct
import numpy as np
import pytest

from corpusreg import store
from corpusreg.norms.reference import weighted_quantile
from corpusreg.store import sql

SHARES = (10, 25, 50, 75, 90)


@pytest.fixture
def reference(in_home: Path) -> Iterator[store.Reference]:
    with store.open_reference() as opened:
        yield opened


def ask(reference: store.Reference, name: str, **given: object) -> list[dict[str, Any]]:
    query = sql.find(name)
    result = reference.query(query.text, query.values(given))
    return [dict(zip(result.names, values, strict=True)) for values in result.rows]


@pytest.mark.parametrize("measure", ["span", "shift_rate", "expected_dwell"])
@pytest.mark.parametrize(
    ("by", "cell"), [("period", "period"), ("ensemble", "ensemble"), ("corpus", "collection")]
)
def test_a_row_of_a_table_comes_out_of_its_works(
    reference: store.Reference, measure: str, by: str, cell: str
) -> None:
    rows = direct.table(measure, by)
    assert len(rows) > 3
    for row in rows:
        works = ask(reference, "works_of_cell", measure=measure, **{cell: row["group"]})
        counted = [work for work in works if work["weight"] is not None]
        assert len(counted) == row["works"]
        weights = np.array([work["weight"] for work in counted])
        assert weights.sum() == pytest.approx(1)
        values = np.array([work["value"] for work in counted])
        for share in SHARES:
            expected = weighted_quantile(values, weights, share / 100)
            assert row[f"p{share}"] == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize("by", ["period", "ensemble"])
def test_composers_of_a_cell_are_all_of_its_units(reference: store.Reference, by: str) -> None:
    for row in direct.table("span", by):
        found = ask(reference, "composers_of_cell", **{by: row["group"]})
        assert len(found) == row["units"]
        assert sum(each["works"] for each in found) == row["works"]


def test_the_works_of_a_composer_of_a_cell_are_found_by_that_name(
    reference: store.Reference,
) -> None:
    rows = ask(reference, "composers_of_cell")
    assert len(rows) > 10
    for row in rows:
        works = ask(reference, "works_of_cell", composer=row["composer"])
        assert len([work for work in works if work["weight"] is not None]) == row["works"]


@pytest.mark.parametrize("by", ["period", "composer", "ensemble"])
def test_works_in_no_row_are_counted(reference: store.Reference, by: str) -> None:
    ((every,),) = reference.query("SELECT count(*) FROM works WHERE same_as IS NULL").rows
    for measure in ("span", "shift_rate"):
        placed = sum(row["works"] for row in direct.table(measure, by))
        assert placed + sum(direct.ungrouped(measure, by)) == every


def test_composers_of_a_table_are_found_by_their_id(reference: store.Reference) -> None:
    for row in direct.table("span", "composer"):
        found = ask(reference, "works_of_cell", composer=row["group"])
        assert len(found) == row["works"]


def test_a_percentile_comes_out_of_the_works_behind_it(reference: store.Reference) -> None:
    every = ask(reference, "behind_a_percentile", value=0, texture="several voices", rows=9999)
    values = np.array([row["value"] for row in every])
    weights = np.array([row["weight"] for row in every])
    assert len(every) > 50
    for row in ask(reference, "behind_a_percentile", value=40, texture="several voices"):
        share = row["percentile"] / 100
        assert weighted_quantile(values, weights, share) == pytest.approx(row["value"])
        assert abs(row["value"] - 40) <= 6


def test_measures_come_out_of_the_bars_of_a_work(reference: store.Reference) -> None:
    works = ask(reference, "works_of_cell", ensemble="string quartet", measure="shift_rate")
    assert len(works) > 10
    for work in works:
        rows = ask(reference, "bars_of_work", work=work["work"])
        whole = [row for row in rows if row["part"] is None]
        shifts = [row["words"] for row in whole if row["about"] == "shift"]
        assert any("clear" in words for words in shifts)
        counted = sum(words.endswith("counted") for words in shifts)
        assert 100 * counted / work["bars"] == pytest.approx(work["value"], abs=6e-4)
        stays = np.array([row["bars"] for row in whole if row["about"] == "stay"])
        told = {
            row["name"]: row["value"] for row in ask(reference, "one_work", work=work["work"])
        }
        dwell = float(told["expected_dwell"].split()[0])
        assert dwell == pytest.approx((stays**2).sum() / stays.sum(), abs=6e-4)
        assert float(told["longest_dwell"].split()[0]) == stays.max()


def test_a_span_comes_out_of_its_parts(reference: store.Reference) -> None:
    parts = ask(reference, "parts_of_works", ensemble="string quartet", rows=9999)
    for work in ask(reference, "works_of_cell", ensemble="string quartet"):
        own = [part for part in parts if part["work"] == work["work"]]
        span = max(part["highest"] for part in own) - min(part["lowest"] for part in own)
        assert span == work["value"]
