"""What a user's file can do to a command: one line for it, and the rest goes on."""

from __future__ import annotations

import contextlib
import gc
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any

import direct
import mido
import pytest
from conftest import PIECES, Command

from corpusreg import answers, cli
from corpusreg.comparison import compared, placing
from corpusreg.documents.handout import pages
from corpusreg.documents.handout import writing as handout_writing
from corpusreg.documents.handout.sheets import PieceSheet
from corpusreg.system import isolate, settings
from corpusreg.system.errors import CorpusregError, UsageError
from corpusreg.system.isolate import Limits, Pool, StoppedError, bounded

GOOD, STAIRS = PIECES / "three-at-a-table.musicxml", PIECES / "stairs.musicxml"
NO_LENGTH = """<score-partwise version="4.0">
<part-list><score-part id="P1"><part-name>Flute</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>
<note><pitch><step>C</step><octave>5</octave></pitch><duration>0</duration></note>
<note><pitch><step>D</step><octave>5</octave></pitch><duration>0</duration></note>
</measure></part></score-partwise>"""


def many_tracks(path: Path, tracks: int = 3000) -> Path:
    """A MIDI file in which every track plays two notes."""
    file = mido.MidiFile(type=1)
    for index in range(tracks):
        track = mido.MidiTrack()
        for step in range(2):
            note, channel = 40 + step, index % 9
            track.append(mido.Message("note_on", note=note, channel=channel))
            track.append(mido.Message("note_off", note=note, channel=channel, time=480))
        file.tracks.append(track)
    file.save(path)
    return path


def test_bad_files_are_a_line_each_and_the_rest_goes_on(run: Command, tmp_path: Path) -> None:
    (tmp_path / "a-no-length.musicxml").write_text(NO_LENGTH, encoding="utf-8")
    (tmp_path / "b-good.musicxml").write_bytes(GOOD.read_bytes())
    many_tracks(tmp_path / "c-many.mid")  # it took 150 s, with the measuring
    endless = "|".join(["CDEF"] * 5_001)
    (tmp_path / "d-endless.abc").write_text(f"X:1\nM:4/4\nL:1/4\nK:C\n{endless}|\n")
    done = run("compare", tmp_path)
    lines = done.stderr.splitlines()
    assert any("5,001 bars" in line for line in lines)
    assert "Traceback" not in done.stderr
    (silent,) = [line for line in lines if "a-no-length" in line]
    assert "no note in it lasts" in silent
    (wide,) = [line for line in lines if "c-many" in line]
    assert "3,000 parts" in wide
    assert "Three at a Table" in done.stdout


@pytest.mark.parametrize(
    "command",
    [
        ("contrast",),
        ("revise", "--toward", "lighter"),
        ("heights", "--bars", "1"),
        ("compare",),
    ],
)
def test_a_piece_that_never_sounds_is_told_by_every_command(
    run: Command, tmp_path: Path, command: tuple[str, ...]
) -> None:
    (tmp_path / "a-no-length.musicxml").write_text(NO_LENGTH, encoding="utf-8")
    done = run(command[0], tmp_path / "a-no-length.musicxml", *command[1:])
    assert done.returncode and "Traceback" not in done.stderr
    assert "a-no-length.musicxml: no note in it lasts" in done.stderr


TWO_TUNES = """X:1
T:Long
M:4/4
L:1/4
K:C
CDEF|C90000|GABc|

X:2
T:Short
M:4/4
L:1/4
K:C
CDEF|GABc|cBAG|FEDC|
"""


def test_a_work_that_cannot_be_measured_costs_the_others_of_its_file_nothing(
    run: Command, tmp_path: Path
) -> None:
    file = tmp_path / "two.abc"
    file.write_text(TWO_TUNES, encoding="utf-8")
    done = run("compare", file)
    assert done.returncode == 1 and "Short" in done.stdout
    (told,) = done.stderr.splitlines()
    assert told.startswith(f"corpusreg: {file}: no. 1: lasts 90,008 beats")
    for command in (
        ("contrast",),
        ("heights", "--bars", "1"),
        ("revise", "--toward", "lighter"),
    ):
        done = run(command[0], file, *command[1:], "--number", "1")
        assert done.stderr.startswith(f"corpusreg: {file}: lasts 90,008 beats"), command


# Faults that a child may meet, and how each is told. They reach it because it is a copy
# of this process.
def _raises(*_: Any, **__: Any) -> Any:
    raise ZeroDivisionError("a weight of nothing")


def _hangs(*_: Any) -> Any:
    while True:
        pass


def _sleeps(*_: Any) -> Any:
    time.sleep(3600)


def _balloons(*_: Any) -> Any:
    kept = []
    while True:
        kept.append(bytearray(10_000_000))


def _dies(*_: Any, **__: Any) -> Any:
    os.abort()


FAULTS: list[tuple[Callable[..., Any], Limits, str]] = [
    (_raises, Limits(), "ZeroDivisionError: a weight of nothing"),
    (_hangs, Limits(cpu_seconds=2), "takes more than 2 s of computing"),
    (_sleeps, Limits(wall_seconds=5), "takes more than 5 s"),
    (_balloons, Limits(memory=600_000_000), "memory"),
    (_dies, Limits(), "crashed (SIGABRT)"),
]


