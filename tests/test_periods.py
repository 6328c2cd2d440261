"""Periods on invented works: what is planted is found, what is only apparent does not last."""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from corpusreg.corpus.dates import period_of
from corpusreg.measures.definitions import BY_NAME, MEASURES, VERSION
from corpusreg.measures.rebar import BARS, REBARRED
from corpusreg.norms import effects
from corpusreg.norms.periods.answer import study
from corpusreg.norms.periods.results import Check, PeriodFinding, Study
from corpusreg.norms.periods.works import Works, check_words, period_rows, periods_of
from corpusreg.system.errors import UsageError
from corpusreg.text.periods import (
    COLUMNS,
    repeated_words,
    result_words,
    study_document,
    study_rows,
    study_text,
)

BAROQUE, CLASSICAL, ROMANTIC = 2, 3, 4
Floats = NDArray[np.float64]
Planted = Callable[[Works, np.random.Generator], Floats]


def invented(composers: int = 12, each: int = 6, seed: int = 1) -> Works:
    """Two periods with as many composers, two ensembles, collections and lengths in both."""
    random = np.random.default_rng(seed)
    unit = np.repeat(np.arange(2 * composers), each)
    count = len(unit)
    late = unit >= composers
    work = np.arange(count) % each
    own = random.normal(size=2 * composers)[unit] + random.normal(size=count)
    flat = dict.fromkeys(BY_NAME, own + 20)
    return Works(
        unit=unit,
        composer=np.array([f"composer {each}" for each in unit], object),
        period=np.where(late, ROMANTIC, CLASSICAL),
        year=(year := np.where(late, 1830, 1770) + 2.0 * (unit % composers)),
        first=year,
        last=year,
        ensemble=np.where(work % 2, "piano", "string quartet").astype(object),
        collection=np.array([f"edition {unit % 3}" for unit in unit], object),
        bars=np.exp(random.uniform(3.5, 5.5, size=count)),
        stated=work < 4,
        dynamics=np.ones(count, bool),
        pedal=np.zeros(count, bool),
        repeats=work % 3 == 0,
        values=flat,
        rebarred={bars: dict.fromkeys(REBARRED, own + 20) for bars in BARS},
        around=5,
        titles={"edition 0": "First Edition"},
    )


def with_span(works: Works, values: Floats) -> Works:
    return replace(works, values={**works.values, "span": values})


def late(works: Works) -> Floats:
    return (works.period == ROMANTIC).astype(float)


def pair_of(found: Study, measure: str = "span") -> PeriodFinding:
    (own,) = [each for each in found.measures if each.measure.name == measure]
    (pair,) = own.pairs
    return pair


def check_of(finding: PeriodFinding, name: str) -> Check:
    return next(check for check in finding.checks if check.name == name)


def test_nothing_planted_nothing_shown() -> None:
    found = study(invented())
    assert [each.measure.name for each in found.measures] == [m.name for m in MEASURES]
    for each in found.measures:
        assert [finding.verdict for finding in each.pairs] == ["not shown"]
    assert found.tests == found.counted == 2 * len(MEASURES)


def test_a_planted_difference_holds_in_all_repetitions() -> None:
    works = invented()
    moved = {name: values + 4 * late(works) for name, values in works.values.items()}
    other = {
        bars: {name: values + 4 * late(works) for name, values in own.items()}
        for bars, own in works.rebarred.items()
    }
    found = study(replace(works, values=moved, rebarred=other), ["shift_rate", "span"])
    assert [each.measure.name for each in found.measures] == ["shift_rate", "span"]
    rate, span = pair_of(found, "shift_rate"), pair_of(found)
    assert rate.verdict == span.verdict == "holds"
    assert not any(c.gone or c.says == "contradicts" for c in (*rate.checks, *span.checks))
    assert [c.name for c in span.checks if c.value is None] == list(BARS)
    assert rate.interval is not None and rate.interval[0] > 0
    assert rate.units == (12, 12)
    assert rate.works == len(works)
    trend = found.measures[0].trend
    assert trend is not None and trend.slope is not None
    assert trend.verdict == "holds"
    assert trend.slope[1] > 0


