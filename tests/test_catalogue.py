"""The catalogue: files, licences, composers, dates, facts."""

from __future__ import annotations

import csv
import hashlib
import os
import subprocess
import sys
import time
import unicodedata
import zipfile
from collections import Counter
from fnmatch import fnmatchcase
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corpusreg.corpus import catalogue
from corpusreg.corpus.authority import composer_key, is_anonymous
from corpusreg.corpus.catalogue import count_works
from corpusreg.corpus.dates import parse_active
from corpusreg.corpus.files import FORMATS, MAX_DEPTH, bundled_root
from corpusreg.corpus.licences import LAST_FREE_DEATH, read_head, tier_of_words
from corpusreg.corpus.tables import collection_of, rows, work_row
from corpusreg.score import readers
from corpusreg.score.notes import NOTE_DTYPE, Bars, Score
from corpusreg.system.errors import DataError, ReadError

FILES = catalogue.bundled()
BY_PATH = {file.relative: file for file in FILES}


@pytest.fixture(scope="module")
def licences() -> dict[str, catalogue.Licence]:
    return {file.relative: catalogue.licence(file) for file in FILES}


def score(format: str = "abc", **metadata: str) -> Score:
    """A score without a note: describing reads metadata only."""
    return Score(
        ticks=1,
        parts=(),
        bars=Bars.plain([], [], [], []),
        notes=np.empty(0, NOTE_DTYPE),
        metadata=metadata,
        format=format,
    )


def source(relative: str, corpus: str = "mine", format: str = "abc") -> catalogue.SourceFile:
    return catalogue.SourceFile(corpus, relative, Path("/nowhere") / relative, format, 1)


def facts(relative: str, **metadata: str) -> catalogue.WorkFacts:
    file = BY_PATH[relative]
    return catalogue.describe(file, score(file.format, **metadata))


OPEN = catalogue.Licence("open", "CC0", "in the file: rights", "public domain or CC0 stated")


# --- files ---------------------------------------------------------------------------


def test_bundled_files_are_sorted_unique_and_outside_the_exclusions() -> None:
    names = [file.relative for file in FILES]
    assert names == sorted(set(names))
    assert {file.format for file in FILES} == {"musicxml", "kern", "abc"}
    assert not any(name.startswith(("demos/", "theoryExercises/")) for name in names)
    assert all(file.path.is_absolute() and file.size > 0 for file in FILES)


def test_bundled_counts_by_folder() -> None:
    folders = Counter(name.split("/")[0] for name in BY_PATH)
    assert folders["ryansMammoth"] == 1059
    assert folders["palestrina"] == 1318
    assert folders["essenFolksong"] == 31
    assert folders["bach"] == 413  # 409 chorales in MusicXML, 3 in kern, one prelude
    assert folders["monteverdi"] == 48  # 49 files, one of them an old state


def test_every_exclusion_has_a_reason_and_excludes_something() -> None:
    everything = [
        path.relative_to(bundled_root()).as_posix()
        for path in bundled_root().rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    ]
    for rule in rows("exclusions.csv"):
        assert rule["reason"]
        assert any(fnmatchcase(name, rule["glob"]) for name in everything), rule
    left = [n for n in everything if not catalogue.excluded(n)]
    assert sorted(left) == sorted(BY_PATH)


def test_finding_the_bundled_corpus_does_not_import_music21() -> None:
    code = (
        "import sys; from corpusreg.corpus.catalogue import bundled; assert bundled();"
        "print([m for m in ('music21', 'duckdb', 'pandas', 'scipy') if m in sys.modules])"
    )
    root = Path(catalogue.__file__).parents[2]
    ran = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        env=os.environ | {"PYTHONPATH": str(root)},
    )
    assert ran.stdout.strip() == "[]"


def test_content_hash_is_of_the_bytes(tmp_path: Path) -> None:
    place = tmp_path / "a.abc"
    place.write_bytes(b"X:1\n")
    assert catalogue.content_hash(place) == hashlib.sha256(b"X:1\n").hexdigest()[:32]


def test_folder_takes_scores_only_and_sorts_them(tmp_path: Path) -> None:
    for name in ("b.mxl", "a.KRN", "notes.txt", "sub/c.mid", "._b.mxl", "picture.png"):
        place = tmp_path / name
        place.parent.mkdir(exist_ok=True)
        place.write_text("x")
    found = catalogue.folder(tmp_path, "mine")
    assert [(f.relative, f.format) for f in found] == [
        ("a.KRN", "kern"),
        ("b.mxl", "musicxml"),
        ("sub/c.mid", "midi"),
    ]
    assert {f.corpus for f in found} == {"mine"}


def test_folder_survives_loops_of_links(tmp_path: Path) -> None:
    inner = tmp_path / "a" / "b"
    inner.mkdir(parents=True)
    (inner / "tune.abc").write_text("X:1\n")
    (inner / "back").symlink_to(tmp_path, target_is_directory=True)
    (tmp_path / "self").symlink_to(tmp_path / "self")
    (tmp_path / "gone.abc").symlink_to(tmp_path / "nothing.abc")
    (tmp_path / "link.abc").symlink_to(inner / "tune.abc")
    found = catalogue.folder(tmp_path, "mine")
    assert [f.relative for f in found] == ["a/b/tune.abc", "link.abc"]


def test_folder_stops_at_its_depth_and_says_so(tmp_path: Path) -> None:
    place = tmp_path
    for level in range(MAX_DEPTH + 5):
        place = place / "d"
        place.mkdir()
        (place / f"{level}.abc").write_text("X:1\n")
    problems: list[str] = []
    found = catalogue.folder(tmp_path, "mine", problems)
    assert len(found) == MAX_DEPTH
    assert len(problems) == 1 and "nested deeper than 40 folders" in problems[0]
    with pytest.raises(ReadError, match="nested deeper than 40 folders"):
        catalogue.folder(tmp_path, "mine")


