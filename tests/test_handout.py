"""Sheets for a class: what they say, what a teacher may change, and whose names stay out."""

from __future__ import annotations

import html
import re
import shutil
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import direct
import pytest
from conftest import PIECES, Command
from hypothesis import given
from hypothesis import strategies as st
from playwright.sync_api import Browser
from pypdf import PdfReader
from test_pdf import embedded, squeezed, text_of

from corpusreg.comparison import class_file, findings
from corpusreg.comparison.class_file import ENDING, SavedClass, Settings
from corpusreg.comparison.class_piece import (
    ClassPiece,
    ComparedWith,
    Correction,
    Happening,
    MeasurePlace,
    Sentence,
    assignment,
)
from corpusreg.comparison.classroom import MEASURES, Class, classroom, side, since
from corpusreg.corpus.files import bundled_root
from corpusreg.documents.handout import reading, writing
from corpusreg.documents.handout.dots import class_picture, key, piles
from corpusreg.documents.handout.edits import FILE_NAME, Edited, Edits, read_edits, written
from corpusreg.documents.handout.reading import class_of
from corpusreg.documents.handout.roster import (
    Roster,
    Writer,
    cleaned,
    read_roster,
    without_names,
)
from corpusreg.documents.handout.writing import Handout, handout
from corpusreg.session import Session
from corpusreg.system.errors import CorpusregError, DataError, UsageError
from corpusreg.system.phrases import capital
from corpusreg.text import measures
from corpusreg.text.classroom import (
    assignment_answer,
    assignment_words,
    chance_words,
    corrected,
    sheet_sentences,
    since_words,
)

MARKUP = 'Air #import "x" <b>loud</b> $x^2$ *low*'
ROSTER = "file,name,code\n"
# A word that stands at the end of a line of an edited text and is not taken apart there.
WORDS = st.text("abcdef .,?", max_size=30).map(lambda text: " ".join(f"Say {text}".split()))


def titled(source: Path, target: Path, title: str) -> None:
    """A copy of a MusicXML piece under another title."""
    text = source.read_text(encoding="utf-8")
    changed = re.sub(
        r"<work-title>.*?</work-title>",
        f"<work-title>{html.escape(title, quote=False)}</work-title>".replace("\\", r"\\"),
        text,
    )
    assert changed != text
    target.write_text(changed, encoding="utf-8")