def test_what_is_only_the_ensembles_goes_with_them() -> None:
    """Romantic composers wrote four times as much for piano, which ranges wider."""
    works = invented()
    piano = np.arange(len(works)) % 6 > np.where(late(works) > 0, 0, 4)
    works = replace(works, ensemble=np.where(piano, "piano", "string quartet").astype(object))
    works = with_span(works, works.values["span"] + 12 * piano)
    found = pair_of(study(works, ["span"]))
    alike = check_of(found, "ensembles")
    assert found.corrected is not None and found.corrected < 0.05
    assert alike.what == ("piano", "string quartet")
    assert abs(alike.value or 0) < 0.5 * found.value
    assert alike.says != "supports"
    assert found.verdict in ("open", "contradicted")


def test_without_a_common_ensemble_it_cannot_be_told() -> None:
    works = invented()
    works = replace(works, ensemble=np.where(late(works) > 0, "piano", "choir").astype(object))
    works = with_span(works, works.values["span"] + 6 * late(works))
    found = study(works, ["span"])
    assert pair_of(found).verdict == "open"
    assert check_of(pair_of(found), "ensembles").reason == "nothing in common to compare"
    assert "It may be the change of ensembles" in study_text(found, "id")


def test_what_is_only_length_goes_with_it() -> None:
    works = invented(each=10)
    bars = works.bars * np.exp(0.8 * late(works))
    works = with_span(replace(works, bars=bars), 8 * np.log(bars) + works.values["span"])
    found = pair_of(study(works, ["span"]))
    alike = check_of(found, "length")
    assert found.value > 0.8
    assert alike.value is not None and alike.value < 0.5 * found.value
    assert alike.says == "contradicts"
    assert found.verdict == "contradicted"


def test_what_is_only_the_way_of_writing_goes_with_it() -> None:
    works = invented(each=10)
    repeats = np.arange(len(works)) % 10 < np.where(late(works) > 0, 8, 2)
    works = with_span(replace(works, repeats=repeats), works.values["span"] + 12 * repeats)
    found = pair_of(study(works, ["span"]))
    alike = check_of(found, "writing")
    assert alike.what == ("dynamics", "dynamics and repeats")
    assert alike.says != "supports"
    assert abs(alike.value or 0) < 0.5 * found.value


def test_what_only_guessed_dates_say_is_not_taken_as_it_is() -> None:
    works = invented()
    works = with_span(works, works.values["span"] + 30 * late(works) * ~works.stated)
    found = pair_of(study(works, ["span"]))
    assert check_of(found, "dates").says == "contradicts"
    assert found.verdict == "contradicted"


def test_years_that_are_sure_change_nothing_and_those_of_lives_widen_the_interval() -> None:
    works = invented()
    works = with_span(works, works.values["span"] + 1.5 * late(works))
    sure = pair_of(study(works, ["span"]))
    again = check_of(sure, "years")
    assert again.value == pytest.approx(sure.value) and again.says == "supports"
    assert again.interval == pytest.approx(sure.interval)
    # Nobody is dated: each work may be thirty years older or younger.
    lives = replace(works, first=works.year - 30, last=works.year + 30)
    unsure = check_of(pair_of(study(lives, ["span"])), "years")
    assert unsure.value is not None and again.value is not None
    assert 0 < unsure.value < again.value
    assert unsure.interval is not None and again.interval is not None
    assert np.ptp(unsure.interval) > np.ptp(again.interval)
    trend, sure_trend = (study(each, ["span"]).measures[0].trend for each in (lives, works))
    assert trend is not None and sure_trend is not None
    one, other = (check_of(each, "years") for each in (trend, sure_trend))
    assert other.value == pytest.approx(sure_trend.value)
    assert one.value is not None and other.value is not None and 0 < one.value < other.value


def test_a_year_has_the_period_of_the_table() -> None:
    years = [1400, 1419, 1420, 1599, 1750, 1819, 1820, 1990]
    names = [row["name"] for row in period_rows()]
    found = [names[place] for place in periods_of(np.array(years, float))]
    assert found == [period_of(year) for year in years]