def test_folder_reports_what_it_may_not_enter(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "locked").mkdir()
    (tmp_path / "tune.abc").write_text("X:1\n")
    scandir = os.scandir

    def refuse(place: str) -> object:
        if place.endswith("locked"):
            raise PermissionError(13, "Permission denied", place)
        return scandir(place)

    monkeypatch.setattr(os, "scandir", refuse)
    problems: list[str] = []
    found = catalogue.folder(tmp_path, "mine", problems)
    assert [f.relative for f in found] == ["tune.abc"]
    assert len(problems) == 1
    assert "locked: cannot be opened (Permission denied)" in problems[0]


def test_folder_keeps_composed_and_decomposed_names(tmp_path: Path) -> None:
    names = {unicodedata.normalize(form, "Frühling ťěšín.abc") for form in ("NFC", "NFD")}
    for name in names:
        (tmp_path / name).write_text("X:1\n")
    on_disk = {entry.name for entry in os.scandir(tmp_path)}
    found = catalogue.folder(tmp_path, "mine")
    assert {f.relative for f in found} == on_disk
    assert all(f.path.read_text() == "X:1\n" for f in found)


def test_folder_of_no_folder(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="is not a folder"):
        catalogue.folder(tmp_path / "none", "mine")


def test_every_format_that_can_be_read_is_looked_for() -> None:
    assert readers.FORMATS.items() <= FORMATS.items()


def test_a_file_that_cannot_be_named_or_followed_is_reported(tmp_path: Path) -> None:
    (tmp_path / "loop.abc").symlink_to(tmp_path / "loop.abc")
    (tmp_path / "tune.abc").write_text("X:1\n")
    try:
        Path(os.fsdecode(os.fsencode(tmp_path) + b"/\xff.abc")).write_text("X:1\n")
    except (OSError, UnicodeError):
        pytest.skip("this file system takes UTF-8 names only")
    problems: list[str] = []
    found = catalogue.folder(tmp_path, "mine", problems)
    assert [f.relative for f in found] == ["tune.abc"]
    assert len(problems) == 2
    assert any("not UTF-8" in line for line in problems)
    assert all(line.isascii() for line in problems)


# --- licences ------------------------------------------------------------------------


def test_every_bundled_file_has_a_tier_with_evidence(
    licences: dict[str, catalogue.Licence],
) -> None:
    for relative, said in licences.items():
        assert said.tier in catalogue.TIERS, relative
        assert said.statement.strip() and said.evidence.strip() and said.reason.strip(), (
            relative
        )


def test_bundled_tiers_count_up(licences: dict[str, catalogue.Licence]) -> None:
    assert Counter(said.tier for said in licences.values()) == {
        "open": 22,  # 14 MusicXML and 8 ABC files
        "permitted": 1706,
        "noncommercial": 31,
        "reserved": 1350,
    }


@pytest.mark.parametrize(
    ("relative", "tier", "words"),
    [
        ("beach/prayer_of_a_tired_child.musicxml", "open", "CC-SA-BY"),
        ("ciconia/quod_jactatur.xml", "open", "CC-BY-SA 3.0"),
        ("johnson_j_r/lift_every_voice.mxl", "open", "CC0"),
        ("leadSheet/fosterBrownHair.mxl", "open", "Public Domain"),
        ("schumann_clara/polonaise_op1n1.mxl", "open", "CC BY-SA 4.0"),
        ("weber/concertino_clarinet.mxl", "open", "assigned to the public domain"),
        ("webern/webern_dormi_jesu_op_16_no_2.mxl", "open", "CC-BY-SA"),
        ("josquin/milleRegrets.abc", "open", "GNU General Public License"),
        ("bach/bwv101.7.mxl", "permitted", "used by permission"),
        ("bach/bwv1.6.mxl", "permitted", "Margaret Greentree"),
        ("bach/bwv111.6.mxl", "permitted", "permission of the encoders"),
        ("beethoven/opus18no1/movement1.krn", "permitted", "permission of the encoders"),
        ("schoenberg/opus19/movement2.mxl", "permitted", "permission of the encoders"),
        ("oneills1850/0001-0050.abc", "permitted", "permission of the encoders"),
        ("essenFolksong/han1.abc", "noncommercial", "non-commercial"),
        ("palestrina/Agnus_00.krn", "reserved", "derivative electronic formats reserved"),
        ("bach/bwv366.krn", "reserved", "derivative electronic formats reserved"),
        ("monteverdi/madrigal.5.4.mxl", "reserved", "UT ORPHEUS"),
        ("trecento/PMFC_01-Lugentium siccentur.xml", "reserved", "Leo Schrade"),
        ("trecento/PMFC_12_22-Benedicamus PMFC12.22.xml", "reserved", "Copyright"),
        ("leadSheet/berlinAlexandersRagtime.mxl", "reserved", "All Rights Reserved"),
        ("schubert/Lindenbaum.xml", "reserved", "Copyright"),
        ("schumann_clara/opus17/movement3.xml", "reserved", "©"),
    ],
)
def test_known_files_of_each_tier(
    relative: str, tier: str, words: str, licences: dict[str, catalogue.Licence]
) -> None:
    assert licences[relative].tier == tier
    assert words in licences[relative].statement


