"""The queries that ship: headers against statements, and answers worked out by hand."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pytest
from batch_work import row

from corpusreg import store
from corpusreg.building.finish import finishing
from corpusreg.measures import definitions
from corpusreg.store import sql
from corpusreg.system.errors import UsageError

QUERIES = {query.name: query for query in sql.listed()}

# An invented corpus of six works by two composers and a tune book; the last is a copy.
#   work   unit  period     ensemble  bars  lowest-highest  span  shift_rate  hollow_share
WORKS = [
    ("a1", "ann", "romantic", "piano", 100, 30, 90, 60.0, 10.0, 0.2),
    ("a2", "ann", "romantic", "piano", 50, 40, 80, 40.0, 0.0, 0.4),
    ("a3", "ann", "romantic", "piano", 80, 36, 86, 50.0, 6.0, 0.6),
    ("b1", "ben", "romantic", "choir", 60, 45, 75, 30.0, 2.0, 0.0),
    ("t1", "tune book", "baroque", "solo melody", 16, 60, 74, 14.0, None, None),
    ("copy", "ben", "romantic", "choir", 60, 45, 75, 30.0, 2.0, 0.0),
]
YEARS = {"a1": 1841, "a2": 1848, "a3": 1852, "b1": 1845, "t1": None, "copy": 1845}


def invented() -> dict[str, list[tuple[Any, ...]]]:
    rows: dict[str, list[tuple[Any, ...]]] = {table: [] for table in store.EXTRACTED}
    for name, unit, period, ensemble, bars, low, high, *values in WORKS:
        work = f"c:book.abc#{name}"
        rows["works"].append(
            row(
                "works",
                work=work,
                corpus="c",
                path="book.abc",
                number=name,
                content="h",
                collection=unit,
                title=f"Piece {name}",
                composer_name=None if unit == "tune book" else unit.title(),
                unit=unit,
                year=YEARS[name],
                period=period,
                ensemble=ensemble,
                tier="open",
                bars=bars,
                lowest=low,
                highest=high,
                same_as="c:book.abc#b1" if name == "copy" else None,
            )
        )
        for measure, value in zip(("span", "shift_rate", "hollow_share"), values, strict=True):
            reason = "too short to place" if value is None else None
            rows["measures"].append((work, measure, value, reason))
        compass = {"lowest": low, "highest": high, "mean_pitch": (low + high) / 2}
        part = row("parts", work=work, part=0, instrument=ensemble, notes=100, **compass)
        rows["parts"].append(part)
        cello = row("parts", work=work, part=1, instrument="cello", notes=50, mean_pitch=low)
        rows["parts"].append(cello)
        rows["part_pitches"] += [(work, 0, low, 25), (work, 0, 60, 75), (work, 1, low, 50)]
        rows["steps"] += [(work, 0, 2, 30), (work, 0, -2, 60), (work, 0, 12, 9)]
        rows["steps"].append((work, 1, -1, 49))
        rows["skips"] += [(work, 0, "away", 6, 2, 1), (work, 0, "toward", 2, bars // 10, 0)]
        rows["part_gaps"].append((work, 0, 1, 40, bars / 10, 0.25))
        rows["bass_gaps"] += [(work, low, 20, 10), (work, 50, 10, 30)]
        rows["phrases"] += [(work, 0, 4, 60.0, 64.0, 62.0), (work, 1, 3, 64.0, 62.0, 60.0)]
        rows["phrases"].append((work, 2, 2, 60.0, None, 62.0))
        rows["band_weights"] += [(work, 3, 0.25), (work, 4, 0.75)]
        filled = {"peak": 0.9, "mean": 0.5, "saturated": True}
        rows["saturation"].append(row("saturation", work=work, band=3, **filled))
        for number, (part, kind) in enumerate(
            [(None, "shift"), (None, "gap"), (1, "pedal_point")]
        ):
            event = {"event": number, "kind": kind, "position": 3, "bar": "4", "low": 24}
            span = {"played_first": 3, "played_last": 5, "bars": 2.0, "strength": float(bars)}
            rows["events"].append(row("events", work=work, part=part, **event, **span))
        rows["pitch_weights"] += [(work, low, 0.25, 25), (work, 60, 0.75, 75)]
        stay = {"part": None, "stay": 1, "first": 0, "last": bars // 2, "start_bar": "1"}
        rows["stays"].append(
            row(
                "stays",
                work=work,
                **stay,
                end_bar=str(bars // 2),
                bars=bars // 2,
                low=50.0,
                high=60.0,
                width="narrow",
                bands=[3, 4],
                rank=1,
            )
        )
        rows["shifts"].append(
            row(
                "shifts",
                work=work,
                shift=1,
                position=bars // 2,
                bar=str(bars // 2 + 1),
                size=float(bars) / 10,
                direction="up",
                by="mass",
                at_section=True,
                clear=True,
                counted=True,
            )
        )
    rows["failures"] = [
        ("c", "book.abc", number, "h", "read", f"book.abc: bar {bar} has no end")
        for number, bar in (("x", 3), ("y", 15))
    ]
    return rows


@pytest.fixture(scope="module")
def reference(tmp_path_factory: pytest.TempPathFactory) -> store.Reference:
    folder = tmp_path_factory.mktemp("queries")
    shards = store.Shards(folder / "shards", store.Recipe(definitions.VERSION, "test"))
    shards.add("c", "book.abc", "h", invented())
    shards.flush()
    doubt = {"left_out": [("c:book.abc#b1", "span", "A0 in the cello")]}
    path = store.publish(shards, [("c", "book.abc", "h")], folder=folder, tables=doubt)
    return store.Reference(path)


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory) -> store.Reference:
    """The same corpus, but two tunes more in the book, one of them with a composer."""
    rows = invented()
    for number, (id_, name) in {"t2": ("cat", "Cat"), "t3": (None, None)}.items():
        work = f"c:book.abc#{number}"
        tune = dict(zip(store.columns("works"), rows["works"][4], strict=True))
        tune |= {"work": work, "number": number, "composer": id_, "composer_name": name}
        tune["bars"] = 1 if name is None else 16
        event = {"work": work, "event": 0, "kind": "isolated", "position": 0, "bar": "1"}
        rows["events"].append(row("events", **event, bars=5.0, strength=100.0))
        rows["works"].append(row("works", **tune))
        rows["measures"] += [(work, "span", 16.0, None), (work, "shift_rate", 4.0, None)]
    folder = tmp_path_factory.mktemp("signed")
    shards = store.Shards(folder / "shards", store.Recipe(definitions.VERSION, "test"))
    shards.add("c", "book.abc", "h", rows)
    shards.flush()
    return store.Reference(store.publish(shards, [("c", "book.abc", "h")], folder=folder))


def answer(reference: store.Reference, name: str, **given: object) -> list[dict[str, Any]]:
    query = QUERIES[name]
    result = reference.query(query.text, query.values(given))
    return [dict(zip(result.names, values, strict=True)) for values in result.rows]


def values_for(query: sql.Query) -> dict[str, object]:
    """Values for the parameters that have no default."""
    given: dict[str, object] = {
        "work": "c:book.abc#a1",
        "value": 30.0,
        "measure": "span",
        "ensemble": "piano",
    }
    needed = {p.name for p in query.parameters if p.default is None}
    return query.values({name: given[name] for name in needed})


def test_there_are_at_least_ten() -> None:
    assert len(QUERIES) >= 10


@pytest.mark.parametrize("name", QUERIES)
def test_a_header_says_what_the_statement_returns(
    reference: store.Reference, name: str
) -> None:
    query = QUERIES[name]
    rows = reference.query(f"DESCRIBE {query.text}", values_for(query)).rows
    described = [(row[0], row[1]) for row in rows]
    assert [(column.name, column.type) for column in query.columns] == described
    used = set(re.findall(r"\$(\w+)", re.sub(r"--.*", "", query.text)))
    assert {parameter.name for parameter in query.parameters} == used


@pytest.mark.parametrize("name", QUERIES)
def test_a_header_is_a_question_with_units(name: str) -> None:
    query = QUERIES[name]
    assert query.title.endswith("?")
    for entry in query.columns:
        if entry.type in ("INTEGER", "BIGINT", "DOUBLE"):
            assert re.search(r"\[.+\]", entry.words), f"{name}: {entry.name} has no unit"


@pytest.mark.parametrize("name", QUERIES)
def test_a_query_has_rows_on_the_invented_works(reference: store.Reference, name: str) -> None:
    query = QUERIES[name]
    # What would leave out an invented corpus of six works.
    small = {"least": 1, "below": 36}
    names = {parameter.name for parameter in query.parameters}
    values = values_for(query) | {name: small[name] for name in small if name in names}
    assert reference.query(query.text, values).rows


def test_queries_run_on_an_empty_reference(tmp_path: Path) -> None:
    shards = store.Shards(tmp_path / "shards", store.Recipe(definitions.VERSION, "test"))
    with store.Reference(store.publish(shards, [], folder=tmp_path)) as empty:
        for query in QUERIES.values():
            assert empty.query(query.text, values_for(query)).rows == [], query.name


def test_span_counts_each_composer_once(reference: store.Reference) -> None:
    baroque, romantic = answer(reference, "span_by_period")
    assert (baroque["period"], baroque["works"], baroque["middle"]) == ("baroque", 1, 14.0)
    # Ann's median is 50, Ben's 30; the copy does not count.
    assert (romantic["works"], romantic["composers"], romantic["middle"]) == (4, 2, 40.0)
    assert (romantic["low_quarter"], romantic["high_quarter"]) == (35.0, 45.0)
    (only,) = answer(reference, "span_by_period", ensemble="choir")
    assert (only["works"], only["middle"]) == (1, 30.0)


def test_longest_stays_come_with_bars_and_share(reference: store.Reference) -> None:
    rows = answer(reference, "longest_stays", rows=2)
    assert [row["work"] for row in rows] == ["c:book.abc#a1", "c:book.abc#a3"]
    assert (rows[0]["start_bar"], rows[0]["end_bar"], rows[0]["share"]) == ("1", "50", 0.5)
    assert answer(reference, "longest_stays", width="wide") == []


def test_shift_rates_leave_out_what_has_none(reference: store.Reference) -> None:
    (ann,) = answer(reference, "shift_rate_by_composer")
    assert ann == {
        "composer": "Ann",
        "works": 3,
        "middle": 6.0,
        "highest": 10.0,
        "still": pytest.approx(1 / 3),
    }
    rows = answer(reference, "shift_rate_by_composer", least=1)
    assert [row["composer"] for row in rows] == ["Ann", "Ben"]


def test_extremes_of_a_measure(reference: store.Reference) -> None:
    rows = answer(reference, "extremes", rows=1)
    assert [(row["place"], row["value"], row["unit"]) for row in rows] == [
        ("lowest", 14.0, "semitones"),
        ("highest", 60.0, "semitones"),
    ]
    rates = answer(reference, "extremes", measure="shift_rate", rows=9)
    assert [row["value"] for row in rates] == [0.0, 2.0, 6.0, 10.0]


def test_register_use_sums_to_one_in_each_period(reference: store.Reference) -> None:
    rows = answer(reference, "register_use_by_period")
    assert [(row["period"], row["band"], row["share"]) for row in rows] == [
        ("baroque", 3, 0.25),
        ("baroque", 4, 0.75),
        ("romantic", 3, 0.25),
        ("romantic", 4, 0.75),
    ]


def test_bass_by_decade(reference: store.Reference) -> None:
    rows = answer(reference, "bass_by_decade")
    # 1840s: Ann's median of 30 and 40 is 35, Ben's is 45.
    assert [(row["decade"], row["usual_bass"], row["lowest"]) for row in rows] == [
        (1840, 40.0, 30),
        (1850, 36.0, 36),
    ]


def test_thin_cohorts_say_why(reference: store.Reference) -> None:
    rows = {row["ensemble"]: row for row in answer(reference, "thin_cohorts", enough=1)}
    assert rows["piano"]["works"] == 3
    assert rows["piano"]["thin"] is True, "a single collection"
    assert rows["choir"]["works"] == 1, "the copy does not count"


def test_coverage_counts_each_ensemble_by_period_and_in_all(reference: store.Reference) -> None:
    rows = answer(reference, "coverage", works=3, composers=1)
    for ensemble in {each["ensemble"] for each in rows}:
        own = {each["period"]: each for each in rows if each["ensemble"] == ensemble}
        whole = own.pop("all")
        assert whole["works"] == sum(each["works"] for each in own.values())
        assert whole["composers"] >= max(each["composers"] for each in own.values())
    by_ensemble = {each["ensemble"]: each for each in rows if each["period"] == "all"}
    assert by_ensemble["piano"]["works"] == 3
    assert by_ensemble["piano"]["enough"] is True
    assert by_ensemble["choir"]["works"] == 1, "the copy does not count"
    assert by_ensemble["choir"]["enough"] is False


def test_failures_are_gathered_by_reason(reference: store.Reference) -> None:
    (row,) = answer(reference, "failures_by_reason")
    assert (row["reason"], row["failures"]) == ("the file: bar N has no end", 2)


def test_copies_name_the_one_that_counts(reference: store.Reference) -> None:
    (row,) = answer(reference, "copies")
    assert (row["counts"], row["copy"]) == ("c:book.abc#b1", "c:book.abc#copy")
    assert answer(reference, "copies", across=True) == []


def test_what_is_left_out_of_norms_says_why(tmp_path: Path) -> None:
    """A cello on A0 makes a piece as wide as it is; a choir on the same note does not exist."""
    rows = invented()
    work = "c:book.abc#b1"
    names = list(store.columns("parts"))
    for table, number in (("works", 3), ("parts", 7)):
        changed = dict(zip(store.columns(table), rows[table][number], strict=True))
        assert changed["work"] == work
        rows[table][number] = row(table, **changed | {"lowest": 21})
    assert rows["parts"][7][names.index("instrument")] == "cello"
    shards = store.Shards(tmp_path / "shards", store.Recipe(definitions.VERSION, "test"))
    shards.add("c", "book.abc", "h", rows)
    shards.flush()
    path = store.publish(
        shards, [("c", "book.abc", "h")], folder=tmp_path, finish=finishing(["open"])
    )
    with store.Reference(path) as found:
        (told,) = answer(found, "left_out")
        assert (told["work"], told["measure"], told["value"]) == (work, "span", 30.0)
        assert "A0" in told["reason"]
        spans = found.fetch_columns("SELECT work, span, shift_rate FROM matrix ORDER BY work")
    (place,) = (spans["work"] == work).nonzero()[0]
    assert np.isnan(spans["span"][place])
    assert spans["shift_rate"][place] == 2.0


def test_one_work_is_told_in_order(reference: store.Reference) -> None:
    rows = answer(reference, "one_work", work="c:book.abc#a1")
    kinds = [row["about"] for row in rows]
    assert list(dict.fromkeys(kinds)) == ["work", "part", "measure", "stay", "shift"]
    told = {(row["about"], row["name"]): row["value"] for row in rows}
    assert told["work", "compass"] == "30-90 (MIDI)"
    assert told["measure", "span"] == "60.0 semitones"
    assert told["stay", "bars 1-50"] == "narrow, 50.0-60.0 (MIDI), rank 1"
    assert told["shift", "bar 51"] == "up, 10.0 semitones, by mass"
    assert told["work", "years"] == ""


def test_part_ranges(reference: store.Reference) -> None:
    (row,) = answer(reference, "part_ranges", instrument="piano", least=3)
    assert (row["parts"], row["composers"], row["lowest"], row["highest"]) == (3, 1, 30, 90)
    # Of 30, 36 and 40 a tenth of the way: 30 + 0.2 x 6.
    assert row["usual_low"] == pytest.approx(31.2)


def test_largest_shifts(reference: store.Reference) -> None:
    row = answer(reference, "largest_shifts")[0]
    assert (row["work"], row["bar"], row["size"], row["by"]) == (
        "c:book.abc#a1",
        "51",
        10.0,
        "mass",
    )


def test_hollow_by_ensemble(reference: store.Reference) -> None:
    piano, choir = answer(reference, "hollow_by_ensemble")
    assert piano["hollow"] == pytest.approx(0.4)
    assert (choir["hollow"], choir["hollow_at_all"], choir["works"]) == (0.0, 0.0, 1)


def test_pitch_centre_counts_notes(reference: store.Reference) -> None:
    rows = {row["collection"]: row for row in answer(reference, "pitch_centre_by_collection")}
    # Ann: 25 notes at 30, 40 and 36, and 225 at 60; none of the low ones from 43 up.
    assert rows["ann"]["mean"] == pytest.approx((25 * (30 + 40 + 36) + 225 * 60) / 300)
    assert rows["ann"]["inside"] == pytest.approx(0.75)
    assert rows["ben"]["notes"] == 100


def test_characteristic_range_is_the_shortest_that_holds_enough(
    reference: store.Reference,
) -> None:
    # Ann's piano: 25 notes each at 30, 36 and 40, and 225 at 60, of 300.
    (row,) = answer(reference, "characteristic_range", instrument="piano", share=0.75)
    assert (row["low"], row["high"], row["width"], row["share"]) == (60, 60, 0, 0.75)
    (row,) = answer(reference, "characteristic_range", instrument="piano", share=0.8)
    assert (row["low"], row["high"], row["works"], row["notes"]) == (40, 60, 3, 300)


def test_fullest_range_is_found_or_asked_for(reference: store.Reference) -> None:
    (row,) = answer(reference, "fullest_range", instrument="piano")
    assert (row["low"], row["high"], row["share"]) == (60, 72, 0.75)
    (row,) = answer(reference, "fullest_range", instrument="piano", low=30)
    assert (row["low"], row["high"], row["share"]) == (30, 42, 0.25)


def test_spacing_of_parts_counts_onsets(reference: store.Reference) -> None:
    (row,) = answer(reference, "spacing_of_parts", ensemble="piano")
    assert (row["upper"], row["lower"], row["works"], row["onsets"]) == (
        "piano",
        "cello",
        3,
        120,
    )
    assert row["mean"] == pytest.approx((10 + 5 + 8) / 3)
    assert row["over_octave"] == pytest.approx(0.25)


def test_a_gap_that_narrows_as_the_bass_rises(reference: store.Reference) -> None:
    (row,) = answer(reference, "gap_above_bass", collections="^ben$")
    assert (row["rho"], row["onsets"], row["mean_gap"]) == (pytest.approx(-1), 40, 12.5)


def test_phrase_shapes_leave_out_what_has_no_middle(reference: store.Reference) -> None:
    rows = answer(reference, "phrase_shapes")
    assert [(row["shape"], row["phrases"], row["share"]) for row in rows] == [
        ("convex", 5, 0.5),
        ("descending", 5, 0.5),
    ]
    assert answer(reference, "phrase_shapes", without="book") == []


def test_what_follows_skips_counts_every_composer_once(reference: store.Reference) -> None:
    """Away: all turn in 6 of 8. Toward: ann in 6 of 29, ben in 2 of 8; the copy is left out."""
    away, toward = answer(reference, "after_skips", least=8)
    assert (away["place"], away["skips"], away["units"], away["turning"]) == (
        "away",
        40,
        3,
        0.75,
    )
    assert (toward["skips"], toward["units"]) == (37, 2)
    assert toward["turning"] == pytest.approx((6 / 29 + 2 / 8) / 2)


def test_weighted_quantiles_count_every_composer_once(reference: store.Reference) -> None:
    """Spans 60, 40, 50 by ann (a third each) and 14 from the tune book; ben's is left out."""
    rows = answer(reference, "weighted_quantiles", measure="span")
    assert [row["share"] for row in rows] == [0.1, 0.25, 0.5, 0.75, 0.9]
    middles = [0.25, 0.5 + 1 / 12, 0.75, 1 - 1 / 12]
    expected = np.interp([row["share"] for row in rows], middles, [14, 40, 50, 60])
    assert [row["value"] for row in rows] == pytest.approx(expected.tolist())
    assert all(row["low"] <= row["value"] <= row["high"] for row in rows)
    assert {(row["works"], row["units"]) for row in rows} == {(4, 2)}


