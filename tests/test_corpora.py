"""Open corpora: the catalogue, what their tables say, the list of added ones, bad folders.

The corpora here are written by hand in the layouts of the real ones, a few files each.
"""

from __future__ import annotations

import itertools
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from corpusreg.building.extract import extract_file
from corpusreg.corpus import catalogue
from corpusreg.corpus.catalogue import SourceFile, resolve
from corpusreg.corpus.corpora import (
    Added,
    added,
    allowed,
    chosen_name,
    entry,
    find_added,
    forget,
    listed,
    remember,
    write_template,
)
from corpusreg.corpus.entries import entries, parsed
from corpusreg.corpus.layouts import LAYOUTS
from corpusreg.corpus.table import COLUMNS, read_table
from corpusreg.corpus.tables import rows
from corpusreg.instruments.ensembles import kinds
from corpusreg.store.tables import columns
from corpusreg.system import settings
from corpusreg.system.errors import DataError, ReadError, StoreError, UsageError

ABC = "X:1\nT:Tune\nM:4/4\nL:1/4\nK:C\nCDEF|GABc|cBAG|FEDC|\n"


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


def write(path: Path, text: str = ABC, encoding: str = "utf-8") -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(text.encode(encoding))
    return path


def musicxml(composer: str = "", rights: str = "CC0") -> str:
    return (
        '<score-partwise version="4.0"><identification>'
        f'<creator type="composer">{composer}</creator><rights>{rights}</rights>'
        '</identification><part-list><score-part id="P1"><part-name>Piano</part-name>'
        '</score-part></part-list><part id="P1"><measure number="1"><attributes>'
        "<divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
        "</attributes><note><pitch><step>C</step><octave>4</octave></pitch>"
        "<duration>4</duration></note></measure></part></score-partwise>"
    )


def known(corpus: Added) -> dict[str, dict[str, str]]:
    return {file.relative: dict(file.known) for file in listed(corpus).files}


# The catalogue


def test_every_entry_is_complete_and_says_only_what_exists() -> None:
    assert {"songs", "quartets", "orchestra", "heritage", "library", "hymns"} <= {
        each.name for each in entries()
    }
    periods = {row["name"] for row in rows("periods.csv")}
    for each in entries():
        assert each.title and each.holds and each.dates, each.name
        assert each.statement and each.evidence and each.counted, each.name
        assert each.layout in LAYOUTS, each.name
        assert set(each.allowed) <= set(catalogue.TIERS), each.name
        assert bool(each.repository) == (len(each.revision) == 40), each.name
        assert all(reason for _, reason in each.exclude)
        for row in each.expected:
            assert row.ensemble in kinds(), each.name
            assert row.period in periods, each.name
            assert 0 < row.composers <= row.works


def test_what_excludes_commerce_or_is_unclear_is_off_and_not_fetched() -> None:
    for each in entries():
        assert each.on == (set(each.allowed) == {"open"}), each.name
        assert each.on or not each.repository, each.name


def test_an_unknown_corpus_is_refused_with_the_nearest_name() -> None:
    with pytest.raises(UsageError, match="did you mean songs"):
        entry("song")


def test_a_malformed_entry_is_named() -> None:
    with pytest.raises(DataError, match=r"data/corpora/mine\.toml"):
        parsed("mine", "title = 'x'")
    with pytest.raises(DataError, match=r"mine\.toml"):
        parsed("mine", "title = ")


# Layouts


def tables(root: Path) -> None:
    head = "id\tpath\tname\t"
    write(
        root / "data/composers.tsv",
        f"{head}born\tdied\n1\tFaisst,_Clara_Mathilda\tClara Faisst\t1872\t1948\n",
    )
    write(
        root / "data/sets.tsv",
        f"{head}composer_id\n5\tFaisst,_Clara_Mathilda/2_Lieder,_Op.8\t2 Lieder, Op.8\t1\n",
    )
    write(
        root / "data/scores.tsv",
        f"{head}set_id\n"
        '7\tFaisst,_Clara_Mathilda/2_Lieder,_Op.8/1_Die_"Insel"\tDie "Insel"\t5\n'
        "6164267\tFaisst,_Clara_Mathilda/2_Lieder,_Op.8/1_Insel\tInsel\t5\n",
    )


