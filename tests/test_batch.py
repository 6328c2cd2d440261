"""Workers that may die, and the run that goes on."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import batch_work
import direct
import pytest
from batch_work import make_files, plain

from corpusreg import store
from corpusreg.building import batch
from corpusreg.measures import definitions
from corpusreg.system import isolate
from corpusreg.system.errors import ReadError
from corpusreg.system.isolate import Limits, StoppedError

TIGHT = Limits(cpu_seconds=1.0, wall_seconds=60.0, memory=300_000_000)
# Filling memory takes computing time too: where both can be reached, a busy machine decides
# which comes first. So whatever is not meant to run out of time has plenty of it.
SMALL = Limits(cpu_seconds=20.0, wall_seconds=60.0, memory=300_000_000)
HASTY = Limits(wall_seconds=3.0)
RECIPE = store.Recipe(definitions.VERSION, "test")


def run(tmp_path: Path, files, *, workers: int = 2, limits: Limits | None = None, **options):
    shards = store.Shards(tmp_path / "shards", RECIPE, **options)
    return batch.run(files, batch_work.work, shards, workers=workers, limits=limits), shards


def publish(tmp_path: Path, tally, shards) -> store.Reference:
    return store.Reference(store.publish(shards, tally.files, folder=tmp_path / "reference"))


def failures(reference: store.Reference) -> dict[str, tuple[str, str]]:
    rows = reference.query("SELECT path, stage, reason FROM failures").rows
    return {path: (stage, reason) for path, stage, reason in rows}


def test_every_kind_of_death_costs_one_file(tmp_path: Path) -> None:
    texts = plain(12) | {
        "exit.txt": "exit",
        "segv.txt": "segv",
        "eat.txt": "eat",
        "raise.txt": "raise",
        "refuse.txt": "refuse",
        "bad.txt": "bad",
        "nan.txt": "nan",
        "print.txt": "print",
    }
    tally, shards = run(tmp_path, make_files(tmp_path / "scores", texts), limits=SMALL)
    with publish(tmp_path, tally, shards) as reference:
        found = failures(reference)
        assert {path: stage for path, (stage, _) in found.items()} == {
            "exit.txt": "crash",
            "segv.txt": "crash",
            "eat.txt": "memory",
            "raise.txt": "measure",
            "refuse.txt": "measure",
            "bad.txt": "read",
            "nan.txt": "measure",
        }
        assert found["eat.txt"][1] == "needs more than 300 MB of memory"
        assert found["exit.txt"][1].endswith("crashed (exit code 7)")
        assert found["raise.txt"][1] == "ZeroDivisionError: by nothing"
        assert found["refuse.txt"][1] == "the file says no"
        assert "not a finite number" in found["nan.txt"][1]
        assert reference.works == 13
    assert (tally.measured, tally.failed, tally.works) == (20, 7, 13)


def test_what_waits_for_ever_costs_one_file(tmp_path: Path) -> None:
    files = make_files(tmp_path / "scores", plain(3) | {"hang.txt": "hang"})
    tally, shards = run(tmp_path, files, limits=HASTY)
    with publish(tmp_path, tally, shards) as reference:
        assert failures(reference) == {"hang.txt": ("time", "takes more than 3 s")}
        assert reference.works == 3


def test_a_verdict_of_the_moment_is_tried_again_and_others_are_not(tmp_path: Path) -> None:
    texts = plain(3) | {"exit.txt": "exit", "spin.txt": "spin", "bad.txt": "bad"}
    files = make_files(tmp_path / "scores", texts)
    run(tmp_path, files, limits=TIGHT)
    tally, shards = run(tmp_path, files, limits=TIGHT)
    assert (tally.kept, tally.measured) == (5, 1)
    with publish(tmp_path, tally, shards) as reference:
        failed = failures(reference)
        assert failed.keys() == {"exit.txt", "spin.txt", "bad.txt"}
        assert failed["spin.txt"] == ("time", "takes more than 1 s of computing")
        assert reference.works == 3


def test_a_file_that_crashed_once_is_measured_alone(tmp_path: Path) -> None:
    texts = plain(3) | {"once.txt": f"once {tmp_path / 'mark'}"}
    tally, shards = run(tmp_path, make_files(tmp_path / "scores", texts))
    with publish(tmp_path, tally, shards) as reference:
        assert reference.works == 4
        assert failures(reference) == {}


def test_rows_do_not_depend_on_the_number_of_workers(tmp_path: Path) -> None:
    files = make_files(tmp_path / "scores", plain(30) | {"bad.txt": "bad"})
    tally, shards = run(tmp_path / "a", files, workers=3)
    other, other_shards = run(
        tmp_path / "b", list(reversed(files)), workers=1, batches=store.BatchLimits(rows=50)
    )
    with (
        publish(tmp_path / "a", tally, shards) as one,
        publish(tmp_path / "b", other, other_shards) as two,
    ):
        assert direct.row_hashes(one) == direct.row_hashes(two)
        assert one.reference_id == two.reference_id
        assert one.works == 30


def test_only_what_is_new_or_changed_is_measured(tmp_path: Path) -> None:
    texts = plain(6)
    run(tmp_path, make_files(tmp_path / "scores", texts))
    texts |= {"piece002.txt": "changed", "piece900.txt": "new"}
    files = make_files(tmp_path / "scores", texts)
    tally, shards = run(tmp_path, files)
    assert (tally.kept, tally.measured) == (5, 2)
    with publish(tmp_path, tally, shards) as reference:
        rows = reference.query(
            "SELECT value FROM measures WHERE work LIKE '%piece002.txt'"
        ).rows
        assert (float(len("changed")),) in rows
    changed = store.Shards(tmp_path / "shards", store.Recipe("other", "test"))
    assert batch.run(files, batch_work.work, changed).kept == 0


def test_a_file_that_left_the_corpus_leaves_the_reference(tmp_path: Path) -> None:
    files = make_files(tmp_path / "scores", plain(4))
    run(tmp_path, files)
    tally, shards = run(tmp_path, files[:3])
    with publish(tmp_path, tally, shards) as reference:
        assert reference.works == 3


def test_progress_counts_to_the_end(tmp_path: Path) -> None:
    files = make_files(tmp_path / "scores", plain(5) | {"bad.txt": "bad"})
    seen: list[batch.Progress] = []
    shards = store.Shards(tmp_path / "shards", RECIPE)
    batch.run(files, batch_work.work, shards, on_progress=seen.append)
    assert [progress.done for progress in seen] == [1, 2, 3, 4, 5, 6]
    last = seen[-1]
    assert (last.total, last.works, last.failed, last.kept) == (6, 5, 1, 0)
    assert last.bytes_done == last.bytes_total == sum(file.size for file in files)


def test_a_function_that_workers_cannot_load_stops_the_run(tmp_path: Path) -> None:
    files = make_files(tmp_path / "scores", plain(3))
    shards = store.Shards(tmp_path / "shards", RECIPE)
    lost = batch_work.cannot_load
    lost.__module__ = "no_such_module"
    sys.modules["no_such_module"] = sys.modules["batch_work"]
    try:
        with pytest.raises(StoppedError, match="no_such_module"):
            batch.run(files, lost, shards)
    finally:
        del sys.modules["no_such_module"]
        lost.__module__ = "batch_work"


def test_an_interrupt_keeps_what_was_finished(tmp_path: Path) -> None:
    files = make_files(tmp_path / "scores", plain(40))

    def stop(progress: batch.Progress) -> None:
        if progress.done == 10:
            raise KeyboardInterrupt

    shards = store.Shards(tmp_path / "shards", RECIPE)
    with pytest.raises(KeyboardInterrupt):
        batch.run(files, batch_work.work, shards, workers=2, on_progress=stop)
    tally, _ = run(tmp_path, files)
    assert tally.kept >= 10


def test_two_workers_work_at_the_same_time(tmp_path: Path) -> None:
    one, two = tmp_path / "one", tmp_path / "two"
    texts = {"a.txt": f"meet {one} {two}", "b.txt": f"meet {two} {one}"}
    tally, _ = run(tmp_path, make_files(tmp_path / "scores", texts), workers=2)
    assert (tally.works, tally.failed) == (2, 0)


def build_process(home: Path) -> subprocess.Popen[str]:
    # A process started in the background of a shell ignores interrupts.
    code = (
        "import signal; signal.signal(signal.SIGINT, signal.default_int_handler); "
        f"import batch_work; batch_work.build_forever({str(home)!r})"
    )
    return subprocess.Popen(
        [sys.executable, "-c", code],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
    )


def labels(home: Path) -> int:
    return len(list((home / "shards").glob("*.json")))


MOMENTS = {
    "before any shard": lambda home: (home / "shards").exists(),
    "after the first shard": lambda home: labels(home) >= 1,
    "while publishing": lambda home: list((home / "reference").glob("building*")),
}


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Row hashes of a build that nothing disturbed."""
    home = tmp_path_factory.mktemp("whole")
    out, err = build_process(home).communicate(timeout=120)
    assert out.split() == ["0", "40"], err
    return direct.row_hashes(store.pointed(home / "reference"))


