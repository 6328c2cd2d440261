"""Measuring on a Dask cluster: a real scheduler and two worker processes on this machine."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator
from pathlib import Path

import batch_work
import psutil
import pytest
from batch_work import make_files, plain
from conftest import PIECES
from distributed import Client, LocalCluster

from corpusreg import workflow
from corpusreg.cli import main
from corpusreg.measures.definitions import VERSION
from corpusreg.store import Recipe, Reference, Shards, open_reference, publish
from corpusreg.store.building import batch
from corpusreg.store.building.cluster import CHUNK, cluster
from corpusreg.store.building.extract import EXTRACTION_VERSION
from corpusreg.system.errors import UsageError
from corpusreg.system.isolate import Limits

TIGHT = Limits(cpu_seconds=20.0, wall_seconds=60.0, memory=300_000_000)
VERSIONS = {"definitions": VERSION, "extraction": EXTRACTION_VERSION}


@pytest.fixture(scope="module")
def running() -> Iterator[LocalCluster]:
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as found:
        yield found


def measured(tmp_path: Path, running: LocalCluster, files: list) -> tuple[batch.Tally, Shards]:
    shards = Shards(tmp_path / "shards", Recipe(VERSION, "test"))
    with cluster(running.scheduler_address, VERSIONS) as measuring:
        tally = batch.run(files, batch_work.work, shards, limits=TIGHT, measuring=measuring)
    return tally, shards


def hashes(tmp_path: Path, tally: batch.Tally, shards: Shards) -> dict[str, str]:
    with Reference(publish(shards, tally.files, folder=tmp_path / "reference")) as reference:
        return reference.row_hashes()


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
    with cluster(running.scheduler_address, VERSIONS) as measuring:
        tally = batch.run(files, batch_work.work, shards, on_progress=kill, measuring=measuring)
        assert not alive(pid)
    assert (tally.measured, tally.failed, tally.works) == (len(slow), 0, len(slow))


def alive(pid: int) -> bool:
    """Whether a process of this number runs."""
    return psutil.pid_exists(pid) and psutil.Process(pid).status() != psutil.STATUS_ZOMBIE


def test_versions_and_addresses_are_checked_before_anything_is_measured(
    running: LocalCluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("corpusreg.store.building.cluster.CONNECT_SECONDS", 0.5)
    with (
        pytest.raises(UsageError, match=r"instead of .*'definitions': '0'.*; install the same"),
        cluster(running.scheduler_address, {"definitions": "0"}),
    ):
        pass
    with (
        pytest.raises(UsageError, match=r"no Dask scheduler answers at tcp://127\.0\.0\.1:9 "),
        cluster("tcp://127.0.0.1:9", VERSIONS),
    ):
        pass


def test_the_command_makes_the_reference_of_local_workers(
    tmp_path: Path, running: LocalCluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = []
    far = ["--cluster", running.scheduler_address, "--shards", "memory://command/shards"]
    for home, options in (("near", []), ("far", far)):
        monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path / home))
        assert main(["extract", str(PIECES), *options]) == 0
        with open_reference() as reference:
            found.append((reference.reference_id, reference.row_hashes()))
    assert found[0] == found[1]
    # A third machine, without a cluster, finds everything measured.
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path / "third"))
    built = workflow.extract([str(PIECES)], shards="memory://command/shards")
    assert (built.measured, built.kept) == (0, len(list(PIECES.iterdir())))
