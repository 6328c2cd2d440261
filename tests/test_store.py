"""The store: what is loaded, what is published, what survives, what is refused."""

from __future__ import annotations

import functools
import math
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import direct
import duckdb
import numpy as np
import pytest
from batch_work import rows_of
from hypothesis import given
from hypothesis import strategies as st

from corpusreg import store
from corpusreg.measures import definitions
from corpusreg.store import tables
from corpusreg.system import settings
from corpusreg.system.errors import DataError, StoreError, UsageError

RECIPE = store.Recipe(definitions.VERSION, "test", {"order": "played"})


def filled(folder: Path, values: dict[str, float], **options) -> store.Shards:
    shards = store.Shards(folder / "shards", RECIPE, **options)
    for path, value in values.items():
        shards.add("c", path, f"hash of {path}", rows_of("c", path, value))
    shards.flush()
    return shards


def wanted(values: dict[str, float]) -> list[tuple[str, str, str]]:
    return [("c", path, f"hash of {path}") for path in values]


def published(folder: Path, values: dict[str, float], **options) -> Path:
    """A reference of these values; where there is none yet, a copy of one made before."""
    if options or (folder.exists() and any(folder.iterdir())):
        shards = filled(folder, values)
        return store.publish(shards, wanted(values), folder=folder / "reference", **options)
    made = _published(tuple(values.items()))
    shutil.copytree(made.parents[1], folder, dirs_exist_ok=True)
    return folder / "reference" / made.name


@functools.cache
def _published(values: tuple[tuple[str, float], ...]) -> Path:
    folder = Path(KEPT.name, str(_published.cache_info().currsize))
    shards = filled(folder, dict(values))
    return store.publish(shards, wanted(dict(values)), folder=folder / "reference")


KEPT = tempfile.TemporaryDirectory()
VALUES = {"a.krn": 10.0, "b.krn": 20.0, "é ü.krn": 30.5}


# Tables and rows


def test_every_table_and_column_says_what_it_is(tmp_path: Path) -> None:
    with store.Reference(published(tmp_path, VALUES)) as reference:
        silent = reference.query(
            "SELECT table_name, column_name FROM duckdb_columns() "
            "WHERE NOT internal AND comment IS NULL"
        ).rows
        assert silent == []
        count = reference.query("SELECT count(*) FROM duckdb_columns() WHERE NOT internal").rows
        assert count[0][0] > 80
        silent = reference.query(
            "SELECT table_name FROM duckdb_tables() WHERE NOT internal AND comment IS NULL"
        ).rows
        assert silent == []


def test_columns_are_those_of_the_database(tmp_path: Path) -> None:
    with store.Reference(published(tmp_path, VALUES)) as reference:
        for table in tables.EXTRACTED:
            rows = reference.query(f"DESCRIBE {table}").rows
            assert {row[0]: row[1] for row in rows} == dict(tables.columns(table))


def test_a_number_has_a_unit_unless_it_only_numbers_something(tmp_path: Path) -> None:
    with store.Reference(published(tmp_path, VALUES)) as reference:
        rows = reference.query(
            "SELECT table_name || '.' || column_name, comment FROM duckdb_columns() "
            "WHERE NOT internal AND comment NOT LIKE '%[%]%' "
            "AND data_type IN ('INTEGER', 'BIGINT', 'DOUBLE', 'TIMESTAMP', 'INTEGER[]')"
        ).rows
    bare = {
        column
        for column, comment in rows
        if not re.search(
            r"as in (parts\.part|profiles\.profile)\b|^(Number|Rank) of the|"
            r"^Place in|^1 for the",
            comment,
        )
    }
    # The one value whose unit differs from row to row.
    assert bare == {"definitions.atom"}


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, "7", True])
def test_what_is_no_finite_number_is_refused(value: object) -> None:
    with pytest.raises(DataError, match=r"measures\.value"):
        tables.checked({"measures": [("w", "span", value, None)]})


@given(st.one_of(st.floats(), st.none(), st.integers(-(10**9), 10**9)))
def test_a_number_is_stored_as_it_is_or_refused(value: float | None) -> None:
    rows = {"measures": [("w", "span", value, None)]}
    if value is None or math.isfinite(value):
        assert tables.checked(rows) == rows
    else:
        with pytest.raises(DataError):
            tables.checked(rows)