@pytest.mark.parametrize("moment", MOMENTS)
def test_a_killed_build_is_resumed_to_equal_rows(
    tmp_path: Path, moment: str, whole: dict[str, str]
) -> None:
    killed = build_process(tmp_path)
    while not MOMENTS[moment](tmp_path):
        assert killed.poll() is None, "the build ended before it was killed"
        time.sleep(0.001)
    killed.kill()
    killed.communicate()
    assert store.pointed(tmp_path / "reference") is None
    finished = labels(tmp_path)
    out, err = build_process(tmp_path).communicate(timeout=120)
    kept, measured = map(int, out.split() or [-1, -1])
    assert kept + measured == 40, err
    # Each shard holds at least one file, and nothing in a shard is measured again.
    assert kept >= finished
    if moment == "while publishing":
        assert kept == 40
    assert direct.row_hashes(store.pointed(tmp_path / "reference")) == whole
    assert not list((tmp_path / "reference").glob("building*"))


def children_of(pid: int) -> list[int]:
    printed = subprocess.run(
        ["ps", "-o", "pid=,ppid=", "-A"], capture_output=True, text=True, check=True
    ).stdout
    pairs = [tuple(map(int, line.split())) for line in printed.splitlines()]
    return [child for child, parent in pairs if parent == pid]