def test_what_one_collection_makes_is_not_taken_as_it_is() -> None:
    works = invented()
    first = works.collection == "edition 0"
    period = np.where(works.unit < 12, CLASSICAL, ROMANTIC)
    # Eight of the twelve romantic composers are in that collection.
    first = first | ((period == ROMANTIC) & (works.unit % 3 == 1))
    works = replace(works, collection=np.where(first, "edition 0", "edition 2").astype(object))
    moved = {name: own + 9 * late(works) * first for name, own in works.values.items()}
    found = pair_of(study(replace(works, values=moved), ["span"]))
    weakest = check_of(found, "collections")
    assert weakest.what == ("First Edition",)
    assert weakest.gone
    assert found.verdict == "open"


@pytest.mark.parametrize("bars", BARS)
def test_what_turns_around_with_other_bars_is_not_taken_as_it_is(bars: str) -> None:
    works = invented()
    values = {**works.values, "shift_rate": works.values["shift_rate"] + 4 * late(works)}
    other = {each: dict(own) for each, own in works.rebarred.items()}
    for each in BARS:
        move = -4 if each == bars else 4
        other[each]["shift_rate"] = other[each]["shift_rate"] + move * late(works)
    found = study(replace(works, values=values, rebarred=other), ["shift_rate"])
    pair = pair_of(found, "shift_rate")
    assert (check_of(pair, bars).value or 0) < 0
    assert [c.name for c in pair.checks if c.says == "contradicts"] == [bars]
    assert pair.verdict == "contradicted"
    assert f"Contradicted with: {bars} bars" in study_text(found, "id")
    assert "turns around" in study_text(found, "id")


def test_too_few_composers_cannot_be_tested_whatever_the_values() -> None:
    works = invented()
    few = (works.unit < 4) | ((works.unit >= 12) & (works.unit < 17))
    names = list(works.__dataclass_fields__)
    chosen = {
        name: getattr(works, name)[few]
        for name in names
        if isinstance(getattr(works, name), np.ndarray)
    }
    some = replace(
        works,
        **chosen,
        values={name: values[few] for name, values in works.values.items()},
        rebarred={
            bars: {name: values[few] for name, values in own.items()}
            for bars, own in works.rebarred.items()
        },
    )
    for shift in (0, 1000):
        found = study(with_span(some, some.values["span"] + shift * late(some)), ["span"])
        pair = pair_of(found)
        assert pair.verdict == "cannot be tested"
        assert pair.smallest == pytest.approx(2 / 126)
        assert (pair.p, pair.corrected, pair.checks) == (None, None, ())
        text = study_text(found, "id")
        flat = " ".join(text.split())
        assert "classical -> romantic (4 and 5 composers, 54 works: .016)" in flat
        assert "Cannot be tested: " in flat


def test_the_correction_does_not_depend_on_what_is_asked() -> None:
    works = invented()
    works = with_span(works, works.values["span"] + 2 * late(works))
    alone, together = study(works, ["span"]), study(works)
    assert pair_of(alone).corrected == pair_of(together).corrected
    every = [f for each in together.measures for f in (*each.pairs, each.trend) if f]
    expected = effects.adjusted(np.array([f.p for f in every])).tolist()
    assert [f.corrected for f in every] == pytest.approx(expected)
    assert (alone.tests, alone.counted) == (together.tests, together.counted)


def test_composers_of_two_periods_are_counted_as_such() -> None:
    works = invented()
    period = works.period.copy()
    period[(works.unit == 0) & (np.arange(len(works)) % 2 == 0)] = ROMANTIC
    pair = pair_of(study(replace(works, period=period), ["span"]))
    assert (pair.units, pair.both) == ((12, 13), 1)
    assert "1 of them in both" in study_text(study(replace(works, period=period)), "id")


def test_a_period_of_one_collection_is_called_by_it() -> None:
    works = invented()
    collection = np.where(late(works) > 0, "edition 0", works.collection).astype(object)
    works = replace(works, collection=collection)
    works = with_span(works, works.values["span"] + 6 * late(works))
    found = study(works, ["span"])
    text = " ".join(study_text(found, "id").split())
    assert "classical -> 'First Edition' (romantic)" in text
    assert "'First Edition' (romantic) from" not in text
    check = check_of(pair_of(found), "collections")
    assert (check.says, check.reason) == (
        "cannot tell",
        "nothing to compare without 'First Edition'",
    )


def test_neighbours_are_those_that_are_there() -> None:
    works = invented()
    period = np.where(works.period == CLASSICAL, BAROQUE, works.period)
    (pair,) = study(replace(works, period=period), ["span"]).measures[0].pairs
    assert pair.periods == ("baroque", "romantic")