def test_the_statement_is_in_the_file_it_is_said_to_be_in(
    licences: dict[str, catalogue.Licence],
) -> None:
    for relative, said in licences.items():
        in_file = any(
            words in said.statement or said.statement in words
            for _, words in read_head(
                BY_PATH[relative].path, BY_PATH[relative].format
            ).statements
        )
        assert in_file == said.evidence.startswith("in the file"), relative


def test_the_packages_licence_texts_say_what_the_table_quotes() -> None:
    texts = {
        name: " ".join((bundled_root() / name).read_text(encoding="utf-8").split()).casefold()
        for name in ("license.txt", "essenFolksong/license.txt")
    }
    for row in rows("collections.csv"):
        if row["tier"] == "permitted":
            assert row["statement"] in texts["license.txt"]
        elif row["tier"] == "noncommercial":
            # the text has 'these files in music21' written with a line of its own
            assert row["statement"] in texts["essenFolksong/license.txt"]
            assert "music21 corpus/essenFolksong/license.txt" in row["evidence"]


@pytest.mark.parametrize(
    ("text", "tier"),
    [
        ("CC0", "open"),
        ("This score is in the public domain", "open"),
        ("https://creativecommons.org/licenses/by/4.0/", "open"),
        ("Creative Commons Attribution-ShareAlike 3.0", "open"),
        ("Some rights reserved: CC BY 4.0", "open"),
        ("CC BY-NC-SA 4.0", "noncommercial"),
        ("https://creativecommons.org/licenses/by-nc/4.0", "noncommercial"),
        ("Creative Commons Attribution-NonCommercial", "noncommercial"),
        ("CC BY-ND 4.0", "reserved"),
        ("All Rights Reserved", "reserved"),
        ("Melody in the public domain. Setting copyright 2011 A. Nobody", "reserved"),
        ("Public domain text; all other rights reserved", "reserved"),
        ("This work is not in the public domain", "reserved"),
        ("Copyright ©", "reserved"),
        ("© 1999 Somebody", "reserved"),
        ("Typeset from the first edition, used by permission", "permitted"),
    ],
)
def test_words_and_their_tier(text: str, tier: str) -> None:
    found = tier_of_words(text)
    assert found is not None and found[0] == tier


@pytest.mark.parametrize("text", ["", "Allegro con brio", "Mit Humor", "bes'16(c) d"])
def test_words_without_a_tier(text: str) -> None:
    assert tier_of_words(text) is None


def _musicxml(rights: str, composer: str = "") -> str:
    return (
        '<?xml version="1.0"?><score-partwise><identification>'
        f'<creator type="composer">{composer}</creator><rights>{rights}</rights>'
        "</identification><part-list/><part id='P1'><measure>"
        "<note><lyric><text>all rights reserved</text></lyric></note></measure></part>"
        "</score-partwise>"
    )


def licence_of(path: Path, format: str) -> catalogue.Licence:
    return catalogue.licence(catalogue.SourceFile("mine", path.name, path, format, 1))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "utf-8-sig"])
def test_licence_of_musicxml_plain_and_packed(tmp_path: Path, encoding: str) -> None:
    text = _musicxml("Released under CC BY &amp; nothing else").encode(encoding)
    plain, packed = tmp_path / "a.xml", tmp_path / "a.mxl"
    plain.write_bytes(text)
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("META-INF/container.xml", "<container/>")
        archive.writestr("score.xml", text)
    for place in (plain, packed):
        said = licence_of(place, "musicxml")
        assert (said.tier, said.evidence) == ("open", "in the file: rights")
        assert said.statement == "Released under CC BY & nothing else"


def test_licence_of_kern_reads_both_ends(tmp_path: Path) -> None:
    place = tmp_path / "a.krn"
    place.write_text("**kern\n" + "4c\n" * 60_000 + "*-\n!!!YEM: CC BY-NC 4.0\n")
    assert licence_of(place, "kern").tier == "noncommercial"


@pytest.mark.parametrize(
    "line", ["Z: CC0", "% public domain", "%%copyright public domain", "N:PD"]
)
def test_licence_of_abc_lines(tmp_path: Path, line: str) -> None:
    place = tmp_path / "a.abc"
    place.write_text(f"X:1\n{line}\nK:C\nCDE\n")
    expected = "reserved" if line == "N:PD" else "open"  # 'PD' alone may be anyone's initials
    assert licence_of(place, "abc").tier == expected


def test_a_protected_work_is_reserved_however_its_encoding_is_licensed(tmp_path: Path) -> None:
    place = tmp_path / "a.xml"
    place.write_text(_musicxml("CC0", "Jean Sibelius"))
    said = licence_of(place, "musicxml")
    assert said.tier == "reserved" and "died 1957" in said.reason
    place.write_text(_musicxml("CC0", "Arnold Schoenberg"))
    assert licence_of(place, "musicxml").tier == "open"