def test_a_composer_of_few_works_is_drawn_toward_the_others(
    reference: store.Reference,
) -> None:
    """Shifts of ann: 10, 0 and 6; alone among pianists she is drawn to herself."""
    (ann,) = answer(reference, "composers_of_a_medium", measure="shift_rate", ensemble="piano")
    assert (ann["composer"], ann["works"]) == ("Ann", 3)
    assert ann["mean"] == pytest.approx(16 / 3)


def test_a_query_of_ones_own_needs_no_header(tmp_path: Path) -> None:
    path = tmp_path / "own.sql"
    path.write_text("SELECT $n + 1 AS more, $word AS word -- not $this, nor '$that'")
    own = sql.find(str(path))
    assert own.values({"n": "4", "word": "x"}) == {"n": 4, "word": "x"}
    with pytest.raises(UsageError, match="needs a value for n"):
        own.values({"word": "x"})


def test_rising_intervals_by_size_and_kind(reference: store.Reference) -> None:
    second, octave = answer(reference, "rising_intervals", instrument="choir")
    assert (second["size"], second["times"], second["kind"]) == (2, 90, "small")
    assert second["rising"] == pytest.approx(1 / 3)
    assert (octave["size"], octave["rising_of_kind"], octave["times_of_kind"]) == (12, 1, 9)
    both = answer(reference, "rising_intervals", ensemble="choir")[0]
    assert (both["size"], both["times_of_kind"]) == (1, 49 + 90)