def make_class(folder: Path) -> Path:
    """Four pieces, two under one title, one under markup, and a file that is no score."""
    folder.mkdir()
    stairs, window = PIECES / "stairs.musicxml", PIECES / "kitchen-window.musicxml"
    titled(window, folder / "ada-1.musicxml", "Waltz")
    titled(stairs, folder / "bo.musicxml", "Waltz")
    titled(stairs, folder / "cleo.musicxml", MARKUP)
    shutil.copy(PIECES / "field-path.abc", folder / "field-path.abc")
    (folder / "broken.musicxml").write_text("<score-partwise>", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def made(
    small_home: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterable[tuple[Path, Path, Handout]]:
    """A class, its sheets, and what was said."""
    base = tmp_path_factory.mktemp("class")
    folder, out = make_class(base / "Tuesday class"), base / "new" / "sheets"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("CORPUSREG_HOME", str(small_home))
        yield folder, out, handout(folder, out)


def files_of(folder: Path) -> list[str]:
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())


def words_of(page: Path) -> str:
    """What a reader of a page sees, on one line."""
    body = page.read_text(encoding="utf-8").partition("<body>")[2]
    return squeezed(html.unescape(re.sub(r"<[^>]*>", " ", body)))


class TestWhole:
    """One run over a small class."""

    def test_files(self, made: tuple[Path, Path, Handout]) -> None:
        _, out, done = made
        sheets = [
            f"sheets/{name}.{kind}"
            for name in ("ada-1", "bo", "cleo", "field-path")
            for kind in ("html", "pdf")
        ]
        tops = ["all-sheets.pdf", "overview.html", "overview.pdf", FILE_NAME, *sheets]
        assert files_of(out) == sorted([*tops, "teacher.html", "teacher.pdf"])
        assert done.pieces == 4

    def test_the_unreadable_file_is_named(self, made: tuple[Path, Path, Handout]) -> None:
        _, out, done = made
        (problem,) = done.problems
        assert "broken.musicxml" in problem
        assert "broken.musicxml" in text_of(out / "teacher.pdf")
        assert "broken.musicxml" not in text_of(out / "overview.pdf")

    def test_two_pieces_with_one_title(self, made: tuple[Path, Path, Handout]) -> None:
        _, out, _ = made
        text = text_of(out / "teacher.pdf")
        assert "Waltz (ada-1.musicxml)" in text
        assert "Waltz (bo.musicxml)" in text

    def test_a_title_with_markup_is_text(self, made: tuple[Path, Path, Handout]) -> None:
        _, out, _ = made
        assert MARKUP in text_of(out / "sheets" / "cleo.pdf")
        assert MARKUP in words_of(out / "sheets" / "cleo.html")
        assert "<b>loud" not in (out / "sheets" / "cleo.html").read_text(encoding="utf-8")

    def test_one_page_a_piece(self, made: tuple[Path, Path, Handout]) -> None:
        _, out, _ = made
        assert len(PdfReader(out / "all-sheets.pdf").pages) == 4
        assert all(len(PdfReader(p).pages) == 1 for p in (out / "sheets").glob("*.pdf"))
        assert len(PdfReader(out / "overview.pdf").pages) == 1

    def test_on_a_phone_one_moves_along_a_map(
        self, made: tuple[Path, Path, Handout], browser: Browser
    ) -> None:
        """It keeps a legible size, and the page does not grow beyond the screen."""
        page = browser.new_page(viewport={"width": 390, "height": 800})
        for name in ("overview.html", "sheets/bo.html"):
            page.goto((made[1] / name).as_uri())
            assert page.evaluate("document.documentElement.scrollWidth") <= 390
            assert page.locator(".wide .picture").bounding_box()["width"] > 600  # type: ignore[index]
            assert page.locator(".wide").get_attribute("tabindex") == "0"
        page.close()

    def test_fonts_are_inside(self, made: tuple[Path, Path, Handout]) -> None:
        _, out, _ = made
        for pdf in out.rglob("*.pdf"):
            assert embedded(pdf)
            assert all(embedded(pdf))

    def test_sheets_say_what_the_text_file_says(self, made: tuple[Path, Path, Handout]) -> None:
        _, out, _ = made
        blocks = (out / FILE_NAME).read_text(encoding="utf-8").split("\n[")[1:]
        assert len(blocks) == 4
        for block in blocks:
            name = block.partition("]")[0].rpartition(".")[0]
            lines = block.splitlines()[1:]
            said = [line for line in lines if line and not line.startswith(("?", "("))]
            asked = [line[2:] for line in lines if line.startswith("? ")]
            assert 1 <= len(said) <= 3
            assert len(asked) == 1
            pdf = text_of(out / "sheets" / f"{name}.pdf")
            page = words_of(out / "sheets" / f"{name}.html")
            for sentence in (*said, *asked):
                assert sentence in pdf
                assert sentence in page
            assert any(re.search(r"\bbars? \d|first bar", sentence) for sentence in said)

    def test_two_passages(self, made: tuple[Path, Path, Handout]) -> None:
        _, out, _ = made
        page = (out / "sheets" / "bo.html").read_text(encoding="utf-8")
        assert len(re.findall(r'<figure class="notation">', page)) == 2
        ids = re.findall(r'\bid="([^"]+)"', page)
        assert len(ids) == len(set(ids))

    def test_pages_fetch_and_run_nothing(self, made: tuple[Path, Path, Handout]) -> None:
        _, out, _ = made
        for page in out.rglob("*.html"):
            text = page.read_text(encoding="utf-8")
            assert "default-src &#x27;none&#x27;" in text
            assert not re.search(r"<script|<img|<link|\bsrc=|\bon\w+=", text)

    def test_numbers_are_those_of_compare(self, made: tuple[Path, Path, Handout]) -> None:
        folder, out, _ = made
        (found,) = direct.compare_paths([folder / "bo.musicxml"]).comparisons
        text = text_of(out / "teacher.pdf")
        for each in findings.reading(found).measures:
            if each.name in MEASURES:
                place = measures.rank_words(each.rank) if each.rank else each.reason
                name = capital(measures.title(each.name))
                assert f"{name}: {measures.value_words(each.size, each.unit)}, {place}" in text

    def test_no_command_path_or_internal_name(self, made: tuple[Path, Path, Handout]) -> None:
        folder, out, _ = made
        for path in out.rglob("*.pdf"):
            text = text_of(path)
            assert "corpusreg" not in text and str(folder) not in text
            assert not re.search(r"\b[a-z]+_[a-z]+\b|\breference [0-9a-f]{6}", text), path

    def test_no_marks_and_no_ranking(self, made: tuple[Path, Path, Handout]) -> None:
        _, out, _ = made
        words = "weakest|stalled|poor|norm|below average|should|improve|fix|target|score|grade"
        for page in out.rglob("*.html"):
            words = words_of(page)
            if page.name == "teacher.html":  # why a file is no score, in the reader's words
                words = words.partition("To look into")[2].partition("broken.musicxml")[2]
                words = words.partition("Air #import")[2]
            assert words
            assert not re.search(rf"\b(?:{words})\b", words), page
        titles = re.findall(r"<h2>([^<]*)</h2>", (out / "teacher.html").read_text("utf-8"))
        pieces = [title for title in titles if "Waltz" in title or "Field" in title]
        assert pieces == sorted(pieces, key=str.casefold)

    def test_a_second_run_keeps_what_was_changed(
        self, made: tuple[Path, Path, Handout], tmp_path: Path
    ) -> None:
        folder, out, _ = made
        again = tmp_path / "again"
        shutil.copytree(out, again)
        text = (again / FILE_NAME).read_text(encoding="utf-8")
        block = text.partition("[bo.musicxml]")[2].partition("\n[")[0]
        first = block.splitlines()[1]
        changed = text.replace(block, block.replace(first, "My own <words> for #Bo."))
        changed = changed.replace(
            f"measures: {', '.join(MEASURES)}", "measures: span, pedal_points"
        )
        (again / FILE_NAME).write_text(changed, encoding="utf-8")
        handout(folder, again, paper="letter")
        pages = PdfReader(again / "all-sheets.pdf").pages
        assert [round(page.mediabox.height) for page in pages] == [792] * 4
        sheet = text_of(again / "sheets" / "bo.pdf")
        assert "My own <words> for #Bo." in sheet
        assert first not in sheet
        assert "My own <words> for #Bo." in (again / FILE_NAME).read_text(encoding="utf-8")
        assert "with sentences of your own" in text_of(again / "teacher.pdf")
        assert "Pedal points:" in text_of(again / "teacher.pdf")
        assert "Time with a gap:" not in text_of(again / "teacher.pdf")


class TestNames:
    """A roster, with names and with codes."""

    @pytest.fixture(scope="class")
    @classmethod
    def coded(
        cls, made: tuple[Path, Path, Handout], tmp_path_factory: pytest.TempPathFactory
    ) -> tuple[Path, Handout]:
        folder = tmp_path_factory.mktemp("coded") / "Ada Quillfeather's class"
        shutil.copytree(made[0], folder)
        titled(folder / "cleo.musicxml", folder / "cleo.musicxml", "Waltz for BORIS")
        (folder / "cleo.musicxml").rename(folder / "cleopatra-waltz.musicxml")
        notes = (folder / "bo.musicxml").read_text(encoding="utf-8")
        notes = notes.replace("<part-name>Piano<", "<part-name>Quillfeather<")
        (folder / "bo.musicxml").write_text(notes, encoding="utf-8")
        table = folder / "roster.csv"
        table.write_text(
            ROSTER + "ada-1.musicxml,Ada Quillfeather,K7\nbo.musicxml,Boris Ummel,K8\n"
            "cleopatra-waltz.musicxml,Cleopatra Zwirn,K9\nmissing.abc,Dov Ysop,K10\n",
            encoding="utf-8",
        )
        out = folder.parent / "out"
        return out, handout(folder, out, roster=table, codes=True)

    def test_names_are_nowhere(self, coded: tuple[Path, Handout]) -> None:
        out, _ = coded
        hidden = {"ada", "quillfeather", "boris", "ummel", "cleopatra", "zwirn", "dov", "ysop"}
        for path in out.rglob("*"):
            kept = str(path.relative_to(out))
            if path.suffix == ".pdf":
                kept += f" {text_of(path)} {PdfReader(path).metadata}"
                # In streams, which hold numbers too, few letters in a row may be chance.
                assert not runs_of_letters(all_of(path)) & {
                    name for name in hidden if len(name) > 4
                }
            elif path.is_file():
                kept += " " + path.read_text(encoding="utf-8")
            assert not runs_of_letters(kept) & hidden, path

    def test_codes_are_there(self, coded: tuple[Path, Handout]) -> None:
        out, _ = coded
        names = {path.stem for path in (out / "sheets").glob("*.pdf")}
        assert {"K7", "K8", "K9"} < names
        assert len(names) == 4  # the fourth has no row
        assert any(name.startswith("no-code-") for name in names)
        assert "Waltz for K8" in text_of(out / "sheets" / "K9.pdf")
        assert "[K7]" in (out / FILE_NAME).read_text(encoding="utf-8")

    def test_gaps_are_said(self, coded: tuple[Path, Handout]) -> None:
        _, done = coded
        assert any("'missing.abc' is not in the folder" in line for line in done.problems)
        rowless = [line for line in done.problems if "no row for" in line]
        assert [line.partition("no row for ")[2] for line in rowless] == [
            "'field-path.abc'; its sheet stands without a name"  # a broken one has no sheet
        ]

    def test_what_cannot_be_read_is_named_once(self, coded: tuple[Path, Handout]) -> None:
        _, done = coded
        (line,) = (line for line in done.problems if "broken" in line)
        assert line.count("broken.musicxml") == 1

    def test_one_title_twice_is_told_apart_by_the_writer_once(
        self, made: tuple[Path, Path, Handout], tmp_path: Path
    ) -> None:
        table = tmp_path / "roster.csv"
        table.write_text(
            ROSTER + "ada-1.musicxml,Ada Moss,1\nbo.musicxml,Bo Lind,2\n", encoding="utf-8"
        )
        handout(made[0], tmp_path / "out", roster=table)
        for name in ("overview", "teacher", "sheets/ada-1"):
            text = text_of(tmp_path / "out" / f"{name}.pdf")
            assert "Ada Moss" in text
            assert not re.search(r"\(Ada Moss\) \(?Ada Moss", text), name

    def test_sheets_that_may_show_names_are_not_mixed_with_codes(
        self, made: tuple[Path, Path, Handout], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        folder, out, _ = made
        before, roster = files_of(out), self._all(folder)

        def measured(*_: object) -> object:
            raise AssertionError("measured before the folder was looked at")

        monkeypatch.setattr(reading, "Pool", measured)
        with pytest.raises(UsageError, match="may show names"):
            handout(folder, out, roster=roster, codes=True)
        assert files_of(out) == before

    def _all(self, folder: Path) -> Path:
        table = folder.parent / "all.csv"
        rows = [f"{name},N,C{n}\n" for n, name in enumerate(files_of(folder))]
        table.write_text(ROSTER + "".join(rows), encoding="utf-8")
        return table

    def test_rows_are_found(self) -> None:
        rows = (Writer("sub/a.abc", "Ada", "1"), Writer("B.mxl", "Bo", "2"))
        assert Roster(rows).known(["sub/a.abc", "b.mxl", "c.krn"]) == {
            "sub/a.abc": ("sub/a.abc", "Ada"),
            "b.mxl": ("b.mxl", "Bo"),
            "c.krn": ("c.krn", ""),
        }
        assert Roster(rows).gaps(["sub/a.abc", "c.krn"]) == (["B.mxl"], ["c.krn"])

    @pytest.mark.parametrize(
        ("text", "words"),
        [
            ("", "no column 'file'"),
            ("name,code\nAda,1\n", "no column 'file'"),
            ("file,name\na.abc,Ada\nA.abc,Bo\n", "the file 'A.abc' stands in two rows"),
            ("file,code\na.abc,1\nb.abc,1\n", "the code '1' stands in two rows"),
            ("file,name\n,Ada\n", "line 2: no file named"),
            ('file,name\n"a.abc,Ada\n', "no table"),
        ],
    )
    def test_bad_rosters(self, tmp_path: Path, text: str, words: str) -> None:
        table = tmp_path / "roster.csv"
        table.write_text(text, encoding="utf-8")
        with pytest.raises(DataError, match=re.escape(words)):
            read_roster(table)

    def test_other_roster_troubles(self, tmp_path: Path) -> None:
        with pytest.raises(DataError, match="cannot be read"):
            read_roster(tmp_path / "none.csv")
        table = tmp_path / "roster.csv"
        table.write_bytes("file,name\na.abc,Zoë\n".encode("cp1252"))
        with pytest.raises(DataError, match="not UTF-8"):
            read_roster(table)
        table.write_text("file;name;code\na.abc;Ada;\n", encoding="utf-8")
        assert read_roster(table).rows == (Writer("a.abc", "Ada"),)
        with pytest.raises(UsageError, match=r"no code for a\.abc"):
            read_roster(table, codes=True)

    @given(st.text(max_size=60), st.sampled_from(["Ada Moss", "Bo", "E.", "Ann-Lee O'Hara"]))
    def test_a_whole_name_never_stays(self, around: str, name: str) -> None:
        text = f"{around} {name} {around}"
        assert f" {name} " not in without_names(text, {name: "K7"})
        assert "K7" in without_names(text, {name: "K7"})

    def test_pictures_keep_their_shapes(self) -> None:
        svg = '<svg class="Ada"><title>For Ada &amp; Bo</title><g data-bar="Ada"/></svg>'
        assert cleaned((svg, "Ada"), {"Ada": "K7"}) == (
            '<svg class="Ada"><title>For K7 &amp; Bo</title><g data-bar="K7"/></svg>',
            "K7",
        )


def runs_of_letters(text: str) -> set[str]:
    return set(re.findall(r"[^\W\d_]+", text.casefold()))


def all_of(path: Path) -> str:
    """Text, titles and every stream of a PDF."""
    reader = PdfReader(path)
    found = [text_of(path), str(reader.metadata), str(reader.xmp_metadata)]
    for number in range(1, reader.trailer["/Size"]):
        each: Any = reader.get_object(number)
        found.append(str(each))
        # Fonts are shapes; letters in a row in them are chance.
        if hasattr(each, "get_data") and "/Subtype" not in each:
            found.append(each.get_data().decode("latin-1"))
    return " ".join(found)


class TestEdits:
    """The teacher's text."""

    @given(
        st.lists(WORDS, min_size=0, max_size=3).map(tuple),
        WORDS,
        st.one_of(st.none(), st.lists(WORDS, max_size=4).map(tuple)),
        st.one_of(st.none(), WORDS),
    )
    def test_what_was_changed_is_read_again(
        self,
        tmp_path_factory: pytest.TempPathFactory,
        sentences: tuple[str, ...],
        asked: str,
        own: tuple[str, ...] | None,
        own_question: str | None,
    ) -> None:
        fresh, changed = Edited(sentences, asked), Edited(own, own_question)
        path = tmp_path_factory.mktemp("edits") / FILE_NAME
        path.write_text(written(("span",), [("a.abc", "A", fresh, changed)], {}), "utf-8")
        found = read_edits(path)
        expected = Edited(
            None if own == sentences else own, None if own_question == asked else own_question
        )
        assert found == Edits(("span",), {"a.abc": expected})

    def test_changed_blocks_of_absent_pieces_stay(self, tmp_path: Path) -> None:
        path = tmp_path / FILE_NAME
        left = {"gone.abc": Edited(("Mine.",), None), "asked.abc": Edited(None, "Why?")}
        path.write_text(written(("span",), [], left), encoding="utf-8")
        assert read_edits(path).pieces == left

    def test_without_signs_everything_is_kept(self, tmp_path: Path) -> None:
        path = tmp_path / FILE_NAME
        path.write_text("\ufeff[a.abc]  A\r\nOne.\r\n?\r\n", encoding="utf-8")
        assert read_edits(path).of("a.abc") == Edited(("One.",), "")

    @pytest.mark.parametrize(
        ("text", "words"),
        [
            (b"measures: spam\n", "line 1: no measure 'spam'"),
            (b"measures:\n", "no measure ''"),
            (b"# fine\nOne sentence.\n", "line 2: before the first piece"),
            (b"\xff\xfe\x00", "not UTF-8"),
        ],
    )
    def test_bad_texts(self, tmp_path: Path, text: bytes, words: str) -> None:
        path = tmp_path / FILE_NAME
        path.write_bytes(text)
        with pytest.raises(DataError, match=words):
            read_edits(path)


class TestBadInput:
    """One line each, and nothing left behind."""

    def one_line(self, run: Command, *arguments: str | Path) -> str:
        done = run("handout", *arguments)
        assert done.returncode in (1, 2)
        (line,) = done.stderr.splitlines()
        assert done.stdout == ""
        return str(line)

    def test_folders(self, run: Command, tmp_path: Path) -> None:
        empty, out = tmp_path / "empty", tmp_path / "out"
        empty.mkdir()
        assert "no scores in this folder" in self.one_line(run, empty, "--to", out)
        (empty / "a.musicxml").write_text("<score-partwise>", encoding="utf-8")
        assert "no piece can be read" in self.one_line(run, empty, "--to", out)
        one = PIECES / "stairs.musicxml"
        assert "not a folder" in self.one_line(run, one, "--to", out)
        assert not out.exists()
        assert [path.name for path in tmp_path.iterdir()] == ["empty"]

    def test_places_that_cannot_be_written(self, run: Command, tmp_path: Path) -> None:
        file = tmp_path / "file"
        file.write_text("mine", encoding="utf-8")
        for out in (file, file / "inside"):
            assert "cannot be written" in self.one_line(run, PIECES, "--to", out)
        assert file.read_text(encoding="utf-8") == "mine"
        assert list(tmp_path.iterdir()) == [file]

    def test_requests_that_make_no_sense(self, in_home: Path, tmp_path: Path) -> None:
        out = tmp_path / "out"
        with pytest.raises(UsageError, match="no measure 'spam'"):
            handout(PIECES, out, measures=["spam"])
        with pytest.raises(UsageError, match="wants a roster"):
            handout(PIECES, out, codes=True)
        with pytest.raises(UsageError, match="spoons"):
            handout(PIECES, out, cohort="ensemble=spoons")
        assert not list(tmp_path.iterdir())

    def test_a_failing_move_puts_everything_back(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        out = tmp_path / "out"
        out.mkdir()
        (out / "a.txt").write_text("old", encoding="utf-8")
        (out / "notes.txt").write_text("mine", encoding="utf-8")
        moves = Path.replace
        count = 0

        def failing(self: Path, target: Path) -> Path:
            nonlocal count
            count += 1
            if count == 3:
                raise PermissionError(13, "in use")
            return moves(self, target)

        def fill(stage: Path) -> None:
            (stage / "sheets").mkdir()
            for name in ("a.txt", "b.txt", "sheets/c.txt"):
                (stage / name).write_text("new", encoding="utf-8")

        monkeypatch.setattr(Path, "replace", failing)
        with pytest.raises(CorpusregError, match="in use"), writing.staging(out) as stage:
            fill(stage)
            writing.publish(stage, out)
        assert files_of(out) == ["a.txt", "notes.txt"]
        assert (out / "a.txt").read_text(encoding="utf-8") == "old"
        with writing.staging(out) as stage:
            fill(stage)
            writing.publish(stage, out)
        assert files_of(out) == ["a.txt", "b.txt", "notes.txt", "sheets/c.txt"]
        assert (out / "a.txt").read_text(encoding="utf-8") == "new"


class TestClass:
    """Habits and devices, on pieces with given ranks."""

    def group(self, ranks: Iterable[float], *, tied: bool = False) -> Class:
        pieces = [piece(n, rank, tied=tied) for n, rank in enumerate(ranks)]
        return classroom("Class", pieces, ["span"])

    def shared(self, ranks: Iterable[float], *, tied: bool = False) -> list[Any]:
        found = self.group(ranks, tied=tied).shared
        return [(each.side, each.many, each.placed) for each in found]

    def test_dots_and_words_follow_one_rule(self) -> None:
        """Half of the class in an outer quarter: the words say it, and so do the dots."""
        for ranks in ([80, 90, 99, 76, 50, 50, 40, 30], [80, 90, 99, 50, 50, 50, 40, 30]):
            group = self.group(ranks)
            high = len(group.lines[0].on("high"))
            assert f"{high} in the highest" in class_picture(group, prefix="c").description
            assert bool(group.shared) == (2 * high >= len(ranks))

    def test_a_piece_whose_side_cannot_be_told_is_a_ring(self) -> None:
        group = self.group([10, 20, 90], tied=True)
        picture = class_picture(group, prefix="c")
        circles = re.findall(r"<circle[^>]*>", picture.svg)
        assert sum('fill="none"' in each for each in circles) == 3
        assert "0 of 3 in the lowest quarter" in picture.description
        # Few works like it: it may as well lie beyond the middle.
        sides = [side(MeasurePlace("", "", *place)) for place in (
            (10, False, (1, 30)), (10, False, (1, 60)), (90, False, (40, 99)),
            (90, False, (60, 99)), (60, False, (5, 90)), (60, False, (0, 95)),
            (10, True, (9, 11)),
        )]  # fmt: skip
        assert sides == ["low", "none", "none", "high", "middle", "none", "none"]
        assert "3 on neither side" in picture.description

    def test_half_of_a_class_at_one_end_is_a_habit(self) -> None:
        assert self.shared([80, 90, 99, 76, 95, 50, 40, 30]) == [("high", 5, 8)]
        # Exactly half: one class in nine by chance, which decides nothing.
        assert self.shared([80, 90, 99, 76, 50, 50, 40, 30]) == [("high", 4, 8)]
        assert self.shared([80, 90, 99, 50, 50, 50, 40]) == []  # less than half
        assert self.shared([80, 90]) == []  # two are no class
        # Whose side is not certain is said to be there perhaps.
        some = [piece(n, rank, tied=rank == 10) for n, rank in enumerate((80, 90, 99, 10))]
        (found,) = classroom("Class", some, ["span"]).shared
        assert not found.others and [each.piece for each in found.perhaps] == some[3:]
        assert chance_words("span", 4, 8).endswith("in about one class in 9.")
        assert self.shared([80, 90, 99, 76, 95], tied=True) == []

    @given(st.lists(st.floats(0, 100), max_size=40))
    def test_every_piece_is_a_dot(self, ranks: list[float]) -> None:
        found = piles(self.group(ranks).lines[0].dots)
        assert sum(len(dots) for _, dots in found) == len(ranks)
        assert all(0 < at < 100 for at, _ in found)

    def test_every_dot_has_the_number_of_its_piece(self) -> None:
        group = self.group([5, 95, 50])
        svg = class_picture(group, prefix="c").svg
        assert {number for number, _ in key(group)} <= {*re.findall(r">(\d+)</text>", svg)}


def piece(n: int, rank: float, *, tied: bool = False, **more: Any) -> ClassPiece:
    """A piece of eight bars with an event, as a class keeps it."""
    fields: dict[str, Any] = {
        "file": f"{n:02}.mid", "number": "", "title": f"Piece {n:02}", "kind": "piano",
        "single_line": False, "length": "8 bars", "reach": "C3–C5", "bars": 8,
        "labels": tuple("12345678"), "starts": tuple(range(8)), "heard": 8,
        "group": ComparedWith("ensemble=piano", "piano works", 100, 20, ""),
        "happenings": (happening("withheld_bass", 3), happening("shift", 5)),
        "unusual": (), "unusual_known": True, "stays": (), "players": (),
        "compared": "Compared with 100 piano works.", "notes": (),
        "places": {
            "span": MeasurePlace("40 semitones", "as told", rank, tied, (rank - 9, rank + 9))
        },
    }  # fmt: skip
    return ClassPiece(**fields | more)


def happening(device: str, bar: int) -> Happening:
    where = f"bar {bar + 1}"
    return Happening(device, (bar, bar + 1), (bar, bar + 1), bar, where, where, f"At {where}.")


class TestVeto:
    """A teacher strikes, renames, moves and adds events; the class follows."""

    def changed(self, *corrections: Correction) -> ClassPiece:
        return corrected(piece(0, 50), corrections)

    def test_struck(self) -> None:
        first, second = piece(0, 50).happenings
        found = self.changed(Correction("00.mid", "", first.key, struck=True))
        assert found.happenings == (second,)
        assert sheet_sentences(found, ["span"])[0].said == second.said
        # Of another piece it says nothing.
        other = Correction("01.mid", "", first.key, struck=True)
        assert self.changed(other).happenings == (first, second)

    def test_what_is_said_first_when_no_clear_event_is_left(self) -> None:
        """The same in the table and on the sheet."""
        first, second = piece(0, 50).happenings
        rest = Sentence("stay", "It stays.", "bars 1–8", (0, 4), bars=8, short="stays")
        weak = replace(second, clear=False)
        found = piece(0, 50, happenings=(first, weak), stays=(rest,), otherwise=rest)
        assert found.first == first
        own = corrected(found, [Correction("00.mid", "", first.key, struck=True)])
        assert own.first == rest
        assert [each.said for each in sheet_sentences(own, ["span"])] == [rest.said, weak.said]

    def test_renamed_moved_and_added(self) -> None:
        first, second = piece(0, 50).happenings
        found = self.changed(
            Correction("00.mid", "", first.key, device="climb"),
            Correction("00.mid", "", second.key, first="2", last="4"),
            Correction("00.mid", "", device="the bell", first="7"),
        )
        said = [(each.device, each.run, each.own) for each in found.happenings]
        assert said == [
            ("climb", first.run, True), ("shift", (1, 4), True), ("the bell", (6, 7), True)
        ]  # fmt: skip
        assert found.happenings[2].said == "The bell in bar 7."
        group = classroom("Class", [found, piece(1, 50)], ["span"])
        assert [each.device for each in group.devices] == [
            "withheld_bass", "climb", "shift", "the bell",
        ]  # fmt: skip

    @pytest.mark.parametrize(
        ("change", "words"),
        [
            ({"device": "climb", "first": "99"}, "there is no bar '99'"),
            ({"device": "climb", "first": "5", "last": "2"}, "bar 2 comes before bar 5"),
            ({"device": " ", "first": "5"}, "has no name"),
        ],
    )
    def test_what_makes_no_sense(self, change: dict[str, str], words: str) -> None:
        with pytest.raises(UsageError, match=words):
            self.changed(Correction("00.mid", "", **change))  # type: ignore[arg-type]


class TestAssignments:
    """What was asked of all, and what happens there; never a mark."""

    def test_what_happens_is_told_with_bars(self) -> None:
        asked = assignment("withheld_bass", "4")
        assert assignment_words(asked) == "Withhold the bass, then bring it in at bar 4."
        assert assignment_answer(piece(0, 50), asked) == ("At bar 4.",)
        none = assignment_answer(piece(0, 50, happenings=()), asked)
        assert none == ("Here no withheld bass was found.",)

    def test_shifts_are_counted_however_they_move(self) -> None:
        several = (happening("shift", 5), happening("opening", 2), happening("climb", 1))
        asked = assignment("shift", "", "2")
        assert assignment_words(asked) == "Change register clearly at least twice."
        (first, *_) = assignment_answer(piece(0, 50, happenings=several), asked)
        assert first == "Two clear shifts: bars 3 and 6."

    def test_the_nearest_to_a_bar_comes_first(self) -> None:
        two = (happening("climb", 1), happening("climb", 6))
        found = assignment_answer(piece(0, 50, happenings=two), assignment("climb", "8"))
        assert found == ("At bar 7.", "At bar 2.")

    @pytest.mark.parametrize(("device", "number"), [("spoons", ""), ("shift", "0")])
    def test_what_cannot_be_asked(self, device: str, number: str) -> None:
        with pytest.raises(UsageError):
            assignment(device, "", number)


class TestBetweenTerms:
    """A class in one file, and beside an earlier one."""

    def saved(self, *pieces: ClassPiece, **settings: Any) -> SavedClass:
        called = {each.file: (each.file, "") for each in pieces}
        return SavedClass("Class", pieces, (), called, Settings(("span",), **settings), "abc")

    def test_what_is_saved_is_opened_again(self, tmp_path: Path) -> None:
        change = Correction("00.mid", "", device="climb", first="3")
        kept = self.saved(
            piece(0, 10),
            piece(1, 100.00000000000003),
            corrections=(change,),
            asked=assignment("shift"),
        )
        path = tmp_path / f"class{ENDING}"
        class_file.saved(kept, path)
        assert class_file.opened(path) == kept
        assert class_of(class_file.opened(path)) == class_of(kept)

    @pytest.mark.parametrize(
        "data",
        [
            b"", b"{}", b"[1]", b"\xff", b"[" * 100_000,
            class_file.encoded(SavedClass("x", (), (), {}, Settings(("spam",)), "")),
        ],
    )  # fmt: skip
    def test_other_files_are_refused_in_one_line(self, data: bytes) -> None:
        with pytest.raises(DataError, match=r"^a\.json: not a saved class") as caught:
            class_file.decoded(data, "a.json")
        assert "\n" not in str(caught.value)

    @pytest.mark.parametrize(
        "change",
        [
            {"labels": ("1",)}, {"places": {}},
            {"places": {"span": MeasurePlace("x", "x", -5.0)}}, {"file": "other.mid"},
        ],
    )  # fmt: skip
    def test_what_does_not_belong_together_is_refused(self, change: dict[str, Any]) -> None:
        kept = replace(self.saved(piece(0, 10)), pieces=(piece(0, 10, **change),))
        with pytest.raises(DataError, match=r"an odd piece, Piece 00"):
            class_file.decoded(class_file.encoded(kept), "a.json")

    def test_beside_an_earlier_class(self) -> None:
        before = class_of(self.saved(piece(0, 10), piece(1, 90), piece(2, 90)))
        other = (happening("climb", 2), happening("shift", 5))
        now = class_of(self.saved(piece(0, 10, happenings=other), piece(1, 90), piece(3, 90)))
        assert since_words(since(before, now)) == (
            "Piece 00: now: climb; no longer: bass withheld.",
            "Piece 01: as before.",
            "New in the class: Piece 03.",
            "Only in the earlier class: Piece 02.",
        )

    def test_codes_keep_names_out_of_the_file(self, in_home: Path, tmp_path: Path) -> None:
        folder = tmp_path / "Quillfeather"
        folder.mkdir()
        titled(PIECES / "stairs.musicxml", folder / "ada.musicxml", "Ada's Waltz")
        table = tmp_path / "roster.csv"
        table.write_text(ROSTER + "ada.musicxml,Ada Quillfeather,K7\n", encoding="utf-8")
        with Session() as session:
            found = session.open_class(folder, table, codes=True)
            found.save(tmp_path / f"kept{ENDING}")
            with pytest.raises(UsageError, match="without its scores"):
                found.save(tmp_path / f"kept{ENDING}", scores=True)
        kept = (tmp_path / f"kept{ENDING}").read_text(encoding="utf-8")
        assert "K7" in kept
        assert not runs_of_letters(kept) & {"ada", "quillfeather"}

    def test_sheets_from_the_file_of_a_class(self, in_home: Path, tmp_path: Path) -> None:
        """With its corrections, and beside the class as it was."""
        folder = tmp_path / "Tuesday"
        folder.mkdir()
        shutil.copy(PIECES / "stairs.musicxml", folder / "stairs.musicxml")
        path = tmp_path / f"kept{ENDING}"
        with Session() as session:
            found = session.open_class(folder)
            first = found.group.members[0].piece.happenings[0]
            own = found.corrected(Correction("stairs.musicxml", "", first.key, struck=True))
            own.assigned("shift", number=2).save(path, scores=True)
            session.make_handout(path, tmp_path / "to", earlier=found)
        sheet = text_of(tmp_path / "to" / "sheets" / "stairs.pdf")
        assert first.said not in sheet
        assert "The task: Change register clearly at least twice." in sheet
        assert "Beside the earlier class" in text_of(tmp_path / "to" / "teacher.pdf")


def test_a_long_piece_and_a_full_sheet_keep_to_one_page(in_home: Path, tmp_path: Path) -> None:
    """246 played bars; and two passages of notation that need three systems."""
    root, folder, out = bundled_root(), tmp_path / "class", tmp_path / "sheets"
    folder.mkdir()
    shutil.copy(root / "beethoven/opus18no1/movement3.mxl", folder / "long.mxl")
    shutil.copy(root / "bach/bwv846.mxl", folder / "full.mxl")
    for paper in ("a4", "letter"):
        assert handout(folder, out, paper=paper).problems == ()
        for name in ("long", "full"):
            (page,) = PdfReader(out / "sheets" / f"{name}.pdf").pages
            text = page.extract_text()
            assert "Compared with" in text or "Not placed among other works" in text