def test_songs_take_title_composer_and_set_from_the_tables(tmp_path: Path) -> None:
    root = tmp_path / "lieder"
    tables(root)
    song = 'scores/Faisst,_Clara_Mathilda/2_Lieder,_Op.8/1_Die_"Insel"/lc7.musicxml'
    write(root / song, musicxml())
    write(root / "scores/Nobody,_Known/_/Song/lc8.musicxml", musicxml())
    write(root / "scores/Nobody,_Known/_/Song/lc30888626.mxl")
    moved = "scores/Faisst,_Clara_Mathilda/2_Lieder,_Op.8/01_Insel/lc6164267.musicxml"
    write(root / moved, musicxml())
    found = listed(Added("songs", root))
    facts = {file.relative: dict(file.known) for file in found.files}
    told = facts[song]
    assert (told["title"], told["composer"]) == ('Die "Insel"', "Clara Faisst")
    assert (told["born"], told["died"], told["genre"]) == ("1872", "1948", "song")
    assert told["column:set"] == "2 Lieder, Op.8"
    assert (facts[moved]["title"], facts[moved]["column:set"]) == ("Insel", "2 Lieder, Op.8")
    assert facts["scores/Nobody,_Known/_/Song/lc8.musicxml"]["composer"] == "Nobody, Known"
    assert dict(found.left_out) == {"mislabelled: it holds another composer's song": 1}


def test_movements_take_number_and_date_of_publication(tmp_path: Path) -> None:
    root = tmp_path / "orchestra"
    write(
        root / "data/sets.yaml",
        "- id: 1\n  path: Beach,_Amy/Symphony_in_E_minor\n"
        '  name: "Symphony in E minor"\n  date: 1897  # first print\n',
    )
    write(root / "data/Beach,_Amy/Symphony_in_E_minor,_Op.32/03/Beach_03.musicxml", musicxml())
    write(root / "data/Beach,_Amy/Symphony_in_E_minor,_Op.32/03/Beach_03_melody.mxl")
    write(root / "data/Haydn,_Franz/Symphony_No.104/1/Haydn_104_1.musicxml", musicxml())
    (relative, told), (_, other) = sorted(known(Added("orchestra", root)).items())
    assert relative.endswith("Beach_03.musicxml")
    assert (other["title"], other["movement"]) == ("Symphony No.104", "1")
    assert resolve(other["composer"]) is resolve("Joseph Haydn")
    assert (told["title"], told["movement"], told["date"]) == (
        "Symphony in E minor",
        "3",
        "1897",
    )
    file = min(listed(Added("orchestra", root)).files)
    (work,) = (
        dict(zip(columns("works"), row, strict=True)) for row in extract_file(file)["works"]
    )
    assert (work["year"], work["year_source"]) == (1897, "published")
    assert (work["period"], work["composer"]) == ("romantic", "beach-amy")


KERN = """\
!!!!SEGMENT: {name}
!!!COM: {composer}
!!!CDT: {life}
{records}
**kern
*M4/4
=1
4c
4d
4e
4f
==
*-
!!!YEM: {rights}
"""


def test_a_folder_with_one_table_for_all_scores(tmp_path: Path) -> None:
    """The columns are found by name, whatever others there are; paths may begin with './'."""
    root = tmp_path / "pdmx"
    for name in ("a", "b", "c", "d"):
        write(root / f"mxl/1/{name}.musicxml", musicxml())
    write(
        root / "PDMX.csv",
        "path,mxl,title,composer_name,genres,rating,license_conflict,subset:all_valid,other\n"
        "a.json,./mxl/1/a.musicxml,Evening,Clara Schumann,classical-romantic,4.9,False,True,x\n"
        "b.json,./mxl/1/b.musicxml,Bought,Ada Kuhn,pop,,True,True,x\n"
        "c.json,./mxl/1/c.musicxml,Broken,NaN,,,False,False,x\n",
    )
    listing = listed(Added("pdmx", root))
    (file,) = listing.files
    told = dict(file.known)
    assert file.relative == "mxl/1/a.musicxml"
    assert (told["title"], told["composer"], told["genre"]) == (
        "Evening", "Clara Schumann", "classical",
    )  # fmt: skip
    assert told["column:rating"] == "4.9"
    assert sorted(listing.left_out.values()) == [1, 1, 1]
    assert listing.problems == []
    (root / "PDMX.csv").unlink()
    without = listed(Added("pdmx", root))
    assert not without.files
    assert "no table" in without.problems[0]


