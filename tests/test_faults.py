"""Builds that meet trouble: samples of `tests/benchmarks/faults.py`.

What workers, shards and the publishing meet alone is in test_batch and test_store.
"""

from __future__ import annotations

import datetime
import os
import subprocess
import sys
import time
import types
from pathlib import Path

import direct
import pytest
from batch_work import make_files, plain, work

from corpusreg import store
from corpusreg.building import batch
from corpusreg.measures import definitions
from corpusreg.system.errors import StoreError

RECIPE = store.Recipe(definitions.VERSION, "test")


def built(home: Path, texts: dict[str, str], recipe: store.Recipe = RECIPE) -> batch.Tally:
    """One build in this process."""
    scores = make_files(home.with_name(f"{home.name}, {len(texts)} scores"), texts)
    shards = store.Shards(home / "shards", recipe, batches=store.BatchLimits(rows=20))
    tally = batch.run(scores, work, shards, workers=2)
    store.publish(shards, tally.files, folder=home / "reference")
    shards.tidy()
    return tally


def hashes(home: Path) -> dict[str, str]:
    path = store.pointed(home / "reference")
    assert path is not None
    return direct.row_hashes(path)


@pytest.mark.parametrize("years", [-20])
def test_a_clock_that_jumps_changes_no_rows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, years: int
) -> None:
    built(tmp_path / "steady", plain(8))
    jump = datetime.timedelta(days=365 * years)

    class Other(datetime.datetime):
        @classmethod
        def now(cls, tz: datetime.tzinfo | None = None) -> datetime.datetime:
            return datetime.datetime.fromtimestamp(time.time(), tz) + jump

    late = types.SimpleNamespace(datetime=Other, UTC=datetime.UTC)
    with monkeypatch.context() as patch:
        patch.setattr(sys.modules["corpusreg.store.publish"], "datetime", late)
        built(tmp_path / "jumping", plain(8) | {"piece003.txt": "fine, and older"})
        built(tmp_path / "jumping", plain(4))
    other = time.time() + jump.total_seconds()
    for path in (tmp_path / "jumping").rglob("*"):
        os.utime(path, (other, other))
    tally = built(tmp_path / "jumping", plain(8))
    assert tally.kept + tally.measured == 8
    assert hashes(tmp_path / "jumping") == hashes(tmp_path / "steady")


def test_a_store_of_older_definitions_is_refused_and_made_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(definitions, "VERSION", "1")
        built(tmp_path, plain(6), store.Recipe("1", "test"))
    with pytest.raises(StoreError, match=r"definitions of version 1, expected .*extract"):
        store.open_reference(tmp_path / "reference")
    tally = built(tmp_path, plain(6))
    assert (tally.kept, tally.measured) == (0, 6)
    with store.open_reference(tmp_path / "reference") as reference:
        assert reference.works == 6
    # What the older version measured went with the build that no longer needs it.
    assert len(store.Shards(tmp_path / "shards", store.Recipe("1", "test")).entries) == 0


SMALL_DISK = """
import sys; from pathlib import Path
from corpusreg.system.errors import StoreError
from test_faults import built, plain
try:
    built(Path(sys.argv[1]), plain(20))
except StoreError as error:
    print(error)
"""


def mounts() -> bool:
    """Whether this user may mount a small file system."""
    if sys.platform != "linux" or os.geteuid():
        return False
    trial = subprocess.run(
        ["unshare", "--mount", "mount", "-t", "tmpfs", "none", "/mnt"],
        capture_output=True,
        check=False,
    )
    return trial.returncode == 0


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Row hashes of a build on a disk with room."""
    home = tmp_path_factory.mktemp("whole")
    built(home, plain(20))
    return hashes(home)


@pytest.mark.skipif(not mounts(), reason="only root on Linux may mount a file system")
@pytest.mark.parametrize("kilobytes", [40, 1200])
def test_a_disk_that_fills_and_then_has_room(
    tmp_path: Path, kilobytes: int, whole: dict[str, str]
) -> None:
    home = tmp_path / "home"
    home.mkdir()
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
    words = [sys.executable, "-c", SMALL_DISK, str(home)]
    mount = ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "none", str(home)]
    subprocess.run(mount, check=True)
    try:
        done = subprocess.run(
            words, capture_output=True, text=True, env=environment, check=False
        )
        assert done.returncode == 0, done.stderr
        told = done.stdout
        assert told == "" or (told.count("\n") == 1 and "could not be written" in told)
        assert (told == "") == (store.pointed(home / "reference") is not None)
        subprocess.run(["mount", "-o", "remount,size=100m", str(home)], check=True)
        built(home, plain(20))
        assert hashes(home) == whole
    finally:
        subprocess.run(["umount", "-l", str(home)], check=True)