def test_activity_counts_an_onset_once(reference: store.Reference) -> None:
    piano, cello = answer(reference, "activity_of_parts", ensemble="piano")
    assert (piano["instrument"], piano["onsets"], cello["onsets"]) == ("piano", 300, 150)
    assert piano["rate"] == pytest.approx(300 / 230)


def test_notes_beyond_a_limit_name_their_works(reference: store.Reference) -> None:
    (row,) = answer(reference, "beyond_a_limit", instrument="piano", below=36)
    assert (row["work"], row["pitch"], row["notes"]) == ("c:book.abc#a1", 30, 25)


def test_behind_a_percentile_composers_weigh_the_same(reference: store.Reference) -> None:
    (row,) = answer(reference, "behind_a_percentile", value=31, rows=1)
    # The tune book's 14 weighs a third, Ben's 30 a third, and Ann's three a ninth each.
    assert (row["work"], row["value"]) == ("c:book.abc#b1", 30.0)
    assert (row["percentile"], row["weight"]) == (pytest.approx(50), pytest.approx(1 / 3))
    rows = answer(reference, "behind_a_percentile", value=60, rows=2, ensemble="piano")
    assert [row["value"] for row in rows] == [50.0, 60.0]
    assert [row["percentile"] for row in rows] == pytest.approx([50, 500 / 6])