def test_kern_records_tell_the_whole_the_movement_and_its_number(tmp_path: Path) -> None:
    root = tmp_path / "heritage"
    given = {"name": "a", "composer": "Kuhn, Ada", "life": "~1852-1937", "rights": "CC-BY-4.0"}
    whole = "!!!GTL: Preludia op. 5\n!!!OTL: Adagio\n!!!OMV: 013\n!!!PDT: 1898"
    write(root / "pl-cz/kern/one.krn", KERN.format(records=whole, **given))
    write(root / "pl-x/kern/two.krn", KERN.format(records="!!!OTL: Mazur", **given))
    reserved = given | {"rights": "All rights reserved"}
    write(root / "pl-x/kern/three.krn", KERN.format(records="!!!OTL: x", **reserved))
    corpus = Added("heritage", root)
    facts = known(corpus)
    one, two = facts["pl-cz/kern/one.krn"], facts["pl-x/kern/two.krn"]
    assert (one["title"], one["movement"]) == ("Preludia op. 5", "13. Adagio")
    assert (one["collection"], one["collection_name"]) == (
        "heritage/pl-cz", "Jasna Góra Monastery",
    )  # fmt: skip
    assert "collection" not in two
    assert (two["title"], two.get("movement")) == ("Mazur", None)
    kept, refused = allowed(corpus.entry, listed(corpus).files)
    assert [file.path.name for file in kept] == ["one.krn", "two.krn"]
    assert dict(refused) == {"licence: rights reserved": 1}
    works = [
        dict(zip(columns("works"), row, strict=True))
        for file in kept
        for row in extract_file(file)["works"]
    ]
    assert [work["year"] for work in works] == [1898, 1887]
    assert [work["year_source"] for work in works] == ["published", "life dates"]


def test_hymns_take_composers_from_their_head_in_any_encoding(tmp_path: Path) -> None:
    root = tmp_path / "hymns"
    tune = ABC.replace("T:Tune\n", "T:Tune\nC:copyright: public domain\n")
    text = f"%OHCOMPOSER König, Johann Balthasar (1691-1758)\n\n{tune}"
    write(root / "A/a.abc", text, "latin-1")
    write(root / "B/b.abc", f"%OHCOMPOSER English\n\n{tune}")
    write(root / "C/c.abc", ABC)  # says nothing of its licence
    corpus = Added("hymns", root)
    kept, refused = allowed(corpus.entry, listed(corpus).files)
    assert [file.relative for file in kept] == ["A/a.abc", "B/b.abc"]
    assert dict(refused) == {"licence: what its corpus states": 1}
    rows = [extract_file(file)["works"][0] for file in kept]
    first, second = (dict(zip(columns("works"), row, strict=True)) for row in rows)
    assert (first["composer"], first["period"]) == ("konig-johann-balthasar", "baroque")
    assert second["composer_name"] is None
    assert first["ensemble"] == "solo melody"  # a hint is for parts without names only


LILYPOND = r"""
\version "2.24.0"
\header {
  title = "Suite"
  composer = "%s"
  date = "c. 1720"
  %s
}
\score { \new Staff { c'4 d' e' f' } }
"""


