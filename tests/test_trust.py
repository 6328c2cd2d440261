"""Tables of trust in the guide are what the command found, and what it finds can fail."""

from __future__ import annotations

import csv
import json
import sys
from dataclasses import replace

import numpy as np
import pytest
from conftest import ROOT

from corpusreg.norms.reference import LEAST, Cohort, Rung, unreliable

sys.path.insert(0, str(ROOT / "reports"))

import norm_models
import trust
import trust_tables


def test_the_guide_and_the_data_have_what_the_command_found() -> None:
    found = json.loads(trust.RESULT.read_text("utf-8"))
    begins, ends = trust_tables.SUMMARY
    guide = trust.GUIDE.read_text("utf-8")
    assert guide.split(begins)[1].split(ends)[0] == trust_tables.summary(found)
    readme = trust.README.read_text("utf-8")
    assert readme.split(begins)[1].split(ends)[0] == trust_tables.in_short(found)
    page = trust.GUIDE.with_name(trust_tables.PAGE)
    assert page.read_text("utf-8") == trust_tables.page(found)
    assert trust.RELIABILITY.read_text("utf-8") == trust_tables.reliability(found)


def test_a_measure_is_unreliable_below_the_threshold_and_only_where_that_is_known() -> None:
    rows = list(csv.DictReader(trust.RELIABILITY.read_text("utf-8").splitlines()))
    for medium in trust.MEDIA:
        low = {
            row["measure"]
            for row in rows
            if row["ensemble"] == medium and float(row["reliability"]) < LEAST
        }
        assert unreliable(medium) == low
    assert unreliable("serpent trio") == frozenset()


def dense(slope: float) -> Cohort:
    """Works by thirty composers in three collections; the value grows with the density."""
    draw = np.random.default_rng(3)
    unit = np.repeat(np.arange(30), 8)
    voices = draw.uniform(2, 6, len(unit))
    value = (
        slope * np.log(voices) + draw.normal(0, 0.3, 30)[unit] + draw.normal(0, 0.3, len(unit))
    )
    return Cohort(
        rung=Rung({"ensemble": "piano"}, "piano"), unit=unit, values={"span": value},
        bars=draw.uniform(40, 160, len(unit)), voices=voices, composers=30, sources=0,
        collections=3, collection=np.array([f"c{each % 3}" for each in unit], object),
        period=np.full(len(unit), None, object),
    )  # fmt: skip


def test_a_model_wins_where_density_tells_and_nowhere_else() -> None:
    year = np.full(240, np.nan)
    planted = norm_models.compare(dense(3.0), year, "span")
    assert planted["composers"]["loss"][2] < -25
    assert planted["kernel_density"]["loss"][2] < -10
    idle = norm_models.compare(dense(0.0), year, "span")
    assert abs(idle["composers"]["loss"][0]) < 12 and idle["kernel"]["loss"] == [0, 0, 0]
    assert max(each["even"] for each in (planted["composers"], idle["kernel"])) < 0.2


def test_intervals_that_are_too_narrow_would_be_found(monkeypatch: pytest.MonkeyPatch) -> None:
    cohort = dense(0.0)
    assert trust.within(cohort, "span")["within"] > 0.88
    sure = trust.logit_of
    monkeypatch.setattr(
        trust,
        "logit_of",
        lambda *args: replace(sure(*args), variance=sure(*args).variance / 16),
    )
    assert trust.within(cohort, "span")["within"] < 0.75
