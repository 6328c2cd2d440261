"""The documents say what is there: commands, options, files, modules, measures."""

from __future__ import annotations

import doctest
import importlib
import json
import re
import shlex
import shutil
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import click
import pytest
from conftest import Command
from write_glossary import GLOSSARY, renewed
from write_guide import PAGES

import corpusreg
from corpusreg import cli
from corpusreg.corpus.catalogue import TIERS
from corpusreg.measures import gaps, saturation, shifts, silence
from corpusreg.measures.definitions import BY_NAME
from corpusreg.room import uploads
from corpusreg.score.readers import FORMATS
from corpusreg.store import packing, sql

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
GUIDE = {
    f"reports/guide/{path.name}": path.read_text(encoding="utf-8")
    for path in sorted((ROOT / "reports" / "guide").glob("*.md"))
}
# What is written by hand.
ALL = "\n".join(
    (README, *(text for name, text in GUIDE.items() if Path(name).name not in PAGES))
)
DOCUMENTS = {"README.md": README, "DEVELOPERS.md": DEVELOPERS, **GUIDE}
FILES = {"csv", "json", "md", "py", "sql", "toml", "typ", "css"}
PLACEHOLDERS = {"my-class", "my-piece.musicxml", "my-piece.ly", "my-scores", "my-question.sql"}