def test_scalars_of_numpy_become_plain() -> None:
    row = ("w", None, np.int64(1), np.int32(0), 4, "1", "4", 0, 4, 4)
    row += (np.float32(0.5), np.float64(2), "narrow", np.array([3, 4]), np.int16(1))
    (stay,) = tables.checked({"stays": [row]})["stays"]
    assert [type(value) for value in stay].count(int) == 7
    assert stay[10:14] == (0.5, 2.0, "narrow", [3, 4])
    assert [type(band) for band in stay[13]] == [int, int]


@pytest.mark.parametrize(
    ("table", "row", "words"),
    [
        ("measures", ("w", "span", 1.0), "3 values for 4 columns"),
        ("pitch_weights", ("w", 60.5, 1.0, 2), r"pitch_weights\.pitch: 60\.5 is no INTEGER"),
        ("nonsense", ("w",), "no table 'nonsense'"),
    ],
)
def test_rows_of_another_form_are_refused(table: str, row: tuple, words: str) -> None:
    with pytest.raises(DataError, match=words):
        tables.checked({table: [row]})


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda rows: rows["works"].append(rows["works"][0]), "two works of one id"),
        (lambda rows: rows["measures"].append(("c:other", "span", 1.0, None)), "not a work of"),
        (lambda rows: rows.update(failures=[("c", "b", "", "h", "read", "no")]), "c:b' is not"),
        (lambda rows: rows["works"].append(("c:b", *rows["works"][0][1:])), "does not belong"),
    ],
)
def test_rows_of_another_file_are_refused(tmp_path: Path, change, words: str) -> None:
    shards = filled(tmp_path, {})
    rows = rows_of("c", "a", 1.0)
    change(rows)
    with pytest.raises(DataError, match=words):
        shards.add("c", "a", "h", rows)
    assert shards.missing([("c", "a", "h")]) == [("c", "a", "h")]


def test_text_that_is_no_unicode_is_escaped_and_kept(tmp_path: Path) -> None:
    name = "caf\udce9.krn"
    shards = filled(tmp_path, {name: 1.0})
    path = store.publish(shards, wanted({name: 1.0}), folder=tmp_path / "reference")
    with store.Reference(path) as reference:
        assert reference.query("SELECT path FROM works").rows == [("caf\\udce9.krn",)]
    assert filled(tmp_path, {}).known("c", name) is not None


def test_quotes_and_odd_characters_survive(tmp_path: Path) -> None:
    values = {'it\'s "so"; -- no\nline\ttab ♭.krn': 1.5}
    with store.Reference(published(tmp_path / "it's here", values)) as reference:
        assert reference.query("SELECT path FROM works").rows == [(next(iter(values)),)]


# Publishing


def test_a_reference_is_one_closed_file_of_an_older_format(tmp_path: Path) -> None:
    path = published(tmp_path, VALUES)
    assert sorted(file.name for file in path.parent.iterdir()) == ["current", path.name]
    with store.Reference(path) as reference:
        rows = reference.query(
            "SELECT tags['storage_version'] FROM duckdb_databases() WHERE NOT internal"
        ).rows
    assert rows[0][0].startswith("v1.2.0")


def test_rows_are_in_order_whatever_the_shards(tmp_path: Path) -> None:
    one = published(tmp_path / "a", VALUES)
    backwards = dict(reversed(VALUES.items()))
    shards = filled(tmp_path / "b", backwards, batches=store.BatchLimits(rows=1))
    two = store.publish(shards, wanted(backwards), folder=tmp_path / "b")
    assert direct.row_hashes(one) == direct.row_hashes(two)
    assert one.name == two.name
    with store.Reference(one) as reference:
        works = [row[0] for row in reference.query("SELECT work FROM works").rows]
    assert works == sorted(works)


def test_row_hashes_see_every_change(tmp_path: Path) -> None:
    before = direct.row_hashes(published(tmp_path / "a", VALUES))
    after = direct.row_hashes(published(tmp_path / "b", VALUES | {"b.krn": 20.000001}))
    assert {table for table in before if before[table] != after[table]} == {"measures"}
    assert "builds" not in before