def test_nothing_said_is_reserved_unless_a_licence_file_stands_above(tmp_path: Path) -> None:
    (tmp_path / "root" / "sub").mkdir(parents=True)
    (tmp_path / "root" / "sub" / "a.xml").write_text(_musicxml(""))
    [file] = catalogue.folder(tmp_path / "root", "mine")
    assert catalogue.licence(file).tier == "reserved"
    assert catalogue.licence(file).statement == "nothing stated"
    # above the corpus root: none of its business
    (tmp_path / "above" / "root" / "sub").mkdir(parents=True)
    (tmp_path / "above" / "LICENSE").write_text("CC0 1.0 Universal")
    (tmp_path / "above" / "root" / "sub" / "a.xml").write_text(_musicxml(""))
    [file] = catalogue.folder(tmp_path / "above" / "root", "mine")
    assert catalogue.licence(file).tier == "reserved"
    (tmp_path / "in" / "sub").mkdir(parents=True)
    (tmp_path / "in" / "LICENSE.txt").write_text("CC0 1.0 Universal")
    (tmp_path / "in" / "sub" / "a.xml").write_text(_musicxml(""))
    [file] = catalogue.folder(tmp_path / "in", "mine")
    assert catalogue.licence(file).tier == "open"
    assert catalogue.licence(file).evidence == "in LICENSE.txt of its folder"


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04broken", b"\xff\xfe\x00", b"\x00" * 5000])
@pytest.mark.parametrize("format", ["musicxml", "kern", "abc", "midi", "lilypond"])
def test_a_damaged_file_says_nothing(tmp_path: Path, data: bytes, format: str) -> None:
    place = tmp_path / "a"
    place.write_bytes(data)
    assert licence_of(place, format).tier == "reserved"
    assert licence_of(tmp_path / "missing", format).tier == "reserved"


# --- summary -------------------------------------------------------------------------


def test_summary_counts_every_file_once_and_fast() -> None:
    started = time.process_time()
    table = catalogue.tiers_summary(FILES)
    assert time.process_time() - started < 6
    assert sum(row.files for row in table) == len(FILES)
    assert all(row.reason and row.works >= row.files for row in table)
    works: Counter[str] = Counter()
    for row in table:
        works[row.collection] += row.works
    assert works["ryan"] == 1059
    assert works["aird"] == 1180
    assert works["josquin"] == 29


def test_works_in_an_abc_file(tmp_path: Path) -> None:
    place = tmp_path / "a.abc"
    place.write_bytes(b"X:1\nK:C\nC\n\nX: 2\nK:C\nD\r\n\r\nX:3\r\nK:C\n")
    assert count_works(catalogue.SourceFile("mine", place.name, place, "abc", 1)) == 3


# --- composers -----------------------------------------------------------------------


def test_composer_dates_are_sane() -> None:
    for row in rows("composers.csv"):
        born = int(row["born"]) if row["born"] else None
        died = int(row["died"]) if row["died"] else None
        assert row["id"] and row["name"] and row["source"]
        assert all(1000 < year <= 2026 for year in (born, died) if year is not None), row
        if born and died:
            assert 10 <= died - born <= 105, row


def test_composer_ids_and_spellings_are_unambiguous() -> None:
    table = rows("composers.csv")
    assert len({row["id"] for row in table}) == len(table)
    owner: dict[str, str] = {}
    for row in table:
        for spelling in (row["name"], *filter(None, row["spellings"].split("|"))):
            assert owner.setdefault(composer_key(spelling), row["id"]) == row["id"], spelling
            found = catalogue.resolve(spelling)
            assert found is not None and found.id == row["id"], spelling


def test_no_composer_is_listed_twice() -> None:
    lives = Counter(
        (composer_key(row["name"]).split()[-1], row["born"], row["died"])
        for row in rows("composers.csv")
        if row["born"] and row["died"]
    )
    assert [life for life, count in lives.items() if count > 1] == []


@pytest.mark.parametrize(
    ("spelling", "id"),
    [
        ("J.S. Bach", "bach-johann-sebastian"),
        ("Johann Sebastian BACH (1685 - 1750)", "bach-johann-sebastian"),
        ("Palestrina, Giovanni Perluigi da", "palestrina-giovanni-pierluigi-da"),
        ("Philippe de Vitry\r\n(1291 -1361)", "vitry-philippe-de"),
        ("W. A. Mozart K. 156", "mozart-wolfgang-amadeus"),
        ("Mrs. H.H.A. Beach (Amy Beach)\nOp. 75, No. 4 ", "beach-amy"),
        ("Josquin des Prez, 1545", "prez-josquin-des"),
        ("L van Beethoven", "beethoven-ludwig-van"),
        ("Gherardello F-Pn 568", "firenze-gherardello-da"),
        ("Moniuszko, Stanisław", "moniuszko-stanislaw"),
        ("Words: A. Poet, 1719.  Music: 'St. Anne' William Croft, 1708.", "croft-william"),
        ("DVOŘÁK", "dvorak-antonin"),
        (unicodedata.normalize("NFD", "Antonín Dvořák"), "dvorak-antonin"),
    ],
)
def test_spellings_of_one_composer(spelling: str, id: str) -> None:
    found = catalogue.resolve(spelling)
    assert found is not None and found.id == id


