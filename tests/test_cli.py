"""The real commands, each in a process of its own, against a small reference."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb
import pytest
from conftest import PIECES, ROOT, Command, command
from jsonschema import Draft202012Validator
from test_docs import commands_of

from corpusreg import cli
from corpusreg.building import build
from corpusreg.building.build import Built
from corpusreg.measures.definitions import MEASURES

# Words that grade. 'too few' and 'too short' speak of the reference and of length.
GRADING = re.compile(
    r"\b(weakest|stalled|poor|poorly|norm|below average|should|improve[sd]?|fix|target|score|"
    r"grade[sd]?|too(?!\s+(?:few|short)))\b",
    re.IGNORECASE,
)


@pytest.fixture(scope="module")
def schema() -> Draft202012Validator:
    path = ROOT / "corpusreg" / "data" / "comparison.schema.json"
    return Draft202012Validator(json.loads(path.read_text(encoding="utf-8")))


def good(done: subprocess.CompletedProcess[str]) -> str:
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return done.stdout


def pieces() -> Iterator[Path]:
    yield from sorted(PIECES.iterdir())


@pytest.fixture(scope="module")
def compared(small_home: Path) -> dict[str, Any]:
    """All pieces of the demo as JSON."""
    env = {"CORPUSREG_HOME": str(small_home)}
    told: dict[str, Any] = json.loads(good(command(["compare", "--json", *pieces()], env)))
    return told


def test_all_eight_pieces_validate_against_the_schema(
    compared: dict[str, Any], schema: Draft202012Validator
) -> None:
    schema.validate(compared)
    assert len(compared["works"]) == 8
    for work in compared["works"]:
        assert [each["name"] for each in work["measures"]] == [m.name for m in MEASURES]
        assert all(0 < s["size"] <= work["piece"]["played_bars"] for s in work["stays"])


def test_the_text_is_at_most_88_columns_and_grades_nothing(
    run: Command, demonstrated: str
) -> None:
    text = good(run("compare", PIECES)) + demonstrated
    # The demo names the folder of the pieces, which may be long.
    assert [line for line in text.splitlines() if len(line) > 88 and "/" not in line] == []
    assert GRADING.findall(text) == []


def test_words_in_json_grade_nothing(compared: dict[str, Any]) -> None:
    for work in compared["works"]:
        said = [each["words"] for each in work["measures"]]
        said += work["words"] + work["piece"]["notes"] + work["piece"]["assumed"]
        assert GRADING.findall("\n".join(said)) == []


def test_help_of_every_command_fits_the_page(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "300")
    found = list(commands_of())
    assert len(found) > 20
    for words, _ in found:
        assert cli.main([*words, "--help"]) == 0
        text = capsys.readouterr().out
        assert max(len(line) for line in text.splitlines()) <= 120, words
        assert text.isascii(), words


def test_a_command_alone_imports_nothing_heavy() -> None:
    code = (
        "import sys, corpusreg.cli; corpusreg.cli.main(['--help']);"
        "print([m for m in ('numpy', 'pandas', 'duckdb', 'lxml', 'music21', 'rich')"
        " if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.splitlines()[-1] == "[]"


def test_compare_imports_no_statistics_and_no_frames(small_home: Path) -> None:
    code = (
        "import sys; from corpusreg.cli import main;"
        f"main(['compare', {str(PIECES / 'stairs.musicxml')!r}]);"
        "print([m for m in ('pandas', 'scipy', 'sklearn', 'ruptures', 'music21')"
        " if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
        env={"CORPUSREG_HOME": str(small_home), "PATH": ""},
    )
    assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize(
    "env",
    [
        {"PYTHONIOENCODING": "cp1252"},
        {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
        {"LC_ALL": "de_DE.UTF-8", "LC_NUMERIC": "de_DE.UTF-8"},
    ],
)
def test_output_survives_other_locales(
    env: dict[str, str], run: Command, tmp_path: Path
) -> None:
    named = tmp_path / "named.musicxml"
    text = (PIECES / "stairs.musicxml").read_text(encoding="utf-8")
    named.write_text(text.replace(">Stairs<", ">Čarodějka für Åse<"), encoding="utf-8")
    asked = ("compare", PIECES / "stairs.musicxml", named)
    plain, told = good(run(*asked)), good(run(*asked, env=env, encoding="latin-1"))
    told = told.encode("latin-1").decode("utf-8") if "LC_NUMERIC" in env else told
    names = re.compile(r"Čarodějka für Åse|Carodejka f(u|\xfc)r (A|\xc5)se")
    if "LC_NUMERIC" not in env:
        assert "Čarodějka" not in told and names.search(told)
    # Signs that a terminal cannot show have a plain form; no question mark stands for one.
    signs = str.maketrans("–♭♯\x96", "-b#-")
    told, plain = (names.sub("", text).translate(signs) for text in (told, plain))
    assert told == plain
    listed = good(run("table", "span", "--by", "ensemble", "--csv", env=env))
    assert listed == good(run("table", "span", "--by", "ensemble", "--csv"))


def test_the_demo_says_where_to_look_first(demonstrated: str) -> None:
    text = demonstrated
    overview, piece, madrigal = re.split(r"\n(?=Waiting for the Bus, |A madrigal)", text)[:3]
    for title in ("After the Rain", "Kitchen Window", "Stairs", "Three at a Table"):
        assert title in overview
    assert re.search(r"Waiting for the Bus +string quartet +bass withheld", overview)
    assert "Listen: " in piece and "Allor che ignuda" in madrigal
    assert "30 of the scores inside music21 measured afresh" in " ".join(text.split())


def test_check(run: Command, small_home: Path) -> None:
    found = json.loads(good(run("check", "--json")))
    assert found["ok"] is True
    assert Path(found["path"]).is_file()
    assert Path(found["path"]).is_relative_to(small_home)
    assert found["reference_id"] in good(run("check"))
    assert found["reference_id"] in good(run("check", "--csv")).splitlines()[1]
    assert found["reference_id"] in good(run("compare", "--full", PIECES / "stairs.musicxml"))


def test_check_without_a_reference(tmp_path: Path) -> None:
    done = command(["check", "--json"], {"CORPUSREG_HOME": str(tmp_path)})
    found = json.loads(done.stdout)
    assert done.returncode == 1
    assert found["ok"] is False
    assert "corpusreg extract" in found["problem"]


def test_check_sees_a_damaged_shard(small_home: Path, tmp_path: Path) -> None:
    home = tmp_path / "home"
    shutil.copytree(small_home, home)
    table = next((home / "shards").glob("*/works.parquet"))
    table.write_bytes(table.read_bytes()[:-1] + b"x")
    done = command(["check", "--json"], {"CORPUSREG_HOME": str(home)})
    found = json.loads(done.stdout)
    assert (done.returncode, found["ok"]) == (1, False)
    assert found["damaged_shards"] == [table.parent.name]
    assert found["problem"].endswith("which measures their files again")
    told = command(["check"], {"CORPUSREG_HOME": str(home)}).stdout
    assert f"damaged: {table.parent.name}\n" in told and "All is well" not in told
    assert table.exists()  # looking changes nothing


def test_a_folder_in_the_place_of_the_pointer(small_home: Path, tmp_path: Path) -> None:
    home = tmp_path / "home"
    (home / "reference" / "current").mkdir(parents=True)
    for arguments in (["compare", PIECES / "stairs.musicxml"], ["extract", PIECES]):
        done = command(arguments, {"CORPUSREG_HOME": str(home)})
        assert done.returncode and done.stderr.count("\n") == 1
        assert "current is a folder" in done.stderr and "move it away" in done.stderr
    assert not list(home.glob("shards/*.json"))  # nothing was measured in vain


@pytest.mark.parametrize("inside", ["", "deeper"])
def test_a_home_that_is_a_file(tmp_path: Path, inside: str) -> None:
    file = tmp_path / "home"
    file.write_text("")
    for arguments in (["check"], ["corpora", "list"], ["extract", PIECES]):
        done = command(arguments, {"CORPUSREG_HOME": str(file / inside)})
        assert done.returncode and not done.stdout
        assert done.stderr == (
            f"corpusreg: CORPUSREG_HOME: {file} is a file; set it to a folder\n"
        )


@pytest.mark.parametrize(
    "question",
    [["table", "span", "--by", "ensemble"], ["compare", PIECES / "stairs.musicxml"], ["ranges"],
     ["corpora", "list"]],
)  # fmt: skip
def test_tables_go_into_files_of_three_forms(
    question: list[str | Path], run: Command, tmp_path: Path
) -> None:
    frames = []
    for ending in ("csv", "json", "parquet"):
        file = tmp_path / f"table.{ending}"
        assert good(run(*question, "--to", file)) == f"{file}\n"
        frames.append(file)
    with duckdb.connect() as connection:
        stored = connection.execute(f"SELECT * FROM '{frames[2]}'").fetchall()
        again = connection.execute(f"SELECT * FROM '{frames[0]}'").fetchall()
    assert stored and len(stored) == len(again)
    assert json.loads(frames[1].read_text("utf-8"))
    wrong = run(*question, "--to", tmp_path / "table.doc")
    assert wrong.returncode == 2 and wrong.stderr.count("\n") == 1
    assert run(*question, "--to", frames[0], "--json").returncode == 2


def test_table_in_three_forms(run: Command) -> None:
    records = json.loads(good(run("table", "span", "--by", "ensemble", "--json")))
    rows = list(
        csv.DictReader(io.StringIO(good(run("table", "span", "--by", "ensemble", "--csv"))))
    )
    assert [row["group"] for row in rows] == [record["group"] for record in records]
    for record in records:
        shares = [record[name] for name in ("p10", "p25", "p50", "p75", "p90")]
        assert shares == sorted(shares)
    text = good(run("table", "span", "--by", "ensemble"))
    assert "semitones" in text
    assert "choir" in text


def test_a_table_says_what_it_leaves_out_and_how_to_see_its_works(run: Command) -> None:
    text = " ".join(good(run("table", "span", "--by", "period")).split())
    assert re.search(r"Works in no row, since no period is known: [\d,]+\.", text)
    assert re.search(r"too few to stand for the period: [a-z]+", text)
    name, *given = text.split("The works behind a row: corpusreg query ")[1].split()
    (measure, period) = given
    assert name == "works_of_cell"
    rows = json.loads(good(run("query", name, measure, period, "--json")))
    first = json.loads(good(run("table", "span", "--by", "period", "--json")))[0]
    assert period == f"period={first['group']}"
    assert len(rows) == first["works"]


def test_query_lists_answers_and_explains(run: Command, tmp_path: Path) -> None:
    listed = good(run("query"))
    assert listed.count("\n") >= 10
    answer = good(run("query", "span_by_period"))
    assert "meaning" in answer
    own = tmp_path / "mine.sql"
    own.write_text("SELECT count(*) AS n FROM works", encoding="utf-8")
    counted = json.loads(good(run("query", own, "--json")))
    assert counted == [{"n": json.loads(good(run("check", "--json")))["counts"]["works"]}]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["compar"], "no command 'compar'; did you mean compare"),
        (["corpora", "coverag"], "did you mean coverage"),
        (["compare", "PIECE", "--chort", "x"], "no option '--chort'; did you mean --cohort"),
        (["contrast", "PIECE", "--how", "opn"], "did you mean open"),
        (["compare"], "missing argument"),
        (["map", "PIECE"], "missing option '--to'"),
        (["table", "spn", "--by", "period"], "span"),
        (["table", "span", "--by", "perod"], "period"),
        (["query", "span_by_perod"], "span_by_period"),
        (["query", "span_by_period", "oops"], "PARAMETER=VALUE"),
        (["query", "span_by_period", "ensemble=pino"], "did you mean piano"),
        (["query", "works_of_cell", "measure=spam"], "did you mean span"),
        (["query", "works_of_cell", "composer=Haydn"], "did you mean Joseph Haydn"),
        (["query", "works_of_cell", "collection=haydn-quartet"], "haydn-quartets"),
        (["query", "bars_of_work", "work=bwv"], "did you mean bundled:"),
        (["query", "strongest_events", "kind=entri"], "did you mean entry"),
        (["query", "behind_a_percentile", "value=wide"], "'wide' is not a number; it is value"),
        (["extract", "--workers", "0"], "0 is not in the range"),
        (["extract", "no-such-corpus"], "corpora list"),
        (["compare", "PIECE", "--cohort", "ensemble=piano forte"], "piano"),
        (["compare", "PIECE", "--cohort", "ensmble=piano"], "ensemble"),
        (["compare", "PIECE", "--cohort", "composer=bach"], "did you mean bach-"),
    ],
)
def test_wrong_usage_is_one_line_and_code_2(
    arguments: list[str], said: str, run: Command
) -> None:
    given = [str(PIECES / "stairs.musicxml") if a == "PIECE" else a for a in arguments]
    done = run(*given)
    assert done.returncode == 2
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert said in done.stderr


def test_bare_corpusreg_prints_its_commands(run: Command) -> None:
    assert good(run()) == good(run("--help"))
    assert "compare" in run().stdout


def test_as_written_keeps_the_page(run: Command) -> None:
    path = PIECES / "kitchen-window.musicxml"
    played = json.loads(good(run("compare", path, "--json")))["works"][0]["piece"]
    page = json.loads(good(run("compare", path, "--json", "--as-written")))["works"][0]["piece"]
    assert (played["written_bars"], played["played_bars"]) == (26, 32)
    assert (page["written_bars"], page["played_bars"]) == (26, 26)


def test_extract_keeps_what_was_measured(tmp_path: Path) -> None:
    env = {"CORPUSREG_HOME": str(tmp_path / "home")}
    done = command(["extract", PIECES, "--workers", "1"], env)
    assert done.returncode == 0, done.stderr
    assert re.search(r"Reference [0-9a-f]+: 8 works \(8 files measured", done.stdout)
    assert "Reference" not in done.stderr
    again = command(["extract", PIECES, "--workers", "1"], env)
    assert "0 files measured, 8 kept" in again.stdout
    fresh = command(["extract", PIECES, "--workers", "1", "--fresh"], env)
    assert "8 files measured, 0 kept" in fresh.stdout


def test_a_first_comparison_builds_and_its_output_stays_its_own(
    small_home: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def extract(*_: object, **__: object) -> Built:
        shutil.copytree(small_home / "reference", tmp_path / "reference", dirs_exist_ok=True)
        left_out = (("bundled", "reserved", 3),)
        return Built(tmp_path, "abc", 8, 8, 0, 0, (), left_out)

    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path))
    monkeypatch.setattr(build, "extract", extract)
    assert cli.main(["compare", str(PIECES / "stairs.musicxml"), "--json"]) == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["works"]
    assert "No reference yet" in err and "Reference abc: 8 works" in err
    assert cli.main(["extract"]) == 0
    out, err = capsys.readouterr()
    assert out.startswith("Reference abc: 8 works (8 files measured, 0 kept from before")
    assert out.endswith("Left out of corpus 'bundled': 3 (reserved).\n")
    assert err == ""


def test_duplicates_lists_copies_and_says_how_many(run: Command) -> None:
    rows = json.loads(good(run("corpora", "duplicates", "--json")))
    assert all(row["counts"] != row["copy"] for row in rows)
    said = good(run("corpora", "duplicates"))
    assert f"{len(rows):,} copies of" in said
    assert all(row["copy"] in said for row in rows)