@pytest.fixture
def library(tmp_path: Path) -> Iterator[Added]:
    root = tmp_path / "library"
    spellings = (
        "J. S. Bach (1685-1750)",
        "Johann Sebastian BACH (1685 - 1750)",
        "J.S. Bach",
        "Jean-Sébastien Bach",
        "Johann Sebastian Bach, BWV 542",
        "BachJS",
    )
    for number, name in enumerate(spellings):
        text = LILYPOND % (name, 'copyright = "Public Domain"')
        write(root / f"BachJS/p{number}/p{number}.ly", text)
    write(root / "X/no/no.ly", LILYPOND % ("X", 'license = "Creative Commons BY-NC"'))
    lys = root / "BachJS/suite/suite-lys"
    write(lys / "header.ly", '\\header { license = "Public Domain" composer = "Bach" }')
    write(lys / "notes.ily", "music = \\relative c' { c4 d e f }")
    write(lys / "score.ly", '\\include "header.ly"\n\\include "notes.ily"\n\\score { \\music }')
    write(lys / "viola.ly", '\\include "notes.ily"\n\\score { \\music }')
    yield Added("library", root)


def test_six_spellings_of_one_composer_are_joined(library: Added) -> None:
    facts = known(library)
    names = {facts[f"BachJS/p{number}/p{number}.ly"]["composer"] for number in range(6)}
    assert len(names) == 6
    joined = {resolve(name) for name in names}
    assert len(joined) == 1
    assert joined.pop() is resolve("Johann Sebastian Bach")


def test_a_piece_of_many_files_is_its_full_score_and_licences_are_its_own(
    library: Added,
) -> None:
    listing = listed(library)
    suite = [file for file in listing.files if "suite" in file.relative]
    assert [file.path.name for file in suite] == ["score.ly"]
    assert dict(suite[0].known)["statement"] == "Public Domain"
    assert sum(listing.left_out.values()) == 2
    kept, refused = allowed(library.entry, listing.files)
    assert len(kept) == 7
    assert dict(refused) == {"licence: commercial use excluded": 1}


def test_folders_of_a_set_are_pieces_of_their_own(library: Added) -> None:
    for number in (1, 2):
        folder = library.path / f"HaydnFJ/op9/op9-lys/{number}"
        write(folder / "score.ly", LILYPOND % ("Haydn", 'license = "Public Domain"'))
        write(folder / "viola.ly", LILYPOND % ("Haydn", 'license = "Public Domain"'))
    found = [file for file in known(library) if "op9" in file]
    assert found == [f"HaydnFJ/op9/op9-lys/{number}/score.ly" for number in (1, 2)]


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_files_behind_a_link_to_a_folder_are_not_taken_twice(library: Added) -> None:
    (library.path / "again").symlink_to(library.path / "BachJS", target_is_directory=True)
    (library.path / "X/loop").symlink_to(library.path, target_is_directory=True)
    assert not [file for file in known(library) if "again" in file or "loop" in file]


# A user's own folder


def test_a_table_tells_what_it_knows_and_other_columns_are_kept(tmp_path: Path) -> None:
    root = tmp_path / "own"
    write(root / "a/one.abc")
    write(root / "a/two.abc")
    write(
        root / "metadata.csv",
        "file;Title;composer;born;died;date;mood;source\n"
        "a/one.abc;Evening;Ada Kuhn;1810;1870;1838-40;calm;\n"
        'a\\two.abc;"Rain; again";;;;c. 1790;;our village\n',
    )
    one, two = (extract_file(file) for file in listed(Added("own", root)).files)
    first = dict(zip(columns("works"), one["works"][0], strict=True))
    assert (first["title"], first["composer_name"]) == ("Evening", "Ada Kuhn")
    assert (first["born"], first["died"]) == (1810, 1870)
    assert (first["year_from"], first["year_to"], first["year"]) == (1838, 1840, 1839)
    assert one["work_columns"] == [("own:a/one.abc#1", "mood", "calm")]
    second = dict(zip(columns("works"), two["works"][0], strict=True))
    assert (second["title"], second["year"], second["unit"]) == (
        "Rain; again", 1790, "our village"
    )  # fmt: skip