@pytest.mark.parametrize(
    "spellings",
    [
        "J. S. Bach|JS Bach|Bach, J.S. (1685-1750)|Joh. Seb. Bach|BACH, JOHANN SEBASTIAN",
        "C.P.E. Bach|CPE Bach|Carl Philipp Emmanuel Bach|Bach, Karl Philipp Emanuel",
        "J. C. Bach|Bach, J. C.|J. Chr. Bach|Johann Christian Bach (1735-1782)",
        "Mozart|W. A. Mozart|Wolfgang Mozart|Mozart, W.A.|Wolfgang Amadeus Mozart K. 545",
        "L. Mozart|Leopold Mozart|Mozart, Leopold",
        "Haydn|J. Haydn|F. J. Haydn|Franz Joseph Haydn",
        "M. Haydn|Michael Haydn|Johann Michael Haydn",
        "R. Schumann|Robert Schumann|Schumann, R.",
        "C. Schumann|Clara Wieck|Clara Wieck-Schumann|Schumann, Clara (Wieck)",
        "F. Mendelssohn|Felix Mendelssohn-Bartholdy|Mendelssohn Bartholdy, Felix",
        "Fanny Hensel|F. Hensel|Fanny Mendelssohn|Hensel, Fanny (Mendelssohn)",
        "R. Strauss|Strauß, Richard|Richard Strauss",
        "Johann Strauss II|Johann Strauss (Sohn)|Strauss, Johann (Sohn)|Johann Strauss Jr.",
        "Johann Strauss I|Johann Strauss (Vater)|Strauss, Johann (Vater)|Johann Strauss Sr.",
        "D. Scarlatti|Domenico Scarlatti|Scarlatti, D.",
        "G. P. da Palestrina|Palestrina|Pierluigi da Palestrina, Giovanni",
        "L. van Beethoven|L. v. Beethoven|van Beethoven, Ludwig|Beethoven, Ludwig v.",
        "C. Saint-Saëns|Camille Saint Saens|Saint-Saëns, Camille",
        "J.-P. Rameau|Jean-Philippe Rameau|Rameau, Jean Philippe",
        "Carl Gotthelf Glaser|Carl Gotthelf Glaser (1784-1829), arranged by Lowell Mason",
    ],
)
def test_spellings_that_join(spellings: str) -> None:
    found = {spelling: catalogue.resolve(spelling) for spelling in spellings.split("|")}
    assert None not in found.values() and len(set(found.values())) == 1, found


@pytest.mark.parametrize(
    "names",
    [
        "J. S. Bach|J. C. Bach|C. P. E. Bach|W. F. Bach|J. C. F. Bach",
        "W. A. Mozart|Leopold Mozart|Franz Xaver Mozart",
        "Johann Strauss (Vater)|Johann Strauss (Sohn)|Josef Strauss|Eduard Strauss|"
        "Richard Strauss|Oscar Straus",
        "Alessandro Scarlatti|Domenico Scarlatti",
        "Robert Schumann|Clara Schumann",
        "Felix Mendelssohn|Fanny Mendelssohn",
        "Joseph Haydn|Michael Haydn",
        "Gustav Mahler|Alma Mahler",
        "François Couperin|Louis Couperin",
        "Henry Purcell|Daniel Purcell",
        "Andrea Gabrieli|Giovanni Gabrieli",
        "Lili Boulanger|Nadia Boulanger",
        "Henryk Wieniawski|Józef Wieniawski",
        "Karol Studziński|Piotr Studziński|Wincenty Studziński",
        "Samuel Wesley|Samuel Sebastian Wesley",
        "Franz Lachner|Ignaz Lachner",
        "Josephine Lang|Margaret Ruthven Lang",
        "César Franck|Robert Franz|Franz Benda|Jiří Antonín Benda",
        "Neumann|Wawrzyniec Neumann",
    ],
)
def test_persons_that_stay_apart(names: str) -> None:
    found = [catalogue.resolve(name) for name in names.split("|")]
    assert None not in found and len(set(found)) == len(found), found


@pytest.mark.parametrize(
    "name",
    [
        *("Bach", "Strauss", "J. Strauss", "Scarlatti", "Couperin", "Wesley", "A. Kątski"),
        # Persons the table does not have are not the ones of that family that it has.
        *("Johann Christoph Bach", "Georg Schumann", "Arnold Mendelssohn"),
        *("Robert Schumann (Sohn)", "Anton Stamitz"),
    ],
)
def test_a_name_that_several_share_is_nobody_for_certain(name: str) -> None:
    assert catalogue.resolve(name) is None
    assert not is_anonymous(name)


@pytest.mark.parametrize(
    "credit", ["Arranged by Zed Nobody", "arr. by Zed Nobody (1838-1882)", "adapted by Zed"]
)
def test_an_arranger_alone_is_not_the_composer(credit: str) -> None:
    assert is_anonymous(credit)
    known = catalogue.resolve("Clara Schumann")
    for said in (f"Clara Schumann, {credit}", f"C. Schumann {credit}", "C. Schumann arr. Zed"):
        assert catalogue.resolve(said) == known and not is_anonymous(said)


def test_every_named_composer_of_the_bundle_resolves() -> None:
    names = []
    for file in FILES:
        known = work_row(file.relative)["composer"] or collection_of(file.relative)["composer"]
        if known:
            names.append(known)
        elif file.format == "abc":
            text = file.path.read_bytes().decode("utf-8", "replace")
            lines = [line[2:] for line in text.splitlines() if line.startswith("C:")]
            names += [n for n in lines if not is_anonymous(n, file.relative)]
        else:
            names.append(read_head(file.path, file.format).composer)
    assert len(names) > 1900
    assert all(is_anonymous(name) or catalogue.resolve(name) for name in names)


def test_contributors_of_one_book_are_composers_elsewhere() -> None:
    assert is_anonymous("Kennedy.", "oneills1850/0001-0050.abc")
    assert not is_anonymous("O'Carolan", "oneills1850/0001-0050.abc")
    assert not is_anonymous("Kennedy.")


@given(st.text(max_size=60))
def test_any_text_has_a_key_and_keys_are_stable(text: str) -> None:
    key = composer_key(text)
    assert composer_key(key) in (key, composer_key(key))
    assert key == key.casefold() and "  " not in key
    catalogue.resolve(text)