@pytest.mark.skipif(sys.platform == "win32", reason="lists processes with ps")
def test_workers_end_with_their_parent(tmp_path: Path) -> None:
    parent = build_process(tmp_path)
    workers: list[int] = []
    end = time.monotonic() + 60
    while len(workers) < 2 and time.monotonic() < end:
        workers = children_of(parent.pid)
    assert len(workers) == 2
    parent.kill()
    parent.communicate()
    end = time.monotonic() + 60
    while any(isolate.usage(pid) for pid in workers) and time.monotonic() < end:
        time.sleep(0.02)
    assert [pid for pid in workers if isolate.usage(pid)] == []


@pytest.mark.skipif(sys.platform == "win32", reason="its launcher is a shell script")
def test_a_child_behind_a_launcher_is_watched_itself(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    launcher = tmp_path / "launcher"
    launcher.write_text(f'#!/bin/sh\n"{sys.executable}" "$@"\nexit $?\n', encoding="utf-8")
    launcher.chmod(0o755)
    watched: list[int] = []
    monkeypatch.setattr(sys, "executable", str(launcher))
    monkeypatch.setattr(isolate, "usage", watched.append)
    child = isolate.Child(batch_work.pid_once_there, isolate.Limits())
    try:
        child.send(tmp_path)
        own = tmp_path / "pid"
        while not (own.exists() and int(own.read_text("ascii") or 0) in watched):
            assert child.collect() == [], "it gave up"
            child.watch()
            time.sleep(0.01)
        (tmp_path / "go").touch()
        while not (answers := child.collect()):
            time.sleep(0.01)
    finally:
        child.close()
    assert answers[0].result == watched[-1] != watched[0]


def test_a_second_build_names_the_first(tmp_path: Path) -> None:
    first = build_process(tmp_path)
    lock = tmp_path / "build.lock"
    end = time.monotonic() + 60
    while not (lock.exists() and lock.stat().st_size) and time.monotonic() < end:
        time.sleep(0.01)
    second = build_process(tmp_path)
    _, err = second.communicate(timeout=120)
    out, _ = first.communicate(timeout=120)
    assert second.returncode != 0
    assert f"another build is running (process {first.pid})" in err
    assert out.split() == ["0", "40"]


@pytest.mark.skipif(sys.platform == "win32", reason="sends SIGINT to a process")
def test_ctrl_c_ends_a_build_in_the_middle(tmp_path: Path) -> None:
    build = build_process(tmp_path)
    shards = tmp_path / "shards"
    end = time.monotonic() + 60
    while not list(shards.glob("*.json")) and time.monotonic() < end:
        time.sleep(0.01)
    build.send_signal(signal.SIGINT)
    _, err = build.communicate(timeout=120)
    assert "KeyboardInterrupt" in err
    assert store.pointed(tmp_path / "reference") is None
    kept = len(store.Shards(shards, RECIPE).entries)
    assert 0 < kept < 40, "it went on to the end"


def test_call_returns_what_the_function_returns(tmp_path: Path) -> None:
    (file,) = make_files(tmp_path, {"a.txt": "fine"})
    assert isolate.call(batch_work.work, file)["measures"][0][2] == 4.0


def test_call_raises_what_is_for_people_as_it_is(tmp_path: Path) -> None:
    (file,) = make_files(tmp_path, {"a.txt": "refuse"})
    with pytest.raises(ReadError, match="the file says no"):
        isolate.call(batch_work.work, file)


@pytest.mark.parametrize(
    ("text", "limits", "kind"),
    [
        ("exit", SMALL, "crash"),
        ("spin", TIGHT, "time"),
        ("eat", SMALL, "memory"),
        ("raise", SMALL, "error"),
    ],
)
def test_call_is_bounded(tmp_path: Path, text: str, limits: Limits, kind: str) -> None:
    (file,) = make_files(tmp_path, {"a.txt": text})
    with pytest.raises(StoppedError) as caught:
        isolate.call(batch_work.work, file, limits)
    assert caught.value.kind == kind
    assert "\n" not in str(caught.value)


def test_call_works_in_a_thread(tmp_path: Path) -> None:
    (file,) = make_files(tmp_path, {"a.txt": "fine"})
    results = []
    thread = threading.Thread(
        target=lambda: results.append(isolate.call(batch_work.work, file))
    )
    thread.start()
    thread.join()
    assert len(results) == 1


def test_usage_of_this_process_rises_with_what_it_holds() -> None:
    before = isolate.usage(os.getpid())
    held = bytearray(80_000_000)
    held[::4096] = b"x" * len(held[::4096])
    after = isolate.usage(os.getpid())
    assert before is not None
    assert after is not None
    assert 70_000_000 < after.memory - before.memory < 120_000_000
    assert abs(after.cpu_seconds - time.process_time()) < 0.2


def test_usage_by_ps_agrees_with_the_first_way() -> None:
    if sys.platform == "win32":
        pytest.skip("Windows has no ps")
    one, two = isolate.usage(os.getpid()), isolate.from_ps(os.getpid())
    assert one is not None
    assert two is not None
    assert two.memory == pytest.approx(one.memory, rel=0.2)
    # ps counts whole seconds on Linux.
    assert two.cpu_seconds == pytest.approx(one.cpu_seconds, abs=1.1)
    assert isolate.from_ps(2**22 + 1) is None