def test_a_composer_is_guessed_from_a_full_name_only_and_marked(tmp_path: Path) -> None:
    root = tmp_path / "own"
    write(root / "Clara Schumann/one.abc")
    write(root / "Schumann,_Clara/two.abc", ABC.replace("T:Tune", "T:Tune\nC:Ada Kuhn"))
    write(root / "Schubert/three.abc")
    rows = [
        dict(zip(columns("works"), extract_file(file)["works"][0], strict=True))
        for file in listed(Added("own", root)).files
    ]
    by_name = {row["path"].split("/")[-1]: row for row in rows}
    guessed = "composer not stated: taken from the name of its folder"
    assert by_name["one.abc"]["composer"] == "schumann-clara"
    assert guessed in by_name["one.abc"]["assumed"]
    assert by_name["two.abc"]["composer_name"] == "Ada Kuhn"
    assert by_name["three.abc"]["composer_name"] is None
    assert guessed not in by_name["two.abc"]["assumed"] + by_name["three.abc"]["assumed"]


@pytest.mark.parametrize(("encoding", "said"), [("utf-8-sig", 0), ("utf-16", 0), ("cp1252", 1)])
def test_tables_in_other_encodings(tmp_path: Path, encoding: str, said: int) -> None:
    table = write(tmp_path / "metadata.csv", "file,composer\na.abc,Ada Kühn\n", encoding)
    problems: list[str] = []
    assert dict(read_table(table, problems)["a.abc"]) == {"composer": "Ada Kühn"}
    assert len(problems) == said
    assert all("Windows-1252" in problem for problem in problems)


def test_doubtful_rows_are_named_and_cost_nothing_else(tmp_path: Path) -> None:
    root = tmp_path / "own"
    write(root / "a.abc")
    write(
        root / "metadata.tsv",
        "file\ttitle\tdate\n\n\tNo file\t\na.abc\tFirst\tlong ago\na.abc\tSecond\t\n"
        "gone.abc\tGone\t\n",
    )
    listing = listed(Added("own", root))
    assert dict(listing.files[0].known)["title"] == "First"
    said = "\n".join(listing.problems)
    for words in ("names no file", "stands there twice", "no year in the date", "gone.abc"):
        assert words in said
    assert len(listing.problems) == 4


@pytest.mark.parametrize(
    ("date", "said"),
    [
        ("1825", ""),
        ("1825-40", ""),  # until the death
        ("1838-40", "line 2: the date '1838-40' lies after the death in 1828; it is not used"),
        ("c. 1790", "line 2: the date 'c. 1790' lies before the birth in 1797; it is not used"),
        ("<1611", "lies before the birth"),
        ("after 1830", "lies after the death"),
        ("after 1790", ""),
    ],
)
def test_a_date_outside_the_composers_life_is_told(
    tmp_path: Path, date: str, said: str
) -> None:
    problems: list[str] = []
    text = f"file,born,died,date\na.abc,1797,1828,{date}\n"
    read_table(write(tmp_path / "metadata.csv", text), problems)
    assert len(problems) == bool(said)
    assert said in "".join(problems)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("name,title\nx,y\n", "no column 'file'"),
        ("file,title,title\nx,y,z\n", "two columns are called 'title'"),
        ("file,title\na.abc,one,two\n", "quote cells"),
        ('file,title\na.abc,"one\n', "save the table again"),
    ],
)
def test_a_table_that_cannot_be_right_is_refused(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(DataError, match=words):
        read_table(write(tmp_path / "metadata.csv", text), [])


def test_two_tables_are_refused(tmp_path: Path) -> None:
    for name in ("a.abc", "metadata.csv", "metadata.tsv"):
        write(tmp_path / "own" / name, "file\n")
    with pytest.raises(UsageError, match="keep one"):
        listed(Added("own", tmp_path / "own"))


def test_a_template_has_every_column_and_file_and_is_never_written_over(tmp_path: Path) -> None:
    root = tmp_path / "own"
    write(root / "Clara Schumann/one.abc")
    corpus = Added("own", root)
    path = write_template(root, listed(corpus).files)
    assert path.read_text("utf-8-sig").splitlines() == [
        ",".join(COLUMNS), "Clara Schumann/one.abc,,,Clara Schumann,,,,,,"
    ]  # fmt: skip
    assert known(corpus)["Clara Schumann/one.abc"]["composer"] == "Clara Schumann"
    with pytest.raises(UsageError, match="not written over"):
        write_template(root, [])


# Folders that are not as one would wish


def test_twenty_folders_deep(tmp_path: Path) -> None:
    root = tmp_path / "own"
    deep = "/".join(f"level{number}" for number in range(20))
    write(root / deep / "one.abc")
    assert list(known(Added("own", root))) == [f"{deep}/one.abc"]


def test_a_thousand_files_are_listed_in_order(tmp_path: Path) -> None:
    # Fifty thousand are timed in tests/benchmarks/corpora.py.
    root = tmp_path / "own"
    for number in range(1000):
        write(root / f"{number % 10}" / f"{number:04}.abc", "X:1\n")
    names = list(known(Added("own", root)))
    assert len(names) == 1000
    assert names == sorted(names)


def test_a_file_that_vanishes_after_listing_is_a_failure_row(tmp_path: Path) -> None:
    from corpusreg.building import batch
    from corpusreg.store import Recipe, Shards

    root = tmp_path / "own"
    for name in ("one.abc", "two.abc"):
        write(root / name)
    files = listed(Added("own", root)).files
    (root / "one.abc").unlink()
    shards = Shards(tmp_path / "shards", Recipe("d", "e"))
    tally = batch.run(files, extract_file, shards)
    assert (tally.works, tally.failed) == (1, 1)
    assert batch.state_of(files[0]) == ""


def test_a_folder_that_is_gone_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="corpora remove own"):
        listed(Added("own", tmp_path / "gone"))


