"""What depends on all works together: licences, copies, the matrix and the rungs.

A reference of a dozen works, most of them scores inside the music21 package, is built
once; three tunes are written here, one of them a passage of another.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import direct
import numpy as np
import pytest

from corpusreg import store
from corpusreg.building import build as building
from corpusreg.building import finish
from corpusreg.building.extract import extract_file
from corpusreg.comparison.placing import place_file
from corpusreg.corpus.catalogue import bundled
from corpusreg.corpus.files import SourceFile, content_hash
from corpusreg.measures import definitions
from corpusreg.measures.definitions import MEASURES
from corpusreg.norms.cohorts import fetch_cohort, own_copies
from corpusreg.norms.reference import Cohort, Rung, unit_weights, weighted_quantile
from corpusreg.score.duplicates import FEWEST_SHARED, SAME_SHARE, fingerprint, shingles
from corpusreg.score.readers import read_file

QUARTET = ("beethoven/opus18no1/movement1.krn", "beethoven/opus18no1/movement1.mxl")
CHORALE = ("bach/bwv244.15.mxl", "bach/bwv244.17.mxl")  # one setting in two keys
OTHERS = ("bach/bwv244.44.mxl", "bach/bwv244.54.mxl", "haydn/opus74no1/movement3.mxl")
RESERVED = "palestrina/Credo_67_c.krn"
TIERS = ("open", "permitted")


def tune(title: str, notes: list[str]) -> str:
    bars = ["".join(notes[i : i + 4]) for i in range(0, len(notes), 4)]
    return f"X:1\nT:{title}\nM:4/4\nL:1/8\nK:C\n{'|'.join(bars)}|\n"


def tunes(folder: Path) -> list[SourceFile]:
    """A wandering tune of forty bars, sixteen bars of it, and one that quotes ten bars."""
    draw = random.Random(3)
    notes, other = (
        [draw.choice("CDEFGABcdefg") + draw.choice(("", "2", "3")) for _ in range(160)]
        for _ in range(2)
    )
    quoting = notes[100:140] + other[40:]
    found = []
    for name, own in (("whole", notes), ("passage", notes[48:112]), ("quoting", quoting)):
        path = folder / f"{name}.abc"
        path.write_text(tune(f"The {name}", own), encoding="utf-8")
        found.append(SourceFile("mine", path.name, path, "abc", path.stat().st_size))
    return found


def build(
    folder: Path,
    files: list[SourceFile],
    tiers: tuple[str, ...] = TIERS,
    before: store.Reference | None = None,
) -> Path:
    shards = store.Shards(folder / "shards", store.Recipe(definitions.VERSION, "test"))
    wanted = []
    for file in files:
        content = content_hash(file.path)
        shards.add(file.corpus, file.relative, content, extract_file(file))
        wanted.append((file.corpus, file.relative, content))
    shards.flush()
    last = finish.finishing(tiers, before)
    return store.publish(shards, wanted, folder=folder / "reference", finish=last)


@pytest.fixture(scope="module")
def chosen(tmp_path_factory: pytest.TempPathFactory) -> list[SourceFile]:
    names = {*QUARTET, *CHORALE, *OTHERS, RESERVED}
    real = [file for file in bundled() if file.relative in names]
    assert len(real) == len(names)
    return [*real, *tunes(tmp_path_factory.mktemp("tunes"))]


@pytest.fixture(scope="module")
def reference(
    chosen: list[SourceFile], tmp_path_factory: pytest.TempPathFactory
) -> Iterator[store.Reference]:
    with store.Reference(build(tmp_path_factory.mktemp("built"), chosen)) as opened:
        yield opened


def rows(reference: store.Reference, text: str) -> list[tuple[Any, ...]]:
    return list(reference.query(text).rows)


def counted(reference: store.Reference) -> set[str]:
    """Paths of the works that count."""
    found = rows(reference, "SELECT path FROM works WHERE same_as IS NULL")
    assert len(found) == rows(reference, "SELECT count(*) FROM matrix")[0][0]
    return {path for (path,) in found}


# Licences


def test_works_of_other_tiers_leave_every_table(reference: store.Reference) -> None:
    for table in store.tables.EXTRACTED:
        if table != "failures":
            found = rows(
                reference, f"SELECT count(*) FROM {table} WHERE work LIKE '%palestrina%'"
            )
            assert found == [(0,)], table


def test_a_folder_of_the_users_own_stays_whole(reference: store.Reference) -> None:
    """Nothing is stated in the tunes, so that they count as reserved."""
    found = rows(reference, "SELECT path, tier FROM works WHERE corpus = 'mine' ORDER BY path")
    assert found == [
        ("passage.abc", "reserved"), ("quoting.abc", "reserved"), ("whole.abc", "reserved"),
    ]  # fmt: skip


def test_a_tier_that_was_asked_for_comes_in(chosen: list[SourceFile], tmp_path: Path) -> None:
    few = [file for file in chosen if file.relative in (RESERVED, OTHERS[0])]
    with store.Reference(build(tmp_path, few, (*TIERS, "reserved"))) as opened:
        assert counted(opened) == {RESERVED, OTHERS[0]}


# Copies


def test_the_same_music_counts_once(reference: store.Reference) -> None:
    found = counted(reference)
    assert len(found & set(QUARTET)) == 1
    assert len(found & set(CHORALE)) == 1
    assert set(OTHERS) <= found
    assert {"whole.abc", "quoting.abc"} <= found
    assert "passage.abc" not in found


def test_a_copy_names_what_counts_in_its_place(reference: store.Reference) -> None:
    found = dict(
        rows(
            reference,
            "SELECT twin.path, kept.path FROM works AS twin "
            "JOIN works AS kept ON kept.work = twin.same_as",
        )
    )
    assert found["passage.abc"] == "whole.abc"
    assert len(found) == 3
    assert {frozenset(pair) for pair in found.items()} == {
        frozenset(QUARTET), frozenset(CHORALE), frozenset(("passage.abc", "whole.abc")),
    }  # fmt: skip


def test_of_equal_licences_the_copy_with_more_notes_counts(reference: store.Reference) -> None:
    notes = dict(rows(reference, "SELECT path, notes FROM works"))
    tier = dict(rows(reference, "SELECT path, tier FROM works"))
    for pair in (QUARTET, CHORALE):
        assert len({tier[path] for path in pair}) == 1
        (kept,) = counted(reference) & set(pair)
        assert notes[kept] == max(notes[path] for path in pair)


def test_no_copy_is_counted_in_a_cohort(reference: store.Reference) -> None:
    (names,) = zip(*rows(reference, "SELECT work FROM matrix"), strict=True)
    copies = rows(reference, "SELECT work FROM works WHERE same_as IS NOT NULL")
    assert not {work for (work,) in copies} & set(names)


# A piece and its own copies


@pytest.mark.parametrize("name", QUARTET)
def test_a_piece_finds_itself_and_its_twin(name: str, reference: store.Reference) -> None:
    (path,) = (file.path for file in bundled() if file.relative == name)
    (score,) = read_file(path).scores
    copies = own_copies(reference, fingerprint(score), shingles(score))
    assert len(copies.titles) == 2
    (kept,) = counted(reference) & set(QUARTET)
    assert copies.counted == (f"bundled:{kept}",)
    rung = Rung({"texture": "several voices"}, "all", broad=True)
    everything = fetch_cohort(reference, rung)
    others = fetch_cohort(reference, rung, leave_out=copies.counted)
    assert others.works == everything.works - 1


def test_a_passage_leaves_the_whole_out(
    reference: store.Reference, chosen: list[SourceFile]
) -> None:
    (path,) = (file.path for file in chosen if file.relative == "passage.abc")
    (score,) = read_file(path).scores
    copies = own_copies(reference, fingerprint(score), shingles(score))
    assert sorted(copies.titles) == ["The passage", "The whole"]
    assert copies.counted == ("mine:whole.abc#1",)


def test_music_that_quotes_another_is_no_copy_of_it(
    reference: store.Reference, chosen: list[SourceFile]
) -> None:
    """A quarter of the tune is more than chance and less than the same music."""
    marks = {
        file.relative: shingles(read_file(file.path).scores[0])
        for file in chosen
        if file.corpus == "mine"
    }
    shared = np.intersect1d(marks["whole.abc"], marks["quoting.abc"])
    assert FEWEST_SHARED <= len(shared) < SAME_SHARE * len(marks["whole.abc"])
    assert own_copies(reference, None, marks["quoting.abc"]).titles == ("The quoting",)


def test_new_music_has_no_copies(reference: store.Reference) -> None:
    (path,) = (file.path for file in bundled() if file.relative == "bach/bwv270.mxl")
    (score,) = read_file(path).scores
    found = own_copies(reference, fingerprint(score), shingles(score))
    assert (found.titles, found.counted) == ((), ())


def test_a_comparison_leaves_the_pieces_own_copies_out_and_says_so(
    reference: store.Reference,
) -> None:
    (path,) = (file.path for file in bundled() if file.relative == CHORALE[0])
    (found,), failures = place_file(reference, path, None, as_written=False)
    assert failures == []
    told = [note for note in found.piece.notes if "left out of the comparison" in note]
    assert len(told) == 1
    assert "and 1 more" in told[0]
    every = fetch_cohort(reference, found.cohort.rung)
    assert found.cohort.works == every.works - 1


# Matrix and rungs


def test_the_matrix_holds_what_may_be_placed(reference: store.Reference) -> None:
    """Values with a reason against placing them are NULL, the others are as measured."""
    for measure in MEASURES:
        found = rows(
            reference,
            f'SELECT x."{measure.name}", m.value, m.reason FROM matrix AS x JOIN measures AS m '
            f"ON m.work = x.work AND m.name = '{measure.name}'",
        )
        assert len(found) == 7
        for placed, value, reason in found:
            assert placed == (value if reason is None else None)


@pytest.mark.parametrize("size", [2])
def test_the_matrix_is_the_same_in_slices_of_any_size(
    size: int,
    chosen: list[SourceFile],
    reference: store.Reference,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(finish, "_SLICE", size)
    with store.Reference(build(tmp_path, chosen)) as sliced:
        everything = "SELECT * FROM matrix"
        assert len(rows(sliced, everything)) > 5
        assert rows(sliced, everything) == rows(reference, everything)


def test_a_reference_without_works_has_an_empty_matrix(tmp_path: Path) -> None:
    with store.Reference(build(tmp_path, [])) as empty:
        assert rows(empty, "SELECT count(*), count(span) FROM matrix") == [(0, 0)]


def test_units_are_numbered_by_composer(reference: store.Reference) -> None:
    found = rows(reference, "SELECT unit, unit_number FROM matrix")
    numbers = dict(found)
    assert len(set(numbers.values())) == len(numbers)
    assert set(numbers) == {
        "bach-johann-sebastian", "beethoven-ludwig-van", "haydn-joseph", "anonymous:mine",
    }  # fmt: skip


def test_every_rung_of_every_work_is_stored_with_its_counts(reference: store.Reference) -> None:
    stored = {
        name: (works, composers, sources, collections, broad)
        for name, works, composers, sources, collections, broad in rows(
            reference,
            "SELECT rung, works, composers, sources, collections, broad FROM rungs",
        )
    }
    kinds = rows(reference, "SELECT DISTINCT ensemble, family FROM matrix")
    names = set()
    for kind, family in kinds:
        names |= {f"ensemble={kind}"}
        names |= {f"family={family}"} if family else set()
    assert stored.keys() == names
    assert stored["ensemble=solo melody"] == (2, 0, 1, 1, False)
    assert stored["ensemble=string quartet"] == (2, 2, 0, 2, False)
    assert stored["family=works for bowed strings"] == (2, 2, 0, 2, True)


def test_quantiles_of_rungs_are_those_of_their_works(reference: store.Reference) -> None:
    found = rows(
        reference,
        "SELECT q, value FROM rung_quantiles WHERE rung = 'ensemble=choir' "
        "AND measure = 'span' ORDER BY q",
    )
    shares, values = zip(*found, strict=True)
    assert shares == (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)
    assert list(values) == sorted(values)
    cohort = fetch_cohort(reference, Rung({"ensemble": "choir"}, "choral works"))
    weights = unit_weights(cohort.unit, np.ones(cohort.works))
    again = [weighted_quantile(cohort.values["span"], weights, share) for share in shares]
    assert values == pytest.approx(again)


def test_one_build_is_like_another(chosen: list[SourceFile], tmp_path: Path) -> None:
    """Whatever the order in which the files were measured."""
    few = [file for file in chosen if file.relative not in (*QUARTET, *OTHERS[1:])]
    one, other = build(tmp_path / "one", few), build(tmp_path / "other", few[::-1])
    assert direct.row_hashes(one) == direct.row_hashes(other)
    assert one.name == other.name


# What has not changed is kept


def test_rungs_that_have_not_changed_are_kept_and_equal_those_made_anew(
    chosen: list[SourceFile],
    reference: store.Reference,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made: list[str] = []
    work_out = finish._quantile_rows

    def noted(cohort: Cohort) -> list[tuple[object, ...]]:
        made.append(cohort.rung.name)
        return work_out(cohort)

    fewer = [file for file in chosen if file.path.name != "quoting.abc"]
    with store.Reference(build(tmp_path, fewer)) as before:
        monkeypatch.setattr(finish, "_quantile_rows", noted)
        path = build(tmp_path / "grown", chosen, before=before)
    (ensemble,) = {
        name
        for (name,) in rows(reference, "SELECT ensemble FROM works WHERE path LIKE '%.abc'")
    }
    assert f"ensemble={ensemble}" in made
    assert len(made) < rows(reference, "SELECT count(*) FROM rungs")[0][0]
    assert direct.row_hashes(path) == direct.row_hashes(reference)


def test_nothing_new_publishes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "scores"
    folder.mkdir()
    tunes(folder)
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path / "home"))
    first = direct.extract([str(folder)], workers=1)
    with monkeypatch.context() as patch:
        patch.setattr(building, "publish", None)
        again = direct.extract([str(folder)], workers=1)
    assert (again.path, again.kept, again.measured) == (first.path, 3, 0)
    (folder / "passage.abc").unlink()
    fewer = direct.extract([str(folder)], workers=1)
    assert (fewer.works, fewer.kept) == (first.works - 1, 2)
    assert fewer.path != first.path