def test_works_of_a_cell_add_up_to_one(reference: store.Reference) -> None:
    rows = answer(reference, "works_of_cell", period="romantic")
    assert [(row["composer"], row["value"]) for row in rows] == [
        ("Ann", 40.0),
        ("Ann", 50.0),
        ("Ann", 60.0),
        ("Ben", 30.0),
    ]
    assert [row["weight"] for row in rows[:3]] == pytest.approx([1 / 3] * 3)
    assert (rows[3]["weight"], rows[3]["reason"]) == (None, "A0 in the cello")
    rates = answer(reference, "works_of_cell", measure="shift_rate", period="romantic")
    assert sorted(row["weight"] for row in rates) == pytest.approx([1 / 6, 1 / 6, 1 / 6, 1 / 2])
    (row,) = answer(reference, "works_of_cell", measure="shift_rate", composer="tune book")
    assert (row["value"], row["reason"], row["weight"]) == (None, "too short to place", None)


def test_composers_of_a_cell(reference: store.Reference) -> None:
    (ann,) = answer(reference, "composers_of_cell", period="romantic")
    assert (ann["composer"], ann["works"], ann["middle"]) == ("Ann", 3, 50.0)
    _, ben = answer(reference, "composers_of_cell", measure="shift_rate", period="romantic")
    assert (ben["composer"], ben["collections"]) == ("Ben", ["ben"])