# --- dates ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "first", "last", "about"),
    [
        ("1685-1750", 1685, 1750, False),
        ("1685–1750", 1685, 1750, False),
        ("c. 1790", 1790, 1790, True),
        ("ca. 1790", 1790, 1790, True),
        ("circa 1680", 1680, 1680, True),
        ("1838-40", 1838, 1840, False),
        ("1798-1800", 1798, 1800, False),
        ("1798///-1800///", 1798, 1800, False),
        ("1685/03/21-1750/07/28", 1685, 1750, False),
        ("~1600", 1600, 1600, True),
        ("1810?", 1810, 1810, True),
        ("1910-05", 1910, 1910, False),
        ("1910-05-12", 1910, 1910, False),
        ("<1611", None, 1611, False),
        (">1591/04/30", 1591, None, False),
        ("before 1583", None, 1583, False),
        ("1730s", 1730, 1739, False),
        ("18th century", 1701, 1800, False),
        ("Leipzig (1832); Paris (1833)", 1832, 1833, False),
    ],
)
def test_years_as_written(text: str, first: int | None, last: int | None, about: bool) -> None:
    assert catalogue.parse_years(text) == catalogue.Years(first, last, about)


@pytest.mark.parametrize("text", ["", "BWV 846", "Op. 75, No. 4", "16 10 3", "n.d.", "12345"])
def test_texts_without_a_year(text: str) -> None:
    assert catalogue.parse_years(text) is None


@pytest.mark.parametrize(
    ("text", "life"),
    [
        ("1685-1750", (1685, 1750)),
        ("1685/3//-1750/7/28/", (1685, 1750)),
        ("1525/^1526/-1594/2/2", (1525, 1594)),
        ("~1535->1591/04/30", (1535, None)),
        ("<1611->1611", (None, None)),
        ("~1760-~1836", (1760, 1836)),
        ("* 21. Februar 1791; † 15. Juli 1857", (1791, 1857)),
        ("d. 1560", (None, 1560)),
        ("b. 1500", (1500, None)),
        ("1950-", (1950, None)),
        ("-1750", (None, 1750)),
        ("fl. 1440-1470", (None, None)),
        ("", (None, None)),
    ],
)
def test_lives_as_written(text: str, life: tuple[int | None, int | None]) -> None:
    assert catalogue.parse_life(text) == life


@pytest.mark.parametrize(
    ("text", "years"),
    [
        ("<1790->1810", (1790, 1810)),
        ("<1848->1848", (1848, 1848)),
        ("<1737/05/02->1740/01", (1737, 1740)),
        ("fl. 1440-1470", (1440, 1470)),
        ("active 1474-1507", (1474, 1507)),
        ("<1810->1790", None),  # a slip: nobody was there after he came
        ("<1695/02/19-", None),
        ("~1535->1591/04/30", None),
        ("<1532-1609", None),
        ("1685-1750", None),
        ("fl. before 1440", None),
        ("", None),
    ],
)
def test_years_of_activity(text: str, years: tuple[int, int] | None) -> None:
    assert parse_active(text) == (years and catalogue.Years(*years))
    assert years is None or catalogue.parse_life(text) == (None, None)


@pytest.mark.parametrize(
    ("year", "period"),
    [
        (1300, "medieval"),
        (1419, "medieval"),
        (1420, "renaissance"),
        (1599, "renaissance"),
        (1600, "baroque"),
        (1749, "baroque"),
        (1750, "classical"),
        (1819, "classical"),
        (1820, "romantic"),
        (1909, "romantic"),
        (1910, "modern"),
        (2026, "modern"),
        (None, ""),
    ],
)
def test_period_borders(year: int | None, period: str) -> None:
    assert catalogue.period_of(year) == period


@given(st.integers(1000, 2099), st.integers(0, 99))
def test_a_life_written_and_read(born: int, age: int) -> None:
    died = born + age
    if died < 2100:
        assert catalogue.parse_life(f"{born}-{died}") == (born, died)
        assert catalogue.parse_years(f"({born} - {died})") == catalogue.Years(born, died)
        year = catalogue.typical_year(born, died)
        assert year is not None and born <= year <= died


@given(st.text(alphabet="0123456789-/~<>?^ |c.", max_size=24))
def test_no_text_breaks_the_date_readers(text: str) -> None:
    years = catalogue.parse_years(text)
    if years is not None and years.first is not None and years.last is not None:
        assert 1000 <= years.first <= years.last < 2100
    catalogue.parse_life(text)


# --- facts ---------------------------------------------------------------------------


def test_a_chorale() -> None:
    known = facts("bach/bwv101.7.mxl", title="Nimm von uns", composer="J.S. Bach")
    assert (known.composer_id, known.composer) == (
        "bach-johann-sebastian",
        "Johann Sebastian Bach",
    )
    assert (known.born, known.died) == (1685, 1750)
    assert (known.year_from, known.year_to, known.year_source) == (1685, 1750, "life dates")
    assert (known.year, known.period) == (1720, "baroque")
    assert (known.genre, known.cluster) == ("chorale", "bach-johann-sebastian")
    assert known.licence.tier == "permitted"


def test_a_stated_date_comes_first_then_the_catalogue() -> None:
    kern = facts("beethoven/opus18no1/movement1.krn", ODT="1798///-1800///", PDT="1801///")
    assert (kern.year_from, kern.year_to, kern.year_source) == (1798, 1800, "stated")
    late = facts("beethoven/opus132.mxl")
    assert (late.year, late.year_source, late.period) == (1825, "catalogue", "romantic")


def test_tunes_cluster_by_book_and_have_an_upper_year_only() -> None:
    tune = facts("ryansMammoth/AcaciaReel.abc", composer="FRANK LIVINGSTON.", title="Acacia")
    assert tune.cluster == "tunes:ryan"
    assert tune.composer == "Frank Livingston"
    assert (tune.year_from, tune.year_to, tune.year, tune.period) == (None, 1883, None, "")


