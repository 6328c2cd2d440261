"""Measuring on a Dask cluster: a real scheduler and two worker processes on this machine."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import batch_work
import dask.config as dask_config
import direct
import psutil
import pytest
from batch_work import make_files, plain
from conftest import PIECES, ROOT
from distributed import Client, LocalCluster

from corpusreg.building import batch
from corpusreg.building.cluster import CHUNK, cluster, protected, versions
from corpusreg.cli import main
from corpusreg.measures.definitions import VERSION
from corpusreg.store import Recipe, Reference, Shards, open_reference, publish
from corpusreg.system.errors import UsageError
from corpusreg.system.isolate import Limits

TIGHT = Limits(cpu_seconds=20.0, wall_seconds=60.0, memory=300_000_000)
MEANT = ("Python", "corpusreg", "definitions", "extraction", "lxml", "music21")


@pytest.fixture(scope="module")
def running() -> Iterator[LocalCluster]:
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0"
    ) as found:
        yield found


def measured(tmp_path: Path, running: LocalCluster, files: list) -> tuple[batch.Tally, Shards]:
    shards = Shards(tmp_path / "shards", Recipe(VERSION, "test"))
    with cluster(running.scheduler_address) as measuring:
        tally = batch.run(files, batch_work.work, shards, limits=TIGHT, measuring=measuring)
    return tally, shards


def hashes(tmp_path: Path, tally: batch.Tally, shards: Shards) -> dict[str, str]:
    with Reference(publish(shards, tally.files, folder=tmp_path / "reference")) as reference:
        return direct.row_hashes(reference)


def test_rows_are_those_of_local_workers_and_bad_files_cost_themselves(
    tmp_path: Path, running: LocalCluster
) -> None:
    texts = plain(3 * CHUNK) | {"exit.txt": "exit", "eat.txt": "eat", "bad.txt": "bad"}
    files = make_files(tmp_path / "scores", texts)
    tally, shards = measured(tmp_path / "far", running, files)
    assert (tally.measured, tally.failed, tally.works) == (len(texts), 3, 3 * CHUNK)
    local = Shards(tmp_path / "near", Recipe(VERSION, "test"))
    near = batch.run(files, batch_work.work, local, workers=1, limits=TIGHT)
    assert hashes(tmp_path, tally, shards) == hashes(tmp_path / "near2", near, local)


def test_a_worker_that_dies_in_the_middle_costs_nothing(
    tmp_path: Path, running: LocalCluster
) -> None:
    slow = {f"slow{number:03}.txt": "nap 0.02" for number in range(6 * CHUNK)}
    files = make_files(tmp_path / "scores", slow)
    victim = running.scheduler.workers[next(iter(running.scheduler.workers))]
    with Client(running, set_as_default=False) as client:
        pid = client.run(os.getpid, workers=[victim.address])[victim.address]
    done: list[int] = []

    def kill(progress: batch.Progress) -> None:
        done.append(progress.done)
        if len(done) == CHUNK:
            os.kill(pid, signal.SIGTERM if sys.platform == "win32" else signal.SIGKILL)

    shards = Shards(tmp_path / "shards", Recipe(VERSION, "test"))
    with cluster(running.scheduler_address) as measuring:
        tally = batch.run(files, batch_work.work, shards, on_progress=kill, measuring=measuring)
        assert not alive(pid)
    assert (tally.measured, tally.failed, tally.works) == (len(slow), 0, len(slow))


def alive(pid: int) -> bool:
    """Whether a process of this number runs."""
    return psutil.pid_exists(pid) and psutil.Process(pid).status() != psutil.STATUS_ZOMBIE


@pytest.mark.parametrize("name", MEANT)
def test_every_version_is_checked_before_anything_is_measured(
    running: LocalCluster, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    here = versions()
    assert here[name] != "none"
    monkeypatch.setattr("corpusreg.building.cluster.versions", lambda: here | {name: "0"})
    with (
        pytest.raises(
            UsageError, match=rf"worker at \S+ has {name} {here[name]} instead of 0;"
        ),
        cluster(running.scheduler_address),
    ):
        pass


def test_an_address_where_nobody_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("corpusreg.building.cluster.CONNECT_SECONDS", 0.5)
    with (
        pytest.raises(UsageError, match=r"no Dask scheduler answers at tcp://127\.0\.0\.1:9 "),
        cluster("tcp://127.0.0.1:9"),
    ):
        pass


OLD_MUSIC21 = """
from corpusreg.building import cluster
here = cluster.versions()
cluster.versions = lambda: here | {"music21": "1"}
"""


def test_a_worker_that_joins_later_is_checked(tmp_path: Path) -> None:
    files = make_files(tmp_path / "scores", plain(12 * CHUNK))
    old = tmp_path / "old.py"
    old.write_text(OLD_MUSIC21)
    shards = Shards(tmp_path / "shards", Recipe(VERSION, "test"))
    options = "--nthreads", "1", "--no-dashboard", "--no-nanny", "--preload", str(old)
    with (
        LocalCluster(
            n_workers=1, threads_per_worker=1, processes=True, dashboard_address=":0"
        ) as running,
        cluster(running.scheduler_address) as measuring,
    ):
        joined = dask("worker", running.scheduler_address, *options)
        try:
            with Client(running, set_as_default=False) as client:
                client.wait_for_workers(2, timeout=120)
            with pytest.raises(UsageError, match=r"worker at \S+ has music21 1 instead .*kept"):
                batch.run(files, batch_work.work, shards, measuring=measuring)
        finally:
            joined.kill()
            joined.wait()


def dask(*arguments: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "dask", *arguments],
        env=os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


@pytest.mark.skipif(shutil.which("openssl") is None, reason="needs openssl and bash")
def test_tls_with_a_shared_secret(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The lines of the guide: with the secret all work, without it nobody gets in."""
    text = (ROOT / "reports/guide/machines.md").read_text(encoding="utf-8")
    lines = text[
        text.index("    openssl req") : text.index("    dask scheduler --protocol tls")
    ]
    ran = subprocess.run(
        ["bash", "-ec", f"{lines}\nenv"],
        cwd=tmp_path, capture_output=True, encoding="utf-8", check=True,
    )  # fmt: skip
    found = dict(line.split("=", 1) for line in ran.stdout.splitlines() if line[:5] == "DASK_")
    assert (tmp_path / "cluster.pem").stat().st_mode & 0o077 == 0
    for name, value in found.items():
        monkeypatch.setenv(name, value)
    at = tmp_path / "scheduler.json"
    scheduler = dask(
        "scheduler", "--protocol", "tls", "--host", "127.0.0.1", "--port", "0",
        "--no-dashboard", "--scheduler-file", str(at),
    )  # fmt: skip
    worker = dask("worker", "--scheduler-file", str(at), "--nthreads", "1", "--no-dashboard")
    try:
        address = address_in(at)
        assert protected(address)
        config = dask_config.collect_env(found)
        files = make_files(tmp_path / "scores", plain(3))
        with dask_config.set(flat(config)):
            with Client(address, set_as_default=False) as client:
                client.wait_for_workers(1, timeout=60)
            with cluster(address) as measuring:
                tally = batch.run(
                    files, batch_work.work, Shards(tmp_path / "s", Recipe(VERSION, "test")),
                    measuring=measuring,
                )  # fmt: skip
        assert (tally.measured, tally.failed) == (3, 0)
        monkeypatch.setattr("corpusreg.building.cluster.CONNECT_SECONDS", 2)
        for door in (address, address.replace("tls://", "tcp://")):
            with pytest.raises(UsageError, match="no Dask scheduler answers"), cluster(door):
                pass
        other = tmp_path / "other"
        other.mkdir()
        subprocess.run(["bash", "-ec", lines], cwd=other, capture_output=True, check=True)
        wrong = str(other / "cluster.pem")
        theirs = flat({"ca-file": wrong, "client": {"cert": wrong}}, "distributed.comm.tls.")
        with (
            dask_config.set(theirs),
            pytest.raises(UsageError, match=r"no Dask scheduler answers .*same certificates"),
            cluster(address),
        ):
            pass
    finally:
        for process in (worker, scheduler):
            process.kill()
            process.wait()