def test_bars_of_a_work_are_printed_ones(reference: store.Reference) -> None:
    stay, gap, pedal, shift = answer(reference, "bars_of_work", work="c:book.abc#a1")
    assert (stay["about"], stay["start_bar"], stay["end_bar"]) == ("stay", "1", "50")
    assert stay["words"] == "narrow, rank 1"
    assert (shift["about"], shift["start_bar"], shift["size"]) == ("shift", "51", 10.0)
    assert shift["words"] == "up, by mass, at a section, clear, counted"
    assert (gap["about"], gap["part"], gap["start_bar"]) == ("gap", None, "4")
    assert (pedal["about"], pedal["part"], pedal["bars"]) == ("pedal_point", "part 2", 2)


def test_works_of_an_octave(reference: store.Reference) -> None:
    rows = answer(reference, "works_of_octave", band=3, period="romantic")
    # In the order of their ids, since all have a quarter of their sound there.
    assert [row["work"][-2:] for row in rows] == ["a1", "a2", "a3", "b1"]
    assert {(row["share"], row["peak"], row["saturated"]) for row in rows} == {
        (0.25, 0.9, True)
    }
    assert answer(reference, "works_of_octave", band=3, period="none") == []


def test_strongest_events_of_the_whole_or_of_parts(reference: store.Reference) -> None:
    rows = answer(reference, "strongest_events", rows=2)
    assert [(row["work"][-2:], row["strength"]) for row in rows] == [("a1", 100), ("a3", 80)]
    assert {(row["kind"], row["part"], row["bar"]) for row in rows} == {("shift", None, "4")}
    assert answer(reference, "strongest_events", parts=True) == []
    (row,) = answer(reference, "strongest_events", kind="pedal_point", parts=True, rows=1)
    assert (row["part"], row["low"], row["high"]) == ("part 2", 24, None)


