"""A session: one open reference, answers that show themselves, scores that are no files."""

from __future__ import annotations

import inspect
import io
import json
import shutil
from pathlib import Path
from typing import get_args

import pytest
from conftest import PIECES
from test_docs import commands_of

import corpusreg
from corpusreg import session as session_module
from corpusreg import store
from corpusreg.comparison.examples import ALL, KINDS
from corpusreg.corpus.catalogue import TIERS
from corpusreg.measures.definitions import MEASURES
from corpusreg.norms.asking import GROUPS
from corpusreg.session import Session
from corpusreg.system.errors import ReadError, UsageError

STAIRS = PIECES / "stairs.musicxml"
# Commands whose method has a name that says more, or which only the command line needs.
METHODS = {
    "map": "draw_map", "handout": "make_handout", "query": "ask",
    "corpora list": "corpora", "corpora get": "get_corpus", "corpora add": "add_corpus",
    "corpora template": "corpus_template", "corpora show": "show_corpus",
    "corpora remove": "remove_corpus", "corpora coverage": "coverage",
    "corpora duplicates": "duplicates",
    "reference export": "export_reference", "reference import": "import_reference",
}  # fmt: skip
WITHOUT = {"room", "completion"}


@pytest.fixture
def other_home(small_home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A home of its own, with the small reference in it."""
    shutil.copytree(small_home, tmp_path / "home")
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


def test_a_table_is_of_the_reference_that_was_opened(other_home: Path) -> None:
    """Also where another has been put in force since."""
    with corpusreg.open_reference() as opened:
        before = opened.table("span", by="ensemble")
        made = corpusreg.extract([str(PIECES)], workers=1)
        assert made.reference_id != opened.reference_id
        again = opened.table("span", by="ensemble")
        assert again.reference_id == opened.reference_id
        assert again.rows == before.rows
        assert opened.compare(STAIRS).reference_id == opened.reference_id
    assert corpusreg.table("span", by="ensemble").reference_id == made.reference_id


def test_a_run_opens_the_reference_once(
    in_home: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    opened: list[Path] = []
    real = store.Reference.__init__

    def counted(self: store.Reference, path: Path, *more: Path | None) -> None:
        opened.append(path)
        real(self, path, *more)

    monkeypatch.setattr(store.Reference, "__init__", counted)
    with Session() as session:
        session.compare(STAIRS).report(tmp_path / "page.html")
        session.table("span", by="period")
        session.examples("shift", count=1)
    assert len(opened) == 1


def test_a_score_is_a_path_bytes_a_file_or_a_stream(in_home: Path, tmp_path: Path) -> None:
    from music21 import converter

    with Session() as session:
        by_path = session.compare(STAIRS)
        content = STAIRS.read_bytes()
        with STAIRS.open("rb") as file:
            others = [session.compare(given) for given in (content, io.BytesIO(content), file)]
        # music21 writes other loudness than it read, so its stream is met by what it writes.
        stream = converter.parse(STAIRS)
        by_stream = session.compare(stream)
        by_export = session.compare(
            Path(stream.write("musicxml", fp=tmp_path / "out.musicxml"))
        )
        for other, same in [*((other, by_path) for other in others), (by_stream, by_export)]:
            (found,), (known,) = other.document["works"], same.document["works"]
            assert found["measures"] == known["measures"]
        several = session.compare([STAIRS, content])
        assert len(several.works) == 2
        rows = several.to_frame()
        assert list(rows["piece"]) == ["Stairs", "Stairs"] and list(rows["bars"]) == [32, 32]
        assert rows["does_first"][0].endswith("bar 13")
        several.full = True
        assert len(several.to_frame()) == 2 * len(MEASURES)
        with pytest.raises(UsageError, match="a int is not a score"):
            session.compare(7)
        with pytest.raises(ReadError):
            session.compare(b"nothing that can be read")


def test_answers_show_themselves(in_home: Path, tmp_path: Path) -> None:
    with Session() as session:
        placed = session.compare(STAIRS)
        assert json.loads(placed.to_json()) == json.loads(json.dumps(placed.document))
        assert set(placed.to_frame()["name"]) == {each.name for each in MEASURES}
        assert set(placed.to_frame()["title"]) == set(placed.works["title"])
        assert placed.plot().svg.startswith("<svg")
        assert "<svg" in placed._repr_html_() and "Stairs" in placed._repr_html_()
        assert str(placed) == placed.text
        table = session.table("span", by="period")
        frame = table.to_frame()
        assert frame.attrs["units"]["p50"] == "semitones"
        assert frame.attrs["reference_id"] == session.reference_id
        assert table.to_csv().splitlines()[0] == ",".join(table.names)
        assert "<table" in table._repr_html_()
        heights = session.heights(STAIRS, "5-8")
        assert set(heights.to_frame()["level"]) == {"student", "professional"}
        for answer in (
            session.contrast(STAIRS, "narrow"),
            session.revise(STAIRS, "move more at 9"),
            heights,
            session.ranges("flute"),
            session.examples("shift", count=2),
            session.profiles(),
            session.periods(["span"]),
            session.coverage(),
            session.duplicates(),
        ):
            assert answer.text.strip()
            assert json.loads(answer.to_json()) is not None
            assert answer.to_frame().attrs["definitions"]
            assert answer._repr_html_().startswith("<")


def test_what_cannot_be_read_stops_nothing_and_nothing_at_all_is_an_error(
    in_home: Path, tmp_path: Path
) -> None:
    broken = tmp_path / "broken.mid"
    broken.write_bytes(b"MThd")
    found = corpusreg.compare([STAIRS, broken])
    assert len(found.comparisons) == 1
    assert "broken.mid" in found.failures[0]
    with pytest.raises(ReadError, match=r"broken\.mid"):
        corpusreg.compare(broken)


def test_the_words_of_types_are_those_of_the_code() -> None:
    assert set(get_args(session_module.MeasureName)) == {each.name for each in MEASURES}
    assert set(get_args(session_module.PassageKind)) == {*KINDS, ALL}
    assert set(get_args(session_module.Grouping)) == set(GROUPS)
    assert set(get_args(session_module.Tier)) == set(TIERS)


def test_every_command_has_a_method_and_a_function() -> None:
    for words, command in commands_of():
        name = " ".join(words)
        if not words or hasattr(command, "commands") or name in WITHOUT:
            continue
        method = METHODS.get(name, name)
        assert callable(getattr(Session, method)), name
        assert callable(getattr(corpusreg, method)), name


def test_functions_are_the_methods_without_self() -> None:
    for name in corpusreg.__all__:
        if name in ("Session", "__version__", "open_reference"):
            continue
        assert inspect.getdoc(getattr(corpusreg, name)) == inspect.getdoc(
            getattr(Session, name)
        )