def test_medians_weigh_composers_equally() -> None:
    works = invented(composers=5)
    values = np.where(works.unit == 0, 100.0, 10.0 + works.unit)
    found = study(with_span(works, values), ["span"])
    cell = found.measures[0].cells[0]
    assert (cell.period, cell.units, cell.works) == ("classical", 5, 30)
    assert cell.median == pytest.approx(13)
    assert cell.interval is not None and cell.interval[0] < 13 < cell.interval[1]


def test_a_measure_that_no_work_has_is_said() -> None:
    works = invented()
    works = with_span(works, np.full(len(works), np.nan))
    found = study(works, ["span"])
    assert found.measures[0].pairs == ()
    assert found.measures[0].trend is None
    assert "No work with a period has a value." in study_text(found, "id")


def test_text_json_and_rows_say_the_same() -> None:
    works = invented()
    works = with_span(works, works.values["span"] + 4 * late(works))
    found = study(works)
    text = study_text(found, "abc123")
    assert f"Reference abc123, definitions {VERSION}: 144 works" in text
    assert text.isascii()
    assert [line for line in text.splitlines() if len(line) > 88] == []
    document = json.loads(json.dumps(study_document(found, "abc123"), allow_nan=False))
    assert document["reference"] == "abc123"
    (span,) = [each for each in document["measures"] if each["measure"]["name"] == "span"]
    pair = pair_of(found)
    assert span["pairs"][0]["value"] == pair.value
    assert span["pairs"][0]["a"] == pytest.approx((pair.value + 1) / 2)
    assert span["pairs"][0]["words"] in " ".join(text.split())
    rows = [dict(zip(COLUMNS, row, strict=True)) for row in study_rows(found)]
    (row,) = [
        row for row in rows
        if (row["measure"], row["result"], row["repeated"]) == ("span", "delta", "")
    ]  # fmt: skip
    assert (row["value"], row["low"], row["high"]) == (pair.value, *(pair.interval or ()))
    assert row["verdict"] == span["pairs"][0]["verdict"] == pair.verdict


def test_periods_follow_each_other_without_gap() -> None:
    rows = period_rows()
    for before, after in itertools.pairwise(rows):
        assert int(before["last"]) + 1 == int(after["first"])


@pytest.mark.parametrize(
    ("word", "said"),
    [
        ("spn", "no measure 'spn'; did you mean span"),
        ("romantik", "'romantik' looks like a period, not a measure; did you mean romantic"),
        ("xyzzy", "there are span, core_span"),
    ],
)
def test_a_word_that_is_no_measure_is_answered_with_the_nearest(word: str, said: str) -> None:
    with pytest.raises(UsageError) as caught:
        check_words(["span", word])
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_without_difference_few_results_are_shown() -> None:
    """The false discovery rate holds over many corpora without any difference."""
    shown = 0
    for seed in range(40):
        works = invented(composers=8, each=2, seed=100 + seed)
        random = np.random.default_rng(seed)
        own = {
            name: random.normal(size=16)[works.unit] + random.normal(size=len(works)) / 2
            for name in BY_NAME
        }
        found = study(replace(works, values=own), ["span"])
        every = [f for each in found.measures for f in (*each.pairs, each.trend) if f]
        shown += any(f.corrected is not None and f.corrected <= 0.05 for f in every)
    # 5 % in all corpora together and for one of the measures only: 2 of 40 at most expected.
    assert shown <= 4


@pytest.mark.parametrize(
    ("value", "printed", "said"),
    [
        (0.2, "0.20", "contradicts"),
        (-0.002, "0.00", "contradicts"),
        (-0.02, "-0.02", "contradicts, turns around"),
    ],
)
def test_what_is_printed_as_no_trend_does_not_turn_around(
    value: float, printed: str, said: str
) -> None:
    trend = PeriodFinding((), 0.3, None, (30,), 0, 300, 0.001, 0.01, 0.02, (), "not surviving")
    check = Check(
        "length",
        value=value,
        p=0.9,
        units=(30,),
        says="contradicts",
    )
    assert repeated_words(check, pairs=False) == printed
    assert result_words(trend, check) == said