# The list of added corpora


def test_corpora_are_remembered_replaced_and_forgotten(tmp_path: Path) -> None:
    assert added() == []
    remember(Added("b", tmp_path / "b"))
    remember(Added("a", tmp_path / "a", fetched=True))
    remember(Added("b", tmp_path / "c"))
    assert added() == [Added("a", tmp_path / "a", True), Added("b", tmp_path / "c")]
    forget(find_added("a"))
    assert [each.name for each in added()] == ["b"]
    with pytest.raises(UsageError, match="added so far: b"):
        find_added("a")


def test_two_corpora_of_one_name_are_refused(tmp_path: Path) -> None:
    remember(Added("own", tmp_path / "first"))
    assert chosen_name(tmp_path / "first", "own") == "own"  # the same one, brought up to date
    with pytest.raises(UsageError, match="added already"):
        chosen_name(tmp_path / "second", "own")


@pytest.mark.parametrize("name", ["", "bundled", "My Songs", "../x", "a" * 41])
def test_names_that_cannot_be_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageError, match="--name"):
        chosen_name(tmp_path, name)


def test_a_folder_named_like_a_corpus_of_the_catalogue_must_say_which(tmp_path: Path) -> None:
    assert chosen_name(tmp_path / "My Songs 2", None) == "my-songs-2"
    with pytest.raises(UsageError, match="--name songs"):
        chosen_name(tmp_path / "Songs", None)
    assert Added("songs", tmp_path).entry is entry("songs")
    assert Added("songs", tmp_path, plain=True).entry is None


def test_a_damaged_list_is_refused_and_a_failed_write_leaves_the_old(
    tmp_path: Path, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    remember(Added("a", tmp_path))
    before = (home / "corpora/added.json").read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        with pytest.raises(StoreError, match="free some space"):
            remember(Added("b", tmp_path))
    assert (home / "corpora/added.json").read_bytes() == before
    assert sorted(p.name for p in (home / "corpora").iterdir()) == ["added.json"]
    (home / "corpora/added.json").write_text("[{]")
    with pytest.raises(StoreError, match=r"added\.json cannot be read"):
        added()


def test_the_home_folder_holds_the_list(home: Path) -> None:
    assert settings.corpora_folder() == home / "corpora"


def test_what_is_known_is_part_of_what_was_measured(tmp_path: Path) -> None:
    from corpusreg.building.batch import state_of

    path = write(tmp_path / "a.abc")
    states = {
        state_of(SourceFile("own", "a.abc", path, "abc", 1, known))
        for known in ((), (("title", "One"),), (("title", "Two"),))
    }
    assert len(states) == 3
    assert all(len(set(pair)) == 2 for pair in itertools.pairwise(states))