def flat(config: dict[str, Any], above: str = "") -> dict[str, Any]:
    """Settings by their whole names, which leave the others as they are."""
    found: dict[str, Any] = {}
    for name, value in config.items():
        whole = f"{above}{name}"
        found |= flat(value, f"{whole}.") if isinstance(value, dict) else {whole: value}
    return found


def address_in(file: Path) -> str:
    ends = time.monotonic() + 60
    while not file.exists():
        assert time.monotonic() < ends
        time.sleep(0.1)
    time.sleep(0.2)
    return str(json.loads(file.read_text())["address"])


def test_the_command_makes_the_reference_of_local_workers(
    tmp_path: Path, running: LocalCluster, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    found = []
    far = ["--cluster", running.scheduler_address, "--shards", "memory://command/shards"]
    for home, options in (("near", []), ("far", far)):
        monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path / home))
        assert main(["extract", str(PIECES), *options]) == 0
        with open_reference() as reference:
            found.append((reference.reference_id, direct.row_hashes(reference)))
    assert found[0] == found[1]
    # An open scheduler is called so.
    assert "anyone who reaches it can run programs on every worker" in capsys.readouterr().err
    # A third machine, without a cluster, finds everything measured.
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path / "third"))
    built = direct.extract([str(PIECES)], shards="memory://command/shards")
    assert (built.measured, built.kept) == (0, len(list(PIECES.iterdir())))