def test_row_hashes_see_order(tmp_path: Path) -> None:
    rows = [("one", "span", 0.5, 1.0), ("two", "span", 0.5, 2.0)]
    hashes = [
        direct.row_hashes(
            published(
                tmp_path / name,
                VALUES,
                finish=lambda draft, part=part: draft.insert("rung_quantiles", part),
            )
        )["rung_quantiles"]
        for name, part in (("a", rows), ("b", rows[::-1]), ("c", rows))
    ]
    assert hashes[0] == hashes[2] != hashes[1]


def test_the_reference_id_names_works_definitions_and_settings(tmp_path: Path) -> None:
    ids = {}
    for name, recipe, values in (
        ("a", RECIPE, VALUES),
        ("same", RECIPE, VALUES),
        ("fewer", RECIPE, {"a.krn": 10.0}),
        ("definitions", store.Recipe("99", "test", {"order": "played"}), VALUES),
        ("settings", store.Recipe(definitions.VERSION, "test", {"order": "written"}), VALUES),
    ):
        shards = store.Shards(tmp_path / name / "shards", recipe)
        for path, value in values.items():
            shards.add("c", path, f"hash of {path}", rows_of("c", path, value))
        shards.flush()
        path = store.publish(shards, wanted(values), folder=tmp_path / name)
        with store.Reference(path) as reference:
            ids[name] = reference.reference_id
    assert ids["a"] == ids.pop("same")
    assert len(set(ids.values())) == 4


def test_the_build_says_how_it_was_made(tmp_path: Path) -> None:
    published(tmp_path, VALUES)
    with store.open_reference(tmp_path / "reference") as reference:
        assert reference.works == 3
        assert reference.definitions == definitions.VERSION
        assert reference.schema == settings.SCHEMA_VERSION
        assert reference.settings == {"order": "played"}
        assert reference.libraries["duckdb"] == duckdb.__version__
        assert reference.path.stem == reference.build == f"reference-{reference.reference_id}"
        rows = reference.query("SELECT started <= finished, seconds > 0 FROM builds").rows
        assert rows == [(True, True)]
        names = reference.query("SELECT name FROM definitions").rows
        assert [row[0] for row in names] == [measure.name for measure in definitions.MEASURES]


def test_the_last_step_reads_changes_and_adds(tmp_path: Path) -> None:
    def finish(draft: store.Draft) -> None:
        found = draft.fetch_columns("SELECT work, value FROM measures WHERE value IS NOT NULL")
        draft.execute("UPDATE works SET same_as = ? WHERE path = ?", ["c:b.krn", "a.krn"])
        draft.insert("rung_quantiles", [("all", "span", 0.5, float(np.median(found["value"])))])

    with store.Reference(published(tmp_path, VALUES, finish=finish)) as reference:
        assert reference.query("SELECT value FROM rung_quantiles").rows == [(20.0,)]
        rows = reference.query("SELECT path, same_as FROM works WHERE same_as IS NOT NULL").rows
        assert rows == [("a.krn", "c:b.krn")]


def test_what_was_not_measured_is_not_left_out_silently(tmp_path: Path) -> None:
    shards = filled(tmp_path, VALUES)
    files = [*wanted(VALUES), ("c", "z.krn", "h"), ("c", "a.krn", "another hash")]
    with pytest.raises(StoreError, match=r"2 files have not been measured, first c:z\.krn"):
        store.publish(shards, files, folder=tmp_path / "reference")


def test_a_reference_of_nothing_opens(tmp_path: Path) -> None:
    with store.Reference(published(tmp_path, {})) as reference:
        assert reference.works == 0
        assert direct.row_hashes(reference)["works"] == "0:0"


@pytest.mark.parametrize(
    "error", [RuntimeError("no"), KeyboardInterrupt(), OSError(28, "full")]
)
def test_an_error_at_the_end_leaves_the_old_reference(tmp_path: Path, error) -> None:
    old = published(tmp_path, VALUES)
    before = direct.row_hashes(old)

    def fail(draft: store.Draft) -> None:
        raise error

    expected = StoreError if isinstance(error, OSError) else type(error)
    with pytest.raises(expected):
        published(tmp_path, VALUES | {"new.krn": 1.0}, finish=fail)
    assert store.pointed(tmp_path / "reference") == old
    assert direct.row_hashes(old) == before
    assert len(list(old.parent.iterdir())) == 2


def test_the_old_version_goes_and_equal_ones_get_a_number(tmp_path: Path) -> None:
    first = published(tmp_path, VALUES)
    second = published(tmp_path, VALUES)
    assert second.name == f"{first.stem}-2.duckdb"
    assert not first.exists()
    assert store.pointed(tmp_path / "reference") == second