@pytest.mark.parametrize(
    ("relative", "cluster", "region"),
    [
        ("essenFolksong/han1.abc", "essen:china", "China"),
        ("essenFolksong/lot.abc", "essen:lorraine", "Lorraine"),
        ("essenFolksong/lux.abc", "essen:luxembourg", "Luxembourg"),
        ("essenFolksong/irl.abc", "essen:ireland", "Ireland"),
        ("essenFolksong/erk10.abc", "essen:germany", "Germany"),
        ("oneills1850/0001-0050.abc", "tunes:oneill", "Ireland"),
        ("airdsAirs/book1.abc", "tunes:aird", "Scotland"),
        ("nottingham-dataset/reelsa-c.abc", "tunes:nottingham", "Britain"),
    ],
)
def test_folk_clusters(relative: str, cluster: str, region: str) -> None:
    known = facts(relative)
    assert (known.cluster, known.region) == (cluster, region)


def test_anonymous_and_doubtful_trecento() -> None:
    nobody = facts("trecento/PMFC_12_1-Kyrie Rondello.xml", composer="Anonymous I-Rvat 1419")
    assert (nobody.composer, nobody.cluster) == ("", "anonymous:trecento")
    assert (nobody.year_source, nobody.period) == ("collection", "medieval")
    doubtful = facts("trecento/PMFC_24_20-Padu... serenans.xml", composer="J. C. (opus dubium)")
    assert doubtful.doubtful and doubtful.composer == "Johannes Ciconia"
    ciconia = facts("trecento/PMFC_24_2-Credo Ciconia 2.xml", composer="Johannes Ciconia")
    assert (ciconia.doubtful, ciconia.year, ciconia.period) == (False, 1405, "medieval")


def test_scanned_nonsense_in_the_composers_place_is_overruled() -> None:
    known = facts("monteverdi/madrigal.3.1.mxl", composer="1. LA GIOVINETTA PIANTA")
    assert (known.composer, known.year, known.period) == (
        "Claudio Monteverdi",
        1592,
        "renaissance",
    )


def test_every_bundled_file_can_be_described() -> None:
    stated = catalogue.Licence("permitted", "s", "e", "r")
    genres = set()
    for file in FILES:
        known = catalogue.describe(file, score(file.format), stated)
        assert known.title and known.genre and known.cluster and known.ensemble_hint
        assert known.licence.tier in ("permitted", "reserved")
        assert known.year is None or known.period
        genres.add(known.genre)
    assert {"chorale", "mass", "folk song", "dance tune", "chamber music"} <= genres


def test_a_foreign_folder_is_described_from_its_own_words_only() -> None:
    known = catalogue.describe(
        source("pl/one.krn", format="kern"),
        score(
            "kern", composer="Nobody, Zed", CDT="1800/01/02-1870", AGN="Song; ballad", OCY="X"
        ),
        OPEN,
    )
    assert (known.composer_id, known.composer) == ("", "Zed Nobody")
    assert (known.born, known.died, known.year, known.period) == (1800, 1870, 1835, "romantic")
    assert (known.cluster, known.genre, known.region) == ("name:zed nobody", "song", "X")
    assert (known.collection, known.title, known.licence) == ("mine", "one", OPEN)
    nobody = catalogue.describe(source("pl/two.krn"), score("kern", composer="Anonim"), OPEN)
    assert (nobody.cluster, nobody.year_source) == ("anonymous:mine/pl", "")


@pytest.mark.parametrize(
    ("composer", "years", "source_"),
    [
        ("Stephen Foster 1854", (1854, 1854), "stated"),
        ("Zed Nobody (1780)", (None, None), ""),
        ("Zed Nobody (1790-1850)", (1790, 1850), "life dates"),
        ("Zed Nobody (fl. 1440-1470)", (1440, 1470), "active"),
        ("Lowell Mason (1792-1872), 1832", (1832, 1832), "stated"),
        ("Josquin des Prez, 1545", (1450, 1521), "life dates"),  # a print after his death
    ],
)
def test_years_beside_a_name(
    composer: str, years: tuple[int | None, int | None], source_: str
) -> None:
    known = catalogue.describe(source("a.abc"), score(composer=composer), OPEN)
    assert (known.year_from, known.year_to) == years
    assert known.year_source == source_


@pytest.mark.parametrize(
    ("metadata", "expected"),
    [
        ({"ODT": "<1611"}, (None, 1611, "stated", None)),
        ({"ODT": "<1611", "CDT": "<1611->1611"}, (1611, 1611, "active", 1611)),
        ({"CDT": "<1790->1810"}, (1790, 1810, "active", 1800)),
        ({"ODT": "1795", "CDT": "<1790->1810"}, (1795, 1795, "stated", 1795)),
        ({"ODT": "<1790", "CDT": "1755-~1820"}, (1755, 1820, "life dates", 1790)),
        ({"ODT": "1838-40", "CDT": "1810-1839"}, (1838, 1839, "stated", 1838)),
        ({"PDT": "1855", "CDT": "1810-1849"}, (1810, 1849, "life dates", 1845)),
        # A hand of about 1800, and a century that began before the composer did.
        ({"PDT": "1800", "CDT": "~1725-1790"}, (1725, 1790, "life dates", 1760)),
        ({"PDT": "1700", "CDT": "1650-1749"}, (1650, 1749, "life dates", 1685)),
        ({"PDT": "1825", "CDT": "1780-1849"}, (1825, 1825, "published", 1825)),
        ({"ODT": "18th century", "CDT": "1770-1827"}, (1790, 1800, "stated", 1795)),
        ({"ODT": "1764-1766", "CDT": "1756-1791"}, (1764, 1766, "stated", 1765)),
    ],
)
def test_bounds_and_late_prints(
    metadata: dict[str, str], expected: tuple[int | None, int | None, str, int | None]
) -> None:
    known = catalogue.describe(source("a.krn"), score("kern", composer="Zed", **metadata), OPEN)
    assert (known.year_from, known.year_to, known.year_source, known.year) == expected