def blocks(text: str, language: str) -> list[str]:
    """Fenced code blocks of a language."""
    return re.findall(rf"^```{language}\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


def commands() -> list[list[str]]:
    """Arguments of every `corpusreg …` line of README and guide, in blocks and in text."""
    lines = [line for block in blocks(ALL, "sh") for line in block.splitlines()]
    lines += re.findall(r"`(corpusreg [^`\n]*)`", ALL)
    found = [line.partition("#")[0].rpartition("&& ")[2] for line in lines]
    return [shlex.split(line)[1:] for line in found if line.startswith("corpusreg ")]


def commands_of(
    group: click.Group = cli.app, before: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    """Every command with the words that call it, the first being none."""
    yield before, group
    for name, each in group.commands.items():
        if isinstance(each, click.Group):
            yield from commands_of(each, (*before, name))
        else:
            yield (*before, name), each


def parsed(arguments: list[str]) -> click.Context:
    """What click makes of a command line: its innermost context."""
    context = cli.app.make_context("corpusreg", list(arguments))
    while isinstance(context.command, click.Group):
        rest = [*context._protected_args, *context.args]
        if not rest:
            break
        name, command, rest = context.command.resolve_command(context, rest)
        assert command is not None
        context = command.make_context(name, rest, parent=context)
    return context


def test_every_command_line_of_the_documents_parses(capsys: pytest.CaptureFixture[str]) -> None:
    assert len(commands()) > 10
    for arguments in commands():
        if arguments == ["--version"]:
            assert cli.main(arguments) == 0
            assert capsys.readouterr().out == f"corpusreg {corpusreg.__version__}\n"
        else:
            assert parsed(arguments).command.callback


def test_what_the_command_lines_name_exists() -> None:
    for arguments in commands():
        given = parsed(arguments).params if "--version" not in arguments else {}
        if given.get("measure"):
            assert given["measure"] in BY_NAME
        if arguments[0] == "query" and given["name"] and given["name"] not in PLACEHOLDERS:
            query = sql.find(given["name"])
            query.values(dict(pair.split("=") for pair in given["values"]))
        for piece in given.get("pieces", ()):
            assert piece.name in PLACEHOLDERS or (ROOT / piece).is_file()


def test_every_command_and_option_is_in_the_guide() -> None:
    shown = {" ".join(words) for words in commands()}
    for words, command in commands_of():
        if not isinstance(command, click.Group):
            assert any(line.startswith(" ".join(words)) for line in shown), words
        for parameter in command.params:
            for option in parameter.opts if isinstance(parameter, click.Option) else ():
                assert option in ALL, (*words, option)


def test_the_setup_commands_are_one_line_each() -> None:
    setup = [line for line in README.splitlines() if line.startswith("python3 -m venv")]
    assert len(setup) == 2
    assert setup[0].endswith(" && corpusreg demo")
    assert setup[1].endswith(" && pytest -n auto --dist loadfile")
    assert all(line in "".join(blocks(README, "sh")) for line in setup)


@pytest.mark.parametrize("document", [README, GUIDE["reports/guide/python.md"]])
def test_the_python_examples_run(
    document: str, in_home: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "demo" / "pieces").mkdir(parents=True)
    shutil.copy(ROOT / "demo" / "pieces" / "stairs.musicxml", "demo/pieces")
    (code,) = blocks(document, "python")
    names: dict[str, Any] = {}
    exec(compile(code, "README.md", "exec"), names)
    assert "Stairs" in str(names["placed"])
    assert set(names["measures"]["name"]) == set(BY_NAME)
    assert names["measures"].attrs["units"]
    assert len(names["spans"].to_frame())
    assert len(names["thin"].to_frame())
    if "made" in names:
        assert (tmp_path / "map.svg").is_file()
        assert names["made"].pieces == 1
        assert (tmp_path / "sheets" / "overview.pdf").is_file()


@pytest.mark.parametrize(
    ("document", "piece"),
    [(README, "waiting-for-the-bus"), (GUIDE["reports/guide/tutorial.md"], "kitchen-window")],
)
def test_the_excerpt_is_what_is_printed(document: str, piece: str, run: Command) -> None:
    """The lines that do not depend on the reference."""
    ranked = re.compile(r"than in|quartets|piano works|\d+ of 100|Compared")
    (excerpt,) = blocks(document, "text")
    printed = run("compare", ROOT / "demo" / "pieces" / f"{piece}.musicxml").stdout
    own = [line for line in excerpt.splitlines() if not ranked.search(line)]
    assert len(own) >= 3
    assert not [line for line in own if line not in printed]


@pytest.mark.parametrize("name", PAGES)
def test_pages_made_from_the_code_are_up_to_date(name: str) -> None:
    assert GUIDE[f"reports/guide/{name}"] == PAGES[name](), "run python tests/write_guide.py"


def test_the_notebook_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Cell after cell, with the reference that ships."""
    if not (ROOT / "corpusreg" / "data" / "reference" / packing.ABOUT).is_file():
        pytest.skip("this checkout ships no reference")
    monkeypatch.delenv("CORPUSREG_SHIPPED")
    monkeypatch.chdir(ROOT)
    cells = json.loads((ROOT / "reports" / "register.ipynb").read_text("utf-8"))["cells"]
    names: dict[str, Any] = {}
    for cell in cells:
        if cell["cell_type"] == "code":
            assert cell["outputs"] == [], "outputs are not kept in the notebook"
            exec(compile("".join(cell["source"]), "register.ipynb", "exec"), names)
    assert names["piece"].comparisons[0].piece.ensemble == "piano"
    assert len(names["by_period"]) > 3


def test_the_readme_is_short() -> None:
    assert len(README.splitlines()) <= 150


def test_the_questions_of_the_readme_are_answered(run: Command) -> None:
    asked = [
        arguments for arguments in commands() if arguments[0] in ("table", "query", "check")
    ]
    asked = [arguments for arguments in asked if not PLACEHOLDERS & set(arguments)]
    assert len(asked) >= 6
    for arguments in asked:
        done = run(*arguments)
        assert done.returncode == 0, done.stderr
        assert len(done.stdout.splitlines()) > 1, arguments


@pytest.mark.parametrize("name", DOCUMENTS)
def test_files_that_are_named_exist(name: str) -> None:
    text = DOCUMENTS[name]
    folder = (ROOT / name).parent
    linked = re.findall(r"\]\(([^)#]+)\)", text)
    quoted = re.findall(r"`((?:corpusreg|tests|demo|queries|\.ci)/[^`\s]*)`", text)
    quoted = [path for path in quoted if "NAME" not in path]
    assert linked or name in GUIDE
    assert not [path for path in linked if not (folder / path).exists()]
    assert not [path for path in quoted if not (ROOT / path).exists()]


def test_names_of_the_code_in_the_developers_file_are_there() -> None:
    dotted = re.findall(r"`((?:[a-z_]+\.)+\w+)(?:\(\))?`", DEVELOPERS)
    names = [name for name in dotted if Path(name).suffix[1:] not in FILES]
    assert len(names) > 5
    for name in names:
        module, _, last = name.removeprefix("corpusreg.").rpartition(".")
        found = importlib.import_module(f"corpusreg.{module}")
        assert hasattr(found, last) or find_spec(f"corpusreg.{module}.{last}"), name


def test_examples_in_docstrings_print_what_they_show() -> None:
    """Of every module that has examples."""
    files = sorted((ROOT / "corpusreg").rglob("*.py"))
    names = [
        ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        for path in files
        if ">>> " in path.read_text(encoding="utf-8")
    ]
    assert len(names) > 20
    for name in names:
        assert doctest.testmod(importlib.import_module(name)).failed == 0, name


def test_formats_and_tiers_are_those_of_the_code() -> None:
    paragraph = next(p for p in ALL.split("\n\n") if p.startswith("Scores are read from"))
    assert set(re.findall(r"`(\.\w+)`", paragraph)) == set(FORMATS)
    assert tuple(re.findall(r"^\| (\w+) \| .* \| (?:always|with)", ALL, re.M)) == TIERS


def test_the_glossary_holds_every_measure() -> None:
    text = GLOSSARY.read_text(encoding="utf-8")
    assert text == renewed(text), "run 'python tests/write_glossary.py'"
    assert all(f"`{name}`" in text for name in BY_NAME)


def test_the_thresholds_of_the_glossary_are_those_of_the_code() -> None:
    text = " ".join(GLOSSARY.read_text(encoding="utf-8").split())
    line, single = f"{shifts.MASS_MOVES:g}", f"{shifts.MASS_MOVES_LINE:g}"
    assert f"moves {line} semitones or more ({single} in a single line)" in text
    assert f"edge with it by {shifts.EDGE_STIRS} or more" in text
    assert (shifts.EDGE_MOVES, gaps.GAP, silence.NEAR) == (12, 13, 5)
    assert f"{gaps.GAP_AT_BASS} semitones between the two lowest" in text
    long = f"{silence.LONG:.0f} bars, or {silence.SECONDS:.0f} seconds where a tempo is written"
    assert f"{long}, and never under {silence.SHORT:.0f} bars" in text
    assert f"plus half of its jump, {shifts.CLEAR:g} semitones or more" in text
    assert f"or {saturation.SECONDS:.0f} seconds where" in text and saturation.BARS == 4
    assert f"Filled at {100 * saturation.SATURATED:.0f} % or more" in text


def test_the_validity_figures_are_those_of_the_result_file() -> None:
    found = json.loads((ROOT / "tests/validity/results/validity.json").read_text("utf-8"))
    rates = {
        (row["question"], row["kind"]): row["rate"]
        for row in found["rows"]
        if row["half"] == "both"
    }
    asked = (
        "first (all bands)",
        "first three (all bands)",
        "whole work one stay",
        "fold: shift_rate",
    )
    table = GUIDE["reports/guide/trust.md"].split("## Measures")[1].split("\n## ")[0]
    rows = re.findall(r"^\| .* \| ([\d.]+) % \| ([\d.]+) % \| ([\d.]+) % \|$", table, re.M)
    assert rows == [
        tuple(f"{100 * rates[question, kind]:.1f}" for kind in ("piano", "quartet", "song"))
        for question in asked
    ]
    gentle = [rates["gentle: expected_dwell", kind] for kind in ("piano", "quartet", "song")]
    assert f"{100 * min(gentle):.0f} to {100 * max(gentle):.0f} %" in table
    held = list(found["coverage"]["held"].values())
    assert f"in {100 * min(held):.0f} to {100 * max(held):.0f} %" in " ".join(table.split())


def test_the_figures_of_many_scores_are_those_of_the_result_file() -> None:
    """In the guide: what was measured, and what is multiplied from it."""
    found = json.loads((ROOT / "tests/benchmarks/results/suite.json").read_text("utf-8"))
    section = GUIDE["reports/guide/machines.md"]
    each, shards = {}, {}
    for kind, stage in found["stages"].items():
        spent = sum(stage["milliseconds_a_file"][name] for name in ("read", "measure", "write"))
        each[kind] = spent * stage["files"] / stage["works"]
        shards[kind] = stage["shard_megabytes_per_1000_works"]
    assert f"| {each['musicxml']:.0f} ms | {each['abc']:.0f} ms |" in section
    assert f"| {shards['musicxml']:.1f} MB | {shards['abc']:.1f} MB |" in section
    growth = found["growth"]
    largest = growth["15000"]
    assert f"| {largest['reference_megabytes'] / 15:.1f} MB (bundled mixture)" in section
    costs = [growth[count]["cpu_milliseconds_a_work"] for count in ("1000", "5000", "15000")]
    assert f"| {' / '.join(f'{cost:.1f}' for cost in costs)} ms |" in section
    assert f"({largest['peak_megabytes']:.0f} MB in all at 15,000)" in " ".join(section.split())
    million, told = found["million"], " ".join(section.split())
    assert f"{million['publish_seconds']:.0f} seconds, " in told
    assert f"{million['peak_megabytes'] / 1000:.1f} GB of memory" in told
    assert f"a file of {million['reference_megabytes'] / 1000:.1f} GB" in told
    times = [f"{million[name]:.1f} s" for name in ("compare_seconds", "table_seconds")]
    assert f"`compare` takes {times[0]}, `table` {times[1]}" in told
    seconds = million["query_seconds"]
    assert all(value < 1 for value in seconds.values() if not isinstance(value, str))
    assert {name for name, value in seconds.items() if "more than" in str(value)} == {
        "extremes", "works_of_cell",
    }  # fmt: skip
    for scores, cores in ((250_000, 16), (10_000_000, 128)):
        hours = scores * each["musicxml"] / 3.6e6
        many = f"{60 * hours / cores:.0f} minutes on {cores}"
        size = f"{scores * shards['musicxml'] / 1e6:.2g} GB"
        row = f"| {scores:,} scores | {hours:.3g} hours of one core; {many} | {size} |"
        assert row in section


def test_the_bounds_of_the_room_are_those_of_the_code() -> None:
    assert f"A score may have {uploads.PER_FILE // uploads.MEGABYTE} MB" in ALL
    assert f"{uploads.FILES} scores or {uploads.TOTAL // uploads.MEGABYTE} MB" in ALL