def test_readers_during_a_publish_see_the_old_or_the_new(tmp_path: Path) -> None:
    published(tmp_path, VALUES)
    folder = tmp_path / "reference"
    seen: list[int] = []
    errors: list[BaseException] = []
    done = threading.Event()

    def read() -> None:
        while not done.is_set():
            try:
                with store.open_reference(folder) as reference:
                    count = reference.query("SELECT count(*) FROM works").rows[0][0]
                    assert count == reference.works
                    seen.append(count)
            except BaseException as error:  # noqa: BLE001 - shown by the assertion below
                errors.append(error)

    reader = threading.Thread(target=read)
    reader.start()
    values = dict(VALUES)
    for number in range(2):
        values[f"new{number}.krn"] = 1.0
        published(tmp_path, values)
    done.set()
    reader.join()
    assert errors == []
    assert sorted(set(seen)) == seen[:1] + sorted(set(seen) - {seen[0]})
    assert set(seen) <= {3, 4, 5}
    assert seen == sorted(seen)


def test_an_open_reader_keeps_its_version(tmp_path: Path) -> None:
    path = published(tmp_path, VALUES)
    with store.Reference(path) as reference:
        published(tmp_path, VALUES | {"new.krn": 1.0})
        assert reference.query("SELECT count(*) FROM works").rows == [(3,)]


# Shards


def test_shards_are_found_again(tmp_path: Path) -> None:
    filled(tmp_path, VALUES)
    again = filled(tmp_path, {})
    assert again.missing(wanted(VALUES)) == []
    entry = again.known("c", "a.krn")
    assert entry is not None
    assert entry.content == "hash of a.krn"
    assert again.known("c", "other.krn") is None


def test_what_was_not_flushed_is_not_there(tmp_path: Path) -> None:
    shards = filled(tmp_path, VALUES)
    shards.add("c", "late.krn", "h", rows_of("c", "late.krn", 1.0))
    assert filled(tmp_path, {}).known("c", "late.krn") is None


def test_another_recipe_sees_nothing_and_tidying_removes_it(tmp_path: Path) -> None:
    filled(tmp_path, VALUES)
    other = store.Shards(tmp_path / "shards", store.Recipe("99", "test"))
    assert other.entries == {}
    assert len(filled(tmp_path, {}).entries) == 3
    other.tidy()
    assert filled(tmp_path, {}).entries == {}
    assert list((tmp_path / "shards").iterdir()) == []


def damage(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)


@pytest.mark.parametrize(
    "harm",
    [
        lambda folder: damage(next(folder.glob("*/measures.parquet"))),
        lambda folder: next(folder.glob("*/works.parquet")).unlink(),
        lambda folder: damage(next(folder.glob("*.json"))),
        lambda folder: next(folder.glob("*.json")).write_bytes(b""),
        lambda folder: next(folder.glob("*.json")).write_bytes(b"\xff\xfe\x00"),
    ],
)
def test_a_damaged_shard_is_set_aside_and_measured_again(tmp_path: Path, harm) -> None:
    filled(tmp_path, VALUES)
    whole = store.Shards(tmp_path / "shards", RECIPE)
    whole.add("c", "other.krn", "hash of other.krn", rows_of("c", "other.krn", 5.0))
    whole.flush()
    shards = tmp_path / "shards"
    harm(shards)
    found = store.Shards(shards, RECIPE)
    assert len(found.damaged) == 1
    assert (shards / "damaged" / f"{found.damaged[0]}.json").exists()
    missing = found.missing([*wanted(VALUES), *wanted({"other.krn": 5.0})])
    assert 0 < len(missing) < 4
    for _, path, content in missing:
        found.add("c", path, content, rows_of("c", path, (VALUES | {"other.krn": 5.0})[path]))
    found.flush()
    values = VALUES | {"other.krn": 5.0}
    mended = store.publish(found, wanted(values), folder=tmp_path / "reference")
    assert direct.row_hashes(mended) == direct.row_hashes(published(tmp_path / "new", values))
    found.tidy()
    assert not (shards / "damaged").exists()
    assert store.Shards(shards, RECIPE).damaged == []