def test_parts_of_works_are_the_widest_first(reference: store.Reference) -> None:
    (row,) = answer(reference, "parts_of_works", instrument="piano", rows=1)
    assert (row["work"], row["lowest"], row["highest"]) == ("c:book.abc#a1", 30, 90)
    assert (row["gap_below"], row["rising"]) == (10.0, pytest.approx(1 / 3))


def test_heights_by_period(reference: store.Reference) -> None:
    # Ann: 25 notes at 30, 36 and 40 each, a twelfth of all, and 225 at 60.
    (piano,) = answer(reference, "heights_by_period", instrument="piano", least=1)
    assert (piano["works"], piano["composers"], piano["notes"]) == (3, 1, 300)
    heights = [piano[name] for name in ("lowest", "low", "middle", "high", "highest")]
    assert heights == [30, 36, 60, 60, 60]
    rows = answer(reference, "heights_by_period", least=1)
    assert [(row["instrument"], row["works"]) for row in rows] == [
        ("cello", 1),
        ("cello", 4),
        ("choir", 1),
        ("piano", 3),
        ("solo melody", 1),
    ]


def test_heights_count_each_composer_once(tmp_path: Path) -> None:
    """Nine hundred low notes by one composer weigh as much as one high note by another."""
    rows: dict[str, list[tuple[Any, ...]]] = {table: [] for table in store.EXTRACTED}
    for number, (unit, pitch, notes) in enumerate([("ann", 60, 900), ("ben", 84, 1)]):
        work = f"c:book.abc#{number}"
        facts = {"corpus": "c", "path": "book.abc", "number": str(number), "content": "h"}
        facts |= {"title": work, "unit": unit, "period": "baroque", "tier": "open"}
        rows["works"].append(row("works", work=work, **facts))
        rows["parts"].append(row("parts", work=work, part=0, instrument="flute", notes=notes))
        rows["part_pitches"].append((work, 0, pitch, notes))
    shards = store.Shards(tmp_path / "shards", store.Recipe(definitions.VERSION, "test"))
    shards.add("c", "book.abc", "h", rows)
    shards.flush()
    path = store.publish(shards, [("c", "book.abc", "h")], folder=tmp_path)
    with store.Reference(path) as reference:
        (flute,) = answer(reference, "heights_by_period", least=2)
    assert (flute["middle"], flute["high"], flute["composers"]) == (60, 84, 2)