def test_the_encoding_date_of_musicxml_is_not_the_works() -> None:
    file = source("a.xml", format="musicxml")
    known = catalogue.describe(file, score("musicxml", composer="Zed", date="2015-01-01"), OPEN)
    assert known.year_source == ""
    other = catalogue.describe(source("a.mei"), score("mei", composer="Zed", date="1815"), OPEN)
    assert (other.year, other.period) == (1815, "classical")


@pytest.mark.parametrize(
    ("relative", "title", "movement"),
    [
        ("haydn/opus74no1/movement3.mxl", "String Quartet op. 74 no. 1", "movement 3"),
        ("monteverdi/madrigal.3.10.mxl", "Madrigals, book 3", "madrigal 10"),
        ("schumann_clara/polonaise_op1n2.mxl", "Quatre Polonaises op. 1", "polonaise 2"),
        ("beethoven/opus132.mxl", "String Quartet op. 132", ""),
        ("bach/bwv187.7.mxl", "BWV 187.7", ""),
    ],
)
def test_titles_where_the_file_has_none(relative: str, title: str, movement: str) -> None:
    known = facts(relative, title=Path(relative).name)
    assert (known.title, known.movement) == (title, movement)


def test_the_files_own_title_counts_where_the_table_has_none() -> None:
    known = facts("bach/bwv101.7.mxl", title="Nimm von uns", movement="Nimm von uns")
    assert (known.title, known.movement) == ("Nimm von uns", "")


def test_a_hymns_credit_is_read_for_its_music() -> None:
    words, music = "Words: A. Poet, 1719.", "Music: 'St. Anne' William Croft, 1708. Setting: B."
    both = {"composer": words, "abc:C": f"{words}; {music}; copyright: public domain."}
    known = catalogue.describe(source("a.abc"), score(**both), OPEN)
    assert (known.composer_id, known.year, known.year_source) == (
        "croft-william",
        1708,
        "stated",
    )
    poet = catalogue.describe(source("a.abc"), score(composer=words), OPEN)
    assert (poet.composer, poet.year_source, poet.cluster) == ("", "", "anonymous:mine")


@pytest.mark.parametrize(
    ("said", "genre"),
    [("Sacred; Mass", "mass"), ("Secular: Impromptu", "impromptu"), ("Sacred", "sacred")],
)
def test_genre_of_a_kern_record(said: str, genre: str) -> None:
    known = catalogue.describe(source("a.krn"), score("kern", AGN=said), OPEN)
    assert known.genre == genre


def test_protection_is_judged_per_work() -> None:
    modern = catalogue.describe(source("a.abc"), score(composer="Igor Stravinsky"), OPEN)
    assert modern.licence.tier == "reserved"
    assert modern.died is not None and modern.died > LAST_FREE_DEATH


# --- tables --------------------------------------------------------------------------


def test_every_table_row_is_used_and_refers_to_what_exists() -> None:
    ids = {row["id"] for row in rows("composers.csv")}
    hit = {id(collection_of(name)) for name in BY_PATH} | {
        id(work_row(name)) for name in BY_PATH
    }
    for row in (*rows("collections.csv"), *rows("works.csv")):
        assert id(row) in hit, row["glob"]
        assert row["composer"] in ids | {""}, row["composer"]
        years = [int(row[key]) for key in ("year_from", "year_to") if row[key]]
        assert years == sorted(years)
        assert bool(years) == bool(row["year_source"]), row["glob"]


def test_an_unknown_bundled_folder_is_said_to_be_unknown() -> None:
    with pytest.raises(DataError, match=r"brandnew.* covers it; install"):
        collection_of("brandnew/piece.mxl")


def test_tables_are_plain_csv_with_unix_line_ends() -> None:
    folder = Path(catalogue.__file__).parents[1] / "data"
    for name in ("collections", "composers", "works", "periods", "exclusions", "licence_rules"):
        data = (folder / f"{name}.csv").read_bytes()
        assert b"\r" not in data and data.endswith(b"\n")
        lines = list(csv.reader(data.decode("utf-8").splitlines()))
        assert len({len(line) for line in lines}) == 1


@pytest.mark.parametrize(
    "format, opening",
    [
        ("musicxml", "<rights>"), ("musicxml", "<rights "), ("musicxml", "<credit-words>"),
        ("musicxml", "<creator>"), ("musicxml", "<!--"), ("lilypond", "\n"), ("mei", "<"),
    ],
)  # fmt: skip
def test_what_never_closes_in_a_head_takes_no_time(
    tmp_path: Path, format: str, opening: str
) -> None:
    path = tmp_path / "odd.xml"
    path.write_text("<score-partwise>" + opening * (500_000 // len(opening)), encoding="utf-8")
    began = time.process_time()
    assert not read_head(path, format).statements
    assert time.process_time() - began < 1  # some of these took five seconds


def test_an_element_in_a_head_may_hold_other_ones(tmp_path: Path) -> None:
    path = tmp_path / "piece.xml"
    path.write_text(
        "<score-partwise><rights>lost <rights>CC0, <b>free</b></rights><part id='P1'>",
        encoding="utf-8",
    )
    (said,) = read_head(path, "musicxml").statements
    assert said == ("rights", "CC0, <b>free</b>")