def test_what_a_crash_leaves_without_a_label_does_no_harm(tmp_path: Path) -> None:
    filled(tmp_path, VALUES)
    shards = tmp_path / "shards"
    label = next(shards.glob("*.json"))
    label.unlink()
    (shards / "rubbish.json.77.new").write_text("half a lab")
    again = filled(tmp_path, VALUES)
    assert again.damaged == []
    path = store.publish(again, wanted(VALUES), folder=tmp_path / "reference")
    assert direct.row_hashes(path) == direct.row_hashes(published(tmp_path / "new", VALUES))
    again.tidy()
    assert sorted(file.suffix for file in shards.iterdir()) == ["", ".json"]


def test_the_last_measuring_of_a_file_counts(tmp_path: Path) -> None:
    filled(tmp_path, VALUES)
    shards = filled(tmp_path, {"a.krn": 99.0})
    path = store.publish(shards, wanted(VALUES), folder=tmp_path / "reference")
    with store.Reference(path) as reference:
        rows = reference.query(
            "SELECT work, value FROM measures WHERE value IS NOT NULL ORDER BY ALL"
        ).rows
    assert rows == [("c:a.krn", 99.0), ("c:b.krn", 20.0), ("c:é ü.krn", 30.5)]


def test_fresh_ignores_old_shards_keeps_them_and_is_resumed_without_the_word(
    tmp_path: Path,
) -> None:
    filled(tmp_path, VALUES)
    fresh = store.Shards(tmp_path / "shards", RECIPE, fresh=True)
    assert fresh.entries == {}
    fresh.add("c", "a.krn", "hash of a.krn", rows_of("c", "a.krn", 11.0))
    fresh.flush()
    # Interrupted here; the next run does not say fresh.
    resumed = store.Shards(tmp_path / "shards", RECIPE)
    assert [path for _, path in resumed.entries] == ["a.krn"]
    assert len(list((tmp_path / "shards").glob("*/works.parquet"))) == 2
    for path in ("b.krn", "é ü.krn"):
        resumed.add("c", path, f"hash of {path}", rows_of("c", path, VALUES[path]))
    resumed.flush()
    store.publish(resumed, wanted(VALUES), folder=tmp_path / "reference")
    resumed.tidy()
    assert len(list((tmp_path / "shards").glob("*/works.parquet"))) == 2
    assert len(filled(tmp_path, {}).entries) == 3


def test_fresh_rows_that_are_the_same_rows(tmp_path: Path) -> None:
    filled(tmp_path, VALUES)
    fresh = filled(tmp_path, VALUES, fresh=True)
    assert fresh.missing(wanted(VALUES)) == []
    store.publish(fresh, wanted(VALUES), folder=tmp_path / "reference")
    fresh.tidy()
    assert filled(tmp_path, {}).missing(wanted(VALUES)) == []


# Opening and reading


def test_no_reference_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match=r"no reference in .*; run 'corpusreg extract'"):
        store.open_reference(tmp_path)


def harmed(tmp_path: Path, harm) -> str:
    path = published(tmp_path, VALUES | {f"p{n}": 1.0 for n in range(500)})
    harm(path)
    with (
        pytest.raises(StoreError) as caught,
        store.open_reference(tmp_path / "reference") as open_,
    ):
        direct.row_hashes(open_)
    text = str(caught.value)
    assert "\n" not in text
    assert "run 'corpusreg extract'" in text
    return text