def test_a_source_is_never_called_by_one_of_its_composers(signed: store.Reference) -> None:
    """Three tunes of a book, one by Cat, are not three tunes by Cat."""
    found = {row["composer"]: row["works"] for row in answer(signed, "composers_of_cell")}
    assert found == {"Ann": 3, "Ben": 1, "tune book": 3}
    rates = answer(signed, "shift_rate_by_composer", least=1)
    assert {row["composer"]: row["works"] for row in rates}["tune book"] == 2
    for name, works in (("tune book", 3), ("Cat", 1), ("cat", 1)):
        rows = answer(signed, "works_of_cell", composer=name)
        assert len(rows) == works
        assert sum(row["weight"] for row in rows) == pytest.approx(1)


def test_a_score_without_barlines_has_no_strongest_events(signed: store.Reference) -> None:
    found = answer(signed, "strongest_events", kind="isolated")
    assert [each["work"] for each in found] == ["c:book.abc#t2"]


def test_what_composers_and_sources_are_called_in_pictures() -> None:
    database = duckdb.connect()
    database.execute(
        "CREATE TABLE works (work VARCHAR, composer VARCHAR, composer_name VARCHAR, "
        "collection VARCHAR, unit VARCHAR, unit_number INTEGER)"
    )
    database.executemany(
        "INSERT INTO works VALUES (?, ?, ?, ?, ?, ?)",
        [
            ("1", "ann", "Ann", "songs", "ann", 1),
            ("2", None, "Unheard-of", "songs", "name:unheard-of", 2),
            ("3", "cat", "Cat", "airs", "tunes:airs", 3),
            ("4", None, None, "airs", "tunes:airs", 3),
            ("5", "cat", "Cat", "reels", "tunes:reels", 4),
            ("6", "dan", "Dan", "reels", "tunes:reels", 4),
            ("7", None, None, "songs", "anonymous:songs", 5),
            ("8", "ann", "Ann", "songs", "A house book", 6),
            ("9", None, None, "songs", "A house book", 6),
        ],
    )
    database.execute("CREATE VIEW matrix AS SELECT work, unit, unit_number FROM works")
    database.execute(
        "CREATE TABLE corpora AS SELECT * FROM (VALUES ('songs', 'Songs'), "
        "('airs', 'Old Airs'), ('reels', 'Reels')) AS named(corpus, title)"
    )
    names = database.execute(sql.load("composer_names")).fetchall()
    called = ["Ann", "Unheard-of", "Old Airs", "Reels", "anonymous:songs", "A house book"]
    assert names == list(enumerate(called, start=1))
