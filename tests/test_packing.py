"""The packed form of a reference shows what was packed, and its bytes depend on that alone."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import direct
import numpy as np
import pytest
from conftest import PIECES

from corpusreg.building.reference import export_reference, import_reference
from corpusreg.building.release import _about
from corpusreg.corpus.files import bundled_root
from corpusreg.measures import definitions
from corpusreg.measures.definitions import MEASURES
from corpusreg.norms.cohorts import fetch_cohort
from corpusreg.norms.reference import Rung
from corpusreg.store import Reference, open_reference, packing, sql
from corpusreg.store.tables import columns, names
from corpusreg.system import settings
from corpusreg.system.errors import StoreError, UsageError

CHOIR = Rung({"ensemble": "choir"}, "choral works")
ABOUT = {"reference": "made-up", "works": 1}


@pytest.fixture(scope="module")
def packed(small_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    (source,) = (small_home / "reference").glob("reference-*.duckdb")
    folder = tmp_path_factory.mktemp("packed") / "reference"
    packing.pack(source, folder, ABOUT)
    return folder


def test_it_is_read_in_place_under_the_names_and_types_of_the_schema(packed: Path) -> None:
    with Reference(packed, packed) as shown:
        for table in set(names()) - packing.LEFT_AT_HOME:
            result = shown.query(f"SELECT * FROM {table} LIMIT 0")
            kinds = dict(zip(result.names, result.types, strict=True))
            assert kinds == dict(columns(table)), table


def test_a_table_that_was_left_at_home_is_said_to_be(packed: Path) -> None:
    assert set(names()) > packing.LEFT_AT_HOME
    with Reference(packed, packed) as shown:
        for table in packing.LEFT_AT_HOME:
            with pytest.raises(UsageError, match=f"'{table}' does not come with corpusreg"):
                shown.query(f"SELECT * FROM {table} LIMIT 0")


def test_values_are_those_that_were_packed_but_for_rounding(
    packed: Path, in_home: Path
) -> None:
    with Reference(packed, packed) as shown, open_reference() as whole:
        one, other = (fetch_cohort(each, CHOIR) for each in (shown, whole))
        assert one.works == other.works > 30
        assert (one.unit == other.unit).all()
        assert (one.collection == other.collection).all()
        for measure in MEASURES:
            np.testing.assert_allclose(
                one.values[measure.name], other.values[measure.name], atol=5.1e-5, rtol=0
            )
        text = "SELECT work, title, composer, year, same_as, bars FROM works ORDER BY work"
        assert shown.query(text).rows == whole.query(text).rows
        long = "SELECT work, name, reason FROM measures ORDER BY work, name"
        assert shown.query(long).rows == whole.query(long).rows
        bands = "SELECT work, band, round(share, 2) FROM band_weights ORDER BY work, band"
        kept = [row for row in whole.query(bands).rows if row[2] >= 0.02]
        there = {row[:2]: row[2] for row in shown.query(bands).rows}
        assert kept
        assert all(abs(there[row[:2]] - row[2]) <= 0.011 for row in kept)


def test_every_stored_query_runs_on_it_or_says_which_table_it_lacks(packed: Path) -> None:
    refused = set()
    with Reference(packed, packed) as shown:
        for query in sql.listed():
            try:
                values = query.values({})
            except UsageError:  # it needs a value that this test does not know
                continue
            if packing.LEFT_AT_HOME & set(re.findall(r"\w+", query.text)):
                refused.add(query.name)
                with pytest.raises(UsageError, match="does not come with corpusreg"):
                    shown.query(query.text, values)
            else:
                shown.query(query.text, values)
    assert refused == {"gap_above_bass"}


def test_the_same_reference_gives_the_same_bytes(
    packed: Path, in_home: Path, tmp_path: Path
) -> None:
    (source,) = (in_home / "reference").glob("reference-*.duckdb")
    packing.pack(source, tmp_path / "again", ABOUT)
    files = sorted(file.name for file in packed.iterdir())
    assert files == sorted(file.name for file in (tmp_path / "again").iterdir())
    for name in files:
        assert (packed / name).read_bytes() == (tmp_path / "again" / name).read_bytes(), name


def test_a_query_reads_nothing_outside_the_folder(packed: Path, tmp_path: Path) -> None:
    secret = tmp_path / "secret.csv"
    secret.write_text("a\n1\n", encoding="utf-8")
    with Reference(packed, packed) as shown, pytest.raises(UsageError, match="not allowed"):
        shown.query(f"SELECT * FROM read_csv('{secret}')")


def test_a_damaged_file_is_told(packed: Path, tmp_path: Path) -> None:
    folder = tmp_path / "damaged"
    shutil.copytree(packed, folder)
    (folder / "works.parquet").write_bytes(b"PAR1 no more")
    with pytest.raises(StoreError, match="damaged"):
        Reference(folder, folder)


def test_where_nothing_was_published_the_one_that_ships_is_in_force(
    packed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path))
    monkeypatch.setattr(settings, "packed_folder", lambda: packed)
    with open_reference() as reference:
        assert reference.path == packed
        assert reference.works > 100
    assert not list(tmp_path.iterdir())


def test_what_a_user_adds_is_measured_alone_and_shown_with_what_ships(
    small_home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two scores: one is new, and one is in the reference that ships and counts there."""
    (source,) = (small_home / "reference").glob("reference-*.duckdb")
    with Reference(source) as whole:
        told = _about(whole, ())
    folder = tmp_path / "ships"
    packing.pack(source, folder, told)
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path / "home"))
    monkeypatch.setattr(settings, "packed_folder", lambda: folder)
    scores = tmp_path / "mine"
    scores.mkdir()
    shutil.copy(PIECES / "stairs.musicxml", scores / "stairs.musicxml")
    shutil.copy(bundled_root() / "bach" / "bwv66.6.mxl", scores / "again.mxl")
    known = whole_works(folder)

    added = direct.add_corpus(scores, "mine", workers=1)
    assert added.built is not None
    assert (added.built.measured, added.built.works) == (2, known + 2)
    with open_reference() as reference:
        assert reference.settings["on_top_of"] == told["reference"]
        text = "SELECT path, same_as FROM works WHERE corpus = 'mine' ORDER BY path"
        (again, stairs) = reference.query(text).rows
        assert again == ("again.mxl", "bundled:bach/bwv66.6.mxl")
        assert stairs == ("stairs.musicxml", None)
        counted = "SELECT count(*) FROM matrix WHERE corpus = 'mine'"
        assert reference.query(counted).rows == [(1,)]
        units = reference.fetch_columns("SELECT unit, unit_number FROM matrix")
        assert len(set(units["unit"])) == len(set(units["unit_number"]))
        for table in ("works", "measures", "stays", "rungs", "corpora"):
            assert reference.query(f"SELECT count(*) FROM {table}").rows[0][0] > 0

    gone = direct.remove_corpus("mine", workers=1)
    assert gone.built is not None
    assert whole_works(folder) == known == gone.built.works


def whole_works(folder: Path) -> int:
    with open_reference() as reference:
        return reference.works


def test_a_reference_goes_out_as_parquet_and_comes_back(
    small_home: Path, in_home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_reference() as reference:
        folder = export_reference(reference, tmp_path / "out")
    page = (folder / "SCHEMA.md").read_text(encoding="utf-8")
    assert "## stays" in page and "semitones" in page
    with open_reference() as reference:
        before = direct.row_hashes(reference)
        with pytest.raises(UsageError, match="there already"):
            export_reference(reference, folder)
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path / "other"))
    import_reference(folder)
    with open_reference() as reference:
        assert direct.row_hashes(reference) == before
    (folder / "stays.parquet").unlink()
    with pytest.raises(UsageError, match=r"no stays\.parquet"):
        import_reference(folder)


def test_what_was_made_by_other_definitions_is_not_taken(
    in_home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_reference() as reference:
        folder = export_reference(reference, tmp_path / "out")
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path / "other"))
    monkeypatch.setattr(definitions, "VERSION", "1999")
    with pytest.raises(UsageError, match="was made by definitions"):
        import_reference(folder)
    assert not list((tmp_path / "other").rglob("reference-*"))