@pytest.mark.parametrize(
    "harm",
    [
        lambda path: path.unlink(),
        lambda path: path.write_bytes(b""),
        lambda path: path.write_bytes(b"not a database, but long enough to be one" * 1000),
        lambda path: path.write_bytes(path.read_bytes()[: path.stat().st_size // 2]),
        lambda path: path.write_bytes(path.read_bytes()[:5000] + b"\0" * 20_000_000),
        lambda path: damage(path),
        lambda path: (path.parent / "current").write_text("elsewhere/x.duckdb\n"),
        lambda path: (path.parent / "current").write_bytes(b"\xff\xff"),
        lambda path: (path.parent / "current").write_text(""),
    ],
)
def test_a_harmed_reference_is_one_line_with_the_command_that_mends(
    tmp_path: Path, harm
) -> None:
    harmed(tmp_path, harm)


def test_a_database_that_is_no_reference(tmp_path: Path) -> None:
    def replace(path: Path) -> None:
        path.unlink()
        with duckdb.connect(str(path)) as connection:
            connection.execute("CREATE TABLE other (a INTEGER)")

    assert "is damaged" in harmed(tmp_path, replace)


def test_a_reference_that_a_notebook_has_open_is_not_called_damaged(tmp_path: Path) -> None:
    path = published(tmp_path, VALUES)
    with duckdb.connect(str(path), read_only=True):
        with pytest.raises(StoreError, match=r"open in this Python process already") as refused:
            store.open_reference(path.parent)
        assert "damaged" not in str(refused.value)
        assert "\n" not in str(refused.value)
    with store.open_reference(path.parent) as reference:
        assert reference.works == len(VALUES)


@pytest.mark.parametrize("version", ["definitions", "tables"])
def test_other_versions_are_refused(tmp_path: Path, monkeypatch, version: str) -> None:
    published(tmp_path, VALUES)
    if version == "definitions":
        monkeypatch.setattr(definitions, "VERSION", "1999")
    else:
        monkeypatch.setattr(settings, "SCHEMA_VERSION", "1999")
    with pytest.raises(
        StoreError, match=f"{version} of version .*, expected 1999; run 'corpusreg"
    ):
        store.open_reference(tmp_path / "reference")


def test_a_locked_reference_names_the_holder(tmp_path: Path) -> None:
    path = published(tmp_path, VALUES)
    code = (
        "import duckdb, sys\n"
        f"connection = duckdb.connect({str(path)!r})\n"
        "print('open', flush=True)\n"
        "sys.stdin.read()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as holder:
        assert holder.stdout.readline() == b"open\n"
        with pytest.raises(StoreError, match=f"held for writing by process {holder.pid}"):
            store.open_reference(tmp_path / "reference")
        holder.stdin.close()


def test_columns_are_arrays_and_null_is_nan(tmp_path: Path) -> None:
    with store.Reference(published(tmp_path, VALUES)) as reference:
        found = reference.fetch_columns(
            "SELECT value, reason, born, bars, work FROM measures JOIN works USING (work) "
            "WHERE path = $path ORDER BY name",
            {"path": "a.krn"},
        )
    assert found["value"].dtype == np.float64
    np.testing.assert_array_equal(found["value"], [10.0, np.nan])
    assert list(found["reason"]) == [None, "too short to place"]
    assert found["born"].dtype == np.float64
    assert np.isnan(found["born"]).all()
    assert found["bars"].dtype == np.int32
    assert list(found["work"]) == ["c:a.krn"] * 2
    assert not any(isinstance(column, np.ma.MaskedArray) for column in found.values())


def test_reading_imports_no_pandas(tmp_path: Path) -> None:
    published(tmp_path, VALUES)
    code = (
        "import sys; from pathlib import Path; from corpusreg import store\n"
        "assert 'duckdb' not in sys.modules, 'the import alone loads DuckDB'\n"
        f"with store.open_reference(Path({str(tmp_path / 'reference')!r})) as reference:\n"
        "    reference.fetch_columns('SELECT * FROM works')\n"
        "    reference.query('SELECT * FROM works')\n"
        "heavy = {'pandas', 'scipy', 'sklearn', 'music21', 'pyarrow'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    result = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
    )
    assert result.returncode == 0, result.stderr


# Queries of users

REFUSED = [
    ("SELECT * FROM wroks", 'wroks does not exist; did you mean "works"'),
    ("SELECT titel FROM works", 'titel" not found in FROM clause; there are "title"'),
    ("SELECT mediann(bars) FROM works", 'did you mean "median"'),
    ("SELEC 1", "syntax error"),
    ("", "one statement is expected, 0 were found"),
    ("-- nothing", "one statement is expected, 0 were found"),
    ("SELECT 1; SELECT 2", "one statement is expected, 2 were found"),
    ("SELECT 1; DROP TABLE works", "one statement is expected, 2 were found"),
    ("SELECT $name", "name"),
    ("SELECT ?", "Values were not provided"),
    ("SELECT title::INTEGER FROM works", "Could not convert"),
    ("DELETE FROM works", "DELETE is not allowed"),
    ("UPDATE works SET title = ''", "UPDATE is not allowed"),
    ("CREATE TABLE t (a INTEGER)", "CREATE is not allowed"),
    ("CREATE TEMP TABLE t AS SELECT 1", "CREATE is not allowed"),
    ("DROP TABLE works", "DROP is not allowed"),
    ("COPY works TO 'out.csv'", "COPY is not allowed"),
    ("EXPORT DATABASE 'out'", "EXPORT is not allowed"),
    ("ATTACH 'other.duckdb'", "ATTACH is not allowed"),
    ("INSTALL httpfs", "is not allowed"),
    ("LOAD httpfs", "LOAD is not allowed"),
    ("SET memory_limit = '90GB'", "SET is not allowed"),
    ("PRAGMA enable_profiling", "is not allowed"),
    ("CHECKPOINT", "is not allowed"),
    ("CALL force_checkpoint()", "CALL is not allowed"),
    ("SELECT * FROM read_text('/etc/hostname')", "not allowed in a query"),
    ("SELECT * FROM read_csv('/etc/hostname')", "not allowed in a query"),
    ("SELECT * FROM read_blob('/etc/hostname')", "not allowed in a query"),
    ("SELECT * FROM read_parquet('x.parquet')", "not allowed in a query"),
    ("SELECT * FROM read_json('/etc/hostname')", "not allowed in a query"),
    ("SELECT * FROM glob('/*')", "not allowed in a query"),
    ("SELECT * FROM sniff_csv('/etc/hostname')", "not allowed in a query"),
    ("SELECT * FROM '/etc/hostname.csv'", "not allowed in a query"),
    ("SELECT * FROM read_csv('https://example.org/x.csv')", "not allowed in a query"),
    ("SELECT * FROM query('DROP TABLE works')", ""),
    ("EXPLAIN ANALYZE DELETE FROM works", ""),
    ("SELECT hash(range) FROM range(100000000) ORDER BY 1", "more than 512MB of memory"),
]


@pytest.fixture(scope="module")
def reference(tmp_path_factory: pytest.TempPathFactory) -> store.Reference:
    return store.Reference(published(tmp_path_factory.mktemp("store"), VALUES))


@pytest.mark.parametrize(("text", "words"), REFUSED)
def test_a_query_only_reads_and_says_what_is_wrong(
    reference: store.Reference, tmp_path: Path, monkeypatch, text: str, words: str
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(UsageError) as caught:
        reference.query(text)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith("query: ")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "text",
    [
        "FROM works",
        "TABLE works",
        "DESCRIBE works",
        "SHOW TABLES",
        "SUMMARIZE works",
        "WITH w AS (SELECT 1 AS a) SELECT a FROM w",
        "VALUES (1)",
        "EXPLAIN SELECT 1",
        "SELECT 1;",
    ],
)
def test_all_forms_of_reading_work(reference: store.Reference, text: str) -> None:
    result = reference.query(text)
    assert len(result.names) == len(result.types) > 0
    assert all(len(row) == len(result.names) for row in result.rows)


def test_parameters_are_values_and_never_sql(reference: store.Reference) -> None:
    result = reference.query("SELECT $name AS name", {"name": "'; DROP TABLE works; --"})
    assert result.rows == [("'; DROP TABLE works; --",)]
    assert result.names == ("name",)


@pytest.mark.skipif(sys.platform == "win32", reason="sends a signal to this process")
def test_an_interrupt_stops_a_query_at_once(reference: store.Reference) -> None:
    # A process started in the background of a shell ignores interrupts.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        timer = threading.Timer(0.3, os.kill, (os.getpid(), signal.SIGINT))
        timer.start()
        began = time.monotonic()
        with pytest.raises(KeyboardInterrupt):
            reference.query(
                "SELECT count(*) FROM range(30000000000) AS t(i) WHERE hash(i) % 7 = 1"
            )
        assert time.monotonic() - began < 1.3
    finally:
        signal.signal(signal.SIGINT, before)
    assert reference.query("SELECT count(*) FROM works").rows == [(3,)]


@pytest.mark.parametrize(
    "damage", [b"", b"../../elsewhere", b"\xff\xfe", b"reference-gone.duckdb"]
)
def test_a_damaged_pointer_is_mended_by_a_build(tmp_path: Path, damage: bytes) -> None:
    shards = store.Shards(tmp_path / "shards", RECIPE)
    folder = tmp_path / "reference"
    store.publish(shards, [], folder=folder)
    (folder / "current").write_bytes(damage)
    with pytest.raises(StoreError, match="run 'corpusreg extract' to make it again"):
        store.open_reference(folder)
    path = store.publish(shards, [], folder=folder)
    with store.open_reference(folder) as reference:
        assert reference.path == path


@pytest.mark.skipif(sys.platform == "win32", reason="sends a signal to this process")
def test_an_interrupt_while_a_build_is_finished_is_an_interrupt(tmp_path: Path) -> None:
    shards = store.Shards(tmp_path / "shards", RECIPE)
    folder = tmp_path / "reference"

    def finish(draft: store.Draft) -> None:
        threading.Timer(0.1, os.kill, (os.getpid(), signal.SIGINT)).start()
        draft.execute("DELETE FROM works WHERE bars > (SELECT count(*) FROM range(6000000000))")

    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with pytest.raises(KeyboardInterrupt):
            store.publish(shards, [], folder=folder, finish=finish)
    finally:
        signal.signal(signal.SIGINT, before)
    assert list(folder.iterdir()) == []


# What the machine refuses


def in_child(code: str) -> subprocess.CompletedProcess[str]:
    """Run code in a process of its own, with the modules of this one."""
    return subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
    )


FULL = """
import resource
from pathlib import Path
from corpusreg import store
from corpusreg.system.errors import StoreError
from test_store import RECIPE, VALUES, filled, wanted
root = Path({root!r})
values = VALUES | {{f"p{{n}}.krn": n * 1.1 for n in range(300)}}
endless = resource.getrlimit(resource.RLIMIT_FSIZE)[1]

def refused(limit, write):
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, endless))
    try:
        write()
    except StoreError as error:
        assert "\\n" not in str(error)
        assert "could not be written" in str(error), error
        print("refused", limit)
    resource.setrlimit(resource.RLIMIT_FSIZE, (endless, endless))

for limit in (100, 3000):
    refused(limit, lambda: filled(root, values))
shards = filled(root, values)
for limit in (5000, 1500000):
    refused(limit, lambda: store.publish(shards, wanted(values), folder=root / "reference"))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="file size limits are POSIX")
def test_a_full_disk_leaves_the_old_reference(tmp_path: Path) -> None:
    old = published(tmp_path, VALUES)
    before = direct.row_hashes(old)
    result = in_child(FULL.format(root=str(tmp_path)))
    told = [f"refused {limit}" for limit in (100, 3000, 5000, 1500000)]
    assert result.stdout.splitlines() == told, result.stderr
    assert store.pointed(tmp_path / "reference") == old
    assert direct.row_hashes(old) == before
    assert sorted(file.name for file in old.parent.iterdir()) == ["current", old.name]
    shards = filled(tmp_path, {})
    assert shards.damaged == []
    assert shards.missing(wanted(VALUES)) == []


READ_ONLY = """
from pathlib import Path
from corpusreg import store
from corpusreg.system.errors import StoreError
from corpusreg.system.lock import build_lock
from test_store import RECIPE
import os
if os.getuid() == 0:  # to whom permissions mean nothing
    os.setgid(65534)
    os.setuid(65534)
home = Path({home!r})
with store.open_reference(home / "reference") as reference:
    print(reference.works)
for attempt in (
    lambda: build_lock(home / "build.lock").__enter__(),
    lambda: store.Shards(home / "new" / "shards", RECIPE),
):
    try:
        attempt()
    except StoreError as error:
        print(error)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="permissions of POSIX")
def test_a_read_only_home_reads_and_refuses_to_build() -> None:
    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        published(home, VALUES)
        for path in (home, *home.rglob("*")):
            path.chmod(0o555 if path.is_dir() else 0o444)
        try:
            result = in_child(READ_ONLY.format(home=str(home)))
        finally:
            for path in (home, *(folder for folder in home.rglob("*") if folder.is_dir())):
                path.chmod(0o755)
    assert result.returncode == 0, result.stderr
    works, lock, shards = result.stdout.splitlines()
    assert works == "3"
    assert "cannot be written (Permission denied); set CORPUSREG_HOME" in lock
    assert "could not be written (Permission denied)" in shards


def test_home_is_where_the_variable_says(monkeypatch, tmp_path: Path) -> None:
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path))
    assert settings.home() == tmp_path
    assert settings.reference_folder().parent == settings.shards_folder().parent == tmp_path
    monkeypatch.delenv("CORPUSREG_HOME")
    assert settings.home().name == "corpusreg"
