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

from corpusreg.corpus.files import bundled_root
from corpusreg.documents.handout import classroom, folders, writing
from corpusreg.documents.handout.dots import class_picture, piles
from corpusreg.documents.handout.edits import FILE_NAME, Edited, Edits, read_edits, written
from corpusreg.documents.handout.piece import Example
from corpusreg.documents.handout.privacy import cleaned
from corpusreg.documents.handout.roster import Roster, Writer, read_roster, without_names
from corpusreg.documents.handout.writing import MEASURES, Handout, handout
from corpusreg.measures.definitions import BY_NAME
from corpusreg.system.errors import CorpusregError, DataError, UsageError
from corpusreg.text.classroom import chance_words
from corpusreg.text.outputs.document import document
from corpusreg.text.sentences import place_words, value_words

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

    def test_numbers_are_those_of_json(self, made: tuple[Path, Path, Handout]) -> None:
        folder, out, _ = made
        found = direct.compare_paths([folder / "bo.musicxml"])
        (work,) = document(found.comparisons, (), found.reference_id)["works"]
        text = text_of(out / "teacher.pdf")
        placed = {each.measure.name: each for each in found.comparisons[0].measures}
        for measure in work["measures"]:
            if measure["name"] in MEASURES:
                each = placed[measure["name"]]
                value = value_words(each.measure, measure.get("size"))
                place = place_words(each.measure, each.value, each.placement)
                assert f"{each.measure.title}: {value}, {place}" in text

    def test_no_marks_and_no_ranking(self, made: tuple[Path, Path, Handout]) -> None:
        _, out, _ = made
        words = "weakest|stalled|poor|norm|below average|should|improve|fix|target|score|grade"
        for page in out.rglob("*.html"):
            told = words_of(page)
            if page.name == "teacher.html":  # why a file is no score, in the reader's words
                told = told.partition("To look into")[2].partition("broken.musicxml")[2]
                told = told.partition("Air #import")[2]
            assert told
            assert not re.search(rf"\b(?:{words})\b", told), page
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
        assert "pedal points:" in text_of(again / "teacher.pdf")
        assert "gaps between the voices:" not in text_of(again / "teacher.pdf")


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

        monkeypatch.setattr(writing, "call_each", measured)
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
        with pytest.raises(CorpusregError, match="in use"), folders.staging(out) as stage:
            fill(stage)
            folders.publish(stage, out)
        assert files_of(out) == ["a.txt", "notes.txt"]
        assert (out / "a.txt").read_text(encoding="utf-8") == "old"
        with folders.staging(out) as stage:
            fill(stage)
            folders.publish(stage, out)
        assert files_of(out) == ["a.txt", "b.txt", "notes.txt", "sheets/c.txt"]
        assert (out / "a.txt").read_text(encoding="utf-8") == "new"


class TestClass:
    """Habits and offers, on pieces with given ranks."""

    def members(self, ranks: Iterable[float], tied: bool = False) -> list[classroom.Member]:
        class _Piece:
            examples = ()

            def __init__(self, rank: float) -> None:
                self.ranks = {"span": (rank, tied)}

        return [
            classroom.Member(f"{n:02}", f"Piece {n}", "", _Piece(rank))  # type: ignore[arg-type]
            for n, rank in enumerate(ranks)
        ]

    def habit(self, ranks: Iterable[float], *, high: bool = True, tied: bool = False) -> Any:
        measure = next(m for m in classroom.BY_NAME.values() if m.name == "span")
        return classroom._habit(measure, self.members(ranks, tied), high=high)

    def test_dots_and_words_follow_one_rule(self) -> None:
        """Half of the class in an outer quarter: the words say it, and so do the dots."""
        for ranks in ([80, 90, 99, 76, 50, 50, 40, 30], [80, 90, 99, 50, 50, 50, 40, 30]):
            row = classroom._row(BY_NAME["span"], self.members(ranks))
            high = [side for _, side in row.dots].count("high")
            assert f"{high} in the highest" in class_picture([row], prefix="c").description
            assert (self.habit(ranks) is not None) == (2 * high >= len(ranks))

    def test_a_piece_like_many_works_is_a_ring(self) -> None:
        row = classroom._row(BY_NAME["span"], self.members([10, 20, 90], tied=True))
        picture = class_picture([row], prefix="c")
        circles = re.findall(r"<circle[^>]*>", picture.svg)
        assert len(circles) == 3 and all('fill="none"' in each for each in circles)
        assert "0 of 3 in the lowest quarter" in picture.description
        assert "3 like many of the works" in picture.description

    def test_half_of_a_class_at_one_end_is_a_habit(self) -> None:
        found = self.habit([80, 90, 99, 76, 95, 50, 40, 30])
        assert (found.many, found.placed, found.other) == (5, 8, None)
        # Exactly half: one class in nine by chance, which decides nothing.
        half = self.habit([80, 90, 99, 76, 50, 50, 40, 30])
        assert (half.many, half.placed) == (4, 8)
        assert self.habit([80, 90, 99, 50, 50, 50, 40]) is None  # less than half
        assert self.habit([80, 90]) is None  # two are no class
        assert chance_words("span", 4, 8).endswith("in about one class in 9.")
        assert self.habit([80, 90, 99, 76, 95, 50, 40, 30], high=False) is None
        assert self.habit([80, 90, 99, 76, 95], tied=True) is None

    @given(st.lists(st.floats(0, 100), max_size=40))
    def test_every_piece_is_a_dot(self, ranks: list[float]) -> None:
        found = piles([(rank, "middle") for rank in ranks])
        assert sum(len(sides) for _, sides in found) == len(ranks)
        assert all(0 < at < 100 for at, _ in found)

    def test_each_is_named_once(self) -> None:
        members = self.members([1, 2, 3])
        for member, strengths in zip(members, ((9, 5), (8, 7), (1, 1)), strict=True):
            member.piece.examples = tuple(  # type: ignore[misc]
                Example(topic, "bar 1", strength)
                for topic, strength in zip(("cleared", "shift"), strengths, strict=True)
            )
        found = classroom.offers(members)
        assert [(o.topic, [m.key for m, _ in o.shown_by]) for o in found] == [
            ("cleared", ["00", "02"]),
            ("shift", ["01"]),
        ]
        assert classroom.offers([replace(members[0], who="K7")])[0].shown_by[0][0].who == "K7"


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
            assert "Compared with" in page.extract_text()