@pytest.fixture
def copied(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Near children are copies of this process, with what a test has put into it."""
    isolate.let_go()
    monkeypatch.setattr(isolate, "_may_fork", lambda: True)
    yield
    isolate.let_go()


@pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning")
@pytest.mark.usefixtures("copied")
@pytest.mark.parametrize("fault, limits, told", FAULTS)
def test_a_fault_in_one_file_costs_the_others_nothing(
    in_home: Path,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    fault: Callable[..., Any],
    limits: Limits,
    told: str,
) -> None:
    bad = tmp_path / "bad.musicxml"
    bad.write_bytes(GOOD.read_bytes())
    read = placing.read_file
    monkeypatch.setattr(placing, "read_file", lambda p: fault() if p == bad else read(p))
    monkeypatch.setattr(compared, "Pool", partial(Pool, limits=limits))
    found = direct.compare_paths([bad, GOOD])
    (line,) = found.failures
    assert line.startswith(f"{bad}: ") and told in line
    # The child of the second file is another one where the first was ended.
    assert [c.piece.path for c in found.comparisons] == [str(GOOD)]


@pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning")
@pytest.mark.usefixtures("copied", "in_home")
@pytest.mark.parametrize(
    "drawing, command, answer",
    [
        ("report.made_report", ("compare", GOOD, "--report", "a.pdf"), "Three at a"),
        ("contrast.made_contrast", ("contrast", STAIRS, "--report", "a.html"), "Stairs"),
        ("figures.heights._picture", ("heights", STAIRS, "--bars", "1", "--picture", "a.png"),
         "piano"),
        ("pictures.save._drawn", ("map", GOOD, "--to", "a.png"), ""),
    ],
)  # fmt: skip
def test_what_is_drawn_in_bounds_costs_the_answer_nothing(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    drawing: str,
    command: tuple[str | Path, ...],
    answer: str,
) -> None:
    # The child is looked for where the command finds the function, and drawn there.
    monkeypatch.setattr(f"corpusreg.documents.{drawing}", _dies)
    monkeypatch.chdir(tmp_path)
    assert cli.main(list(map(str, command))) == 1
    out, err = capsys.readouterr()
    (told,) = err.splitlines()
    assert told.startswith(f"corpusreg: {command[1]}: the process reading it crashed (SIGABRT)")
    assert answer in out and bool(answer) == bool(out)
    assert not list(tmp_path.iterdir())


def _no_stairs(function: Callable[..., Any]) -> Callable[..., Any]:
    def made(*given: Any, **more: Any) -> Any:
        shown = getattr(given[0], "shown", None)
        if isinstance(shown, PieceSheet):
            titles = [shown.title]
        else:  # comparisons, or a sheet of several pieces
            titles = [] if shown else [each.piece.title for each in given[0]]
        if "Stairs" in titles:
            raise RuntimeError("no stairs")
        return function(*given, **more)

    return made


class _Here:
    """Stands for a pool of children: a copy of a process that has set PDF before may hang."""

    def __init__(self, function: Callable[[Any], Any], *_: Any, **__: Any) -> None:
        self._function = function

    def __enter__(self) -> _Here:
        return self

    def __exit__(self, *_: object) -> None: ...

    def in_turn(self, items: Sequence[Any]) -> Iterator[isolate.Outcome]:
        for item in items:
            try:
                yield isolate.Outcome(item, self._function(item))
            except RuntimeError as error:
                yield isolate.Outcome(item, error=isolate.as_stopped(error))


def _made_here(
    paths: Sequence[Path], function: Callable[..., Any], *given: Any, **more: Any
) -> Any:
    try:
        return function(*given, **more)
    except RuntimeError as error:
        raise isolate.named(isolate.as_stopped(error), paths[0]) from error


@pytest.mark.usefixtures("in_home")
def test_a_piece_that_cannot_be_drawn_is_left_out_of_what_others_are_in(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    for name in ("report.made_report", "handout.pages.set_sheet"):
        module = import_module(f"corpusreg.documents.{name.rpartition('.')[0]}")
        function = name.rpartition(".")[2]
        monkeypatch.setattr(module, function, _no_stairs(getattr(module, function)))
    monkeypatch.setattr(handout_writing, "set_sheet", pages.set_sheet)
    monkeypatch.setattr(handout_writing, "Pool", _Here)
    monkeypatch.setattr(answers, "made_of", _made_here)
    page, sheets, folder = tmp_path / "page.html", tmp_path / "sheets", tmp_path / "class"
    assert cli.main(["compare", str(STAIRS), str(GOOD), "--report", str(page)]) == 1
    out, err = capsys.readouterr()
    (told,) = err.splitlines()
    assert told.startswith(f"corpusreg: {STAIRS}: ") and "no stairs" in told
    assert out == f"{page}: a piece\n"
    assert "Three at a Table" in page.read_text() and "leave this file out" in page.read_text()

    folder.mkdir()
    for each in (STAIRS, GOOD):
        (folder / each.name).write_bytes(each.read_bytes())
    assert cli.main(["handout", str(folder), "--to", str(sheets), "--workers", "1"]) == 1
    (told,) = capsys.readouterr().err.splitlines()
    assert told.startswith(f"corpusreg: {folder / STAIRS.name}: its sheet cannot be made (")
    assert {path.name for path in sheets.rglob("*.pdf")} == {
        "three-at-a-table.pdf", "overview.pdf", "teacher.pdf", "all-sheets.pdf",
    }  # fmt: skip
    assert "its sheet cannot be made" in (sheets / "teacher.html").read_text()


def test_what_fails_beside_the_reference_is_one_line_too(
    in_home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(placing, "compare", _raises)
    found = direct.compare_paths([GOOD])
    assert not found.comparisons
    assert found.failures[0].startswith(f"{GOOD}: ZeroDivisionError")


def _cube(number: int) -> int:
    return number**3


def _own_files(path: Path) -> tuple[int, list[str]]:
    opened = []
    for link in Path("/proc/self/fd").iterdir():
        with contextlib.suppress(OSError):  # the one that lists the others
            opened.append(str(link.readlink()))
    return os.getpid(), opened


def _refuses(path: Path, *, why: str) -> None:
    raise UsageError(f"{path}: {why}")


@pytest.mark.parametrize("near", [True, False])
def test_answers_come_in_the_order_of_the_items_also_of_equal_ones(near: bool) -> None:
    with Pool(_cube, 2, near=near) as pool:
        assert [answer.result for answer in pool.in_turn([3, 1, 3, 2])] == [27, 1, 27, 8]


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="asks /proc")
def test_a_near_child_keeps_none_of_the_parents_files(tmp_path: Path) -> None:
    with (tmp_path / "open.txt").open("w") as kept:
        kept.write("not written twice")
        child, opened = bounded(_own_files, tmp_path)
    assert child != os.getpid()
    assert not [name for name in opened if "open.txt" in name]
    assert (tmp_path / "open.txt").read_text() == "not written twice"


def test_errors_for_people_pass_a_child_unchanged(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"x\.mid: not so$") as told:
        bounded(_refuses, Path("x.mid"), why="not so")
    assert isinstance(told.value, CorpusregError) and not isinstance(told.value, StoppedError)
    with pytest.raises(StoppedError, match=r"^x\.mid: TypeError"):
        bounded(_refuses, Path("x.mid"))


WITH_THREADS = """
import duckdb, gc, sys
from corpusreg.system import isolate
from test_bounded import _collects
alone = isolate._may_fork()
class Cycle: pass
gc.disable()
cycle = Cycle()
cycle.itself, cycle.opened = cycle, duckdb.connect(":memory:", config={"threads": 4})
assert not isolate._may_fork()
del cycle
print(alone, isolate.call(_collects, 0, near=True) >= 0, flush=True)
"""


def _collects(_: int) -> int:
    return gc.collect()


@pytest.mark.skipif(sys.platform != "linux", reason="forks on Linux only")
def test_a_process_with_threads_is_not_copied() -> None:
    # A copy that collects a database of the process it was copied from crashes.
    found = os.pathsep.join([str(Path(__file__).parent), *sys.path])
    done = subprocess.run(
        [sys.executable, "-c", WITH_THREADS],
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": found, "OPENBLAS_NUM_THREADS": "1"},
        check=False,
    )
    assert done.stdout == "True True\n", done.stderr


def test_the_process_of_a_near_child_serves_the_next_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    isolate.let_go()
    first = bounded(_own_files, tmp_path)[0]
    with Pool(_cube, 1, near=True) as pool:  # another function
        assert [answer.result for answer in pool.answers([3])] == [27]
    assert bounded(_own_files, tmp_path)[0] == first
    with pytest.raises(UsageError):  # told by the function itself
        bounded(_refuses, Path("x.mid"), why="not so")
    assert bounded(_own_files, tmp_path)[0] == first
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    assert bounded(_where, tmp_path) == (str(tmp_path), tmp_path)  # and not where it began
    monkeypatch.delenv("CORPUSREG_HOME")
    assert bounded(_where, tmp_path)[0] is None
    assert bounded(_own_files, tmp_path)[0] == first
    with pytest.raises(StoppedError, match="crashed"):
        bounded(_dies, tmp_path)
    assert bounded(_own_files, tmp_path)[0] != first
    isolate.let_go()


def _where(_: Path) -> tuple[str | None, Path]:
    return os.environ.get("CORPUSREG_HOME"), Path.cwd()


def test_limits_of_a_child_are_not_the_parents() -> None:
    before = resource.getrlimit(resource.RLIMIT_CPU), resource.getrlimit(resource.RLIMIT_AS)
    with Pool(_cube, 1, near=True) as pool:
        pool.answers([1])
    after = resource.getrlimit(resource.RLIMIT_CPU), resource.getrlimit(resource.RLIMIT_AS)
    assert before == after and settings.FILE_CPU_SECONDS > 1
