"""Adding, updating and removing corpora, and the commands that do it: real builds, small."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path

import direct
import pytest

from corpusreg import cli
from corpusreg.corpus import catalogue
from corpusreg.corpus.corpora import Added, Entry, added, entry, remember
from corpusreg.corpus.entries import Expected, entries
from corpusreg.norms.coverage import CoverageCell, helpful
from corpusreg.store import open_reference
from corpusreg.system.errors import ReadError, UsageError
from corpusreg.text.reference import coverage_text

PIECES = Path(__file__).parents[1] / "demo" / "pieces"
ONE, TWO, THREE = sorted(PIECES.glob("*.musicxml"))[:3]


@pytest.fixture(scope="module")
def few() -> list[catalogue.SourceFile]:
    """The smallest bundled files that may be measured."""
    files = [
        f for f in catalogue.bundled() if catalogue.licence(f).tier in ("open", "permitted")
    ]
    return sorted(files, key=lambda file: (file.size, file.relative))[:3]


@pytest.fixture(autouse=True)
def home(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    few: list[catalogue.SourceFile],
    measured_here: None,
) -> Path:
    """A home of its own, and a bundled corpus of a few small files."""
    monkeypatch.setattr(catalogue, "bundled", lambda: few)
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


def corpus(folder: Path, *pieces: Path) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    for piece in pieces:
        shutil.copy(piece, folder)
    return folder


def state() -> tuple[str, dict[str, str]]:
    with open_reference() as reference:
        return reference.reference_id, direct.row_hashes(reference)


def values(text: str) -> list[tuple[object, ...]]:
    with open_reference() as reference:
        return reference.query(text).rows


def fresh(home: Path, monkeypatch: pytest.MonkeyPatch, corpora: Sequence[Added]) -> object:
    """The state of a reference of the same corpora, built in a new home."""
    with monkeypatch.context() as patch:
        patch.setenv("CORPUSREG_HOME", str(home.with_name("fresh")))
        for each in corpora:
            remember(each)
        direct.extract(workers=1)
        return state()


def test_adding_updating_and_removing_equal_a_fresh_build(
    tmp_path: Path, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mine = corpus(tmp_path / "mine", ONE, TWO)
    first = direct.add_corpus(mine, workers=1)
    assert first.built is not None
    assert (first.name, first.works, first.built.measured) == ("mine", 2, 5)
    corpus(mine, THREE)
    (mine / TWO.name).unlink()
    again = direct.add_corpus(mine, workers=1)
    assert again.built is not None
    assert (again.works, again.built.measured, again.built.kept) == (2, 1, 4)
    assert state() == fresh(home, monkeypatch, [Added("mine", mine)])
    gone = direct.remove_corpus("mine", workers=1)
    assert gone.built is not None
    assert (gone.built.measured, added()) == (0, [])
    assert values("SELECT count(*) FROM works WHERE corpus <> 'bundled'") == [(0,)]
    assert mine.is_dir()
    shutil.rmtree(home.with_name("fresh"))
    assert state() == fresh(home, monkeypatch, [])


def test_what_has_not_changed_is_not_measured_or_published(tmp_path: Path) -> None:
    mine = corpus(tmp_path / "mine", ONE)
    direct.add_corpus(mine, workers=1)
    before = direct.check()["path"]
    assert direct.add_corpus(mine, workers=1).built is None
    assert direct.check()["path"] == before
    (mine / "metadata.csv").write_text(f"file,title,mood\n{ONE.name},Other,calm\n")
    told = direct.add_corpus(mine, workers=1)
    assert told.built is not None
    assert (told.built.measured, told.built.kept) == (1, 3)
    assert values("SELECT title FROM works WHERE corpus = 'mine'") == [("Other",)]
    assert values("SELECT name, value FROM work_columns") == [("mood", "calm")]


def test_a_piece_in_two_corpora_counts_once(tmp_path: Path) -> None:
    direct.add_corpus(corpus(tmp_path / "one", ONE, TWO), workers=1)
    direct.add_corpus(corpus(tmp_path / "two", TWO), workers=1)
    assert values("SELECT corpus, path, same_as FROM works WHERE same_as IS NOT NULL") == [
        ("two", TWO.name, f"one:{TWO.name}")
    ]
    assert values("SELECT count(*) FROM matrix WHERE corpus IN ('one', 'two')") == [(2,)]


def test_extract_takes_all_added_corpora_or_those_named(tmp_path: Path) -> None:
    direct.add_corpus(corpus(tmp_path / "one", ONE), workers=1)
    direct.add_corpus(corpus(tmp_path / "two", TWO), workers=1)
    asked = "SELECT DISTINCT corpus FROM works ORDER BY 1"
    assert values(asked) == [("bundled",), ("one",), ("two",)]
    direct.extract(["two"], workers=1)
    assert values(asked) == [("two",)]
    direct.extract(["bundled", str(corpus(tmp_path / "three", THREE))], workers=1)
    assert values(asked) == [("bundled",), ("three",)]
    direct.extract(workers=1)
    assert values(asked) == [("bundled",), ("one",), ("two",)]


def test_two_corpora_of_one_name_are_refused(tmp_path: Path) -> None:
    direct.add_corpus(corpus(tmp_path / "a" / "mine", ONE), workers=1)
    other = corpus(tmp_path / "b" / "mine", TWO)
    with pytest.raises(UsageError, match="added already"):
        direct.add_corpus(other, workers=1)
    with pytest.raises(UsageError, match="two corpora are called 'mine'"):
        direct.extract(["mine", str(other)], workers=1)
    with pytest.raises(UsageError, match="two corpora are called 'bundled'"):
        direct.extract([str(corpus(tmp_path / "bundled", ONE))], workers=1)


def test_what_excludes_commerce_is_never_mixed_in_silently(tmp_path: Path) -> None:
    folder = tmp_path / "sonatas"
    folder.mkdir()
    text = (PIECES / ONE.name).read_text(encoding="utf-8")
    (folder / "a.musicxml").write_text(text, encoding="utf-8")
    (folder / "LICENSE.txt").write_text("CC BY-NC-SA 4.0")
    name = "keyboard-noncommercial"
    change = direct.add_corpus(folder, name, workers=1)
    assert change.built is not None
    assert change.works == 0
    assert "'extract --licence noncommercial' takes it in" in change.built.problems[0]
    built = direct.extract(workers=1, tiers=(*direct.DEFAULT_TIERS, "noncommercial"))
    assert not built.problems
    assert values(f"SELECT count(*) FROM works WHERE corpus = '{name}'") == [(1,)]
    # The tiers that were asked for once stay asked for when another corpus is added.
    direct.add_corpus(corpus(tmp_path / "mine", TWO), workers=1)
    assert values(f"SELECT count(*) FROM works WHERE corpus = '{name}'") == [(1,)]


def test_a_failed_or_interrupted_addition_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    direct.extract(workers=1)
    before = state()
    empty = tmp_path / "empty"
    empty.mkdir()
    with pytest.raises(UsageError, match="no scores in"):
        direct.add_corpus(empty)
    with pytest.raises(UsageError, match="not a folder"):
        direct.add_corpus(tmp_path / "nowhere")

    def stop(progress: object) -> None:
        raise KeyboardInterrupt

    mine = corpus(tmp_path / "mine", ONE, TWO)
    with pytest.raises(KeyboardInterrupt):
        direct.add_corpus(mine, workers=1, on_progress=stop)
    assert (state(), added()) == (before, [])
    assert direct.add_corpus(mine, workers=1).works == 2


def test_a_folder_that_is_gone_stops_a_build_with_what_to_do(tmp_path: Path) -> None:
    mine = corpus(tmp_path / "mine", ONE)
    direct.add_corpus(mine, workers=1)
    before = state()
    shutil.rmtree(mine)
    with pytest.raises(ReadError, match="'corpusreg corpora remove mine'"):
        direct.extract(workers=1)
    assert state() == before
    direct.remove_corpus("mine", workers=1)
    assert direct.check()["ok"]


def test_a_fetched_corpus_is_deleted_when_it_is_removed(home: Path) -> None:
    folder = corpus(home / "corpora" / "songs", ONE)
    remember(Added("songs", folder, fetched=True))
    change = direct.remove_corpus("songs", workers=1)
    assert change.deleted == folder
    assert not folder.exists()


def test_the_commands_say_what_they_did(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mine = corpus(tmp_path / "mine", ONE, TWO)
    assert cli.main(["corpora", "template", str(mine)]) == 0
    assert "metadata.csv" in capsys.readouterr().out
    assert cli.main(["corpora", "add", str(mine), "--workers", "1"]) == 0
    assert "Corpus 'mine': 2 works in the reference" in capsys.readouterr().out
    assert cli.main(["corpora", "add", str(mine)]) == 0
    assert "nothing has changed; 2 works" in capsys.readouterr().out
    assert cli.main(["corpora", "show", "mine"]) == 0
    shown = capsys.readouterr().out
    assert "2 works by" in shown
    assert str(mine) in shown.replace("\n           ", "")
    assert cli.main(["corpora", "show", "heritage"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert entry("heritage").revision in shown
    assert "corpusreg corpora get heritage, or by hand: git clone" in shown
    assert cli.main(["corpora", "list"]) == 0
    listed = capsys.readouterr().out
    assert all(each.name in listed for each in entries())
    assert cli.main(["corpora", "coverage"]) == 0
    text = capsys.readouterr().out
    assert "corpora get library" in text
    assert max(map(len, text.splitlines())) <= 88
    assert text.isascii()
    assert cli.main(["corpora", "coverage", "--csv"]) == 0
    assert capsys.readouterr().out.startswith("ensemble,period,works,composers,enough")
    assert cli.main(["corpora", "remove", "mine", "--workers", "1"]) == 0
    assert "Its folder was not touched" in capsys.readouterr().out
    assert cli.main(["corpora", "remove", "mine"]) == 2
    assert cli.main(["corpora", "get", "keyboard-noncommercial"]) == 2
    assert "noncommercial" in capsys.readouterr().err


def with_works(name: str, *rows: Expected) -> Entry:
    from dataclasses import replace

    return replace(entry("songs"), name=name, expected=rows)


def test_help_is_what_fills_thin_groups() -> None:
    cells = {
        ("piano", "all"): CoverageCell(20, 5, False),
        ("piano", "romantic"): CoverageCell(20, 5, False),
        ("song", "all"): CoverageCell(500, 60, True),
        ("song", "romantic"): CoverageCell(500, 60, True),
    }
    few = with_works("few", Expected("piano", "romantic", 10, 2))
    many = with_works("many", Expected("piano", "romantic", 10, 3))
    useless = with_works("useless", Expected("song", "romantic", 1000, 50))
    new = with_works("new", Expected("organ", "baroque", 29, 30))
    found = helpful(cells, [few, new, useless, many])
    assert [each.name for each in found] == ["many", "new", "few"]
    assert found[0].fills == (("piano", "romantic"), ("piano", "all"))
    assert found[1].fills == () == found[2].fills


def test_coverage_is_what_the_reference_holds(tmp_path: Path) -> None:
    direct.add_corpus(corpus(tmp_path / "mine", ONE), workers=1)
    found = direct.coverage()
    all_works = sum(cell.works for (_, period), cell in found.cells.items() if period == "all")
    assert values("SELECT count(*) FROM works WHERE same_as IS NULL") == [(all_works,)]
    by_period = sum(cell.works for (_, period), cell in found.cells.items() if period != "all")
    assert by_period == all_works
    assert not any(cell.enough for cell in found.cells.values())
    assert "fewer than 30 works or 8 composers" in coverage_text(found)
