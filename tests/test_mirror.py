"""Shards kept elsewhere: any location of fsspec, here its memory and a folder."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import direct
import fsspec
import pytest
from batch_work import rows_of

from corpusreg.store import Recipe, Reference, Shards, publish
from corpusreg.store.mirror import Mirror
from corpusreg.system.errors import StoreError, UsageError

RECIPE = Recipe("1", "test")
URL = "memory://invented-bucket/shards"


@pytest.fixture(autouse=True)
def empty_memory() -> Iterator[None]:
    yield
    fsspec.filesystem("memory").store.clear()
    fsspec.filesystem("memory").pseudo_dirs[:] = [""]


def filled(folder: Path, mirror: Mirror, names: list[str]) -> Shards:
    """Shards of one file each, every one sent when it is written."""
    shards = Shards(folder, RECIPE, on_written=lambda name: mirror.send(folder, name))
    for name in names:
        shards.add("invented", name, f"hash of {name}", rows_of("invented", name, 12.0))
        shards.flush()
    return shards


def hashes(shards: Shards, names: list[str], folder: Path) -> dict[str, str]:
    files = [("invented", name, f"hash of {name}") for name in names]
    with Reference(publish(shards, files, folder=folder)) as reference:
        return direct.row_hashes(reference)


@pytest.mark.parametrize("elsewhere", [URL, "folder"])
def test_another_machine_goes_on_from_what_was_sent(tmp_path: Path, elsewhere: str) -> None:
    url = str(tmp_path / "elsewhere") if elsewhere == "folder" else elsewhere
    names = ["a.krn", "b.krn", "c.krn"]
    mine = filled(tmp_path / "mine", Mirror(url), names)
    assert Mirror(url).fetch(tmp_path / "theirs") == 3
    assert Mirror(url).fetch(tmp_path / "theirs") == 0
    theirs = Shards(tmp_path / "theirs", RECIPE)
    assert theirs.damaged == []
    assert theirs.entries.keys() == mine.entries.keys()
    assert hashes(theirs, names, tmp_path / "r2") == hashes(mine, names, tmp_path / "r1")


def test_what_was_measured_before_is_sent_too(tmp_path: Path) -> None:
    mirror = Mirror(URL)
    shards = Shards(tmp_path / "mine", RECIPE)
    shards.add("invented", "a.krn", "hash of a.krn", rows_of("invented", "a.krn", 12.0))
    shards.flush()
    mirror.send_missing(tmp_path / "mine")
    assert mirror.fetch(tmp_path / "theirs") == 1


def test_a_shard_without_its_label_does_not_count_and_a_damaged_one_is_set_aside(
    tmp_path: Path,
) -> None:
    mirror = Mirror(URL)
    filled(tmp_path / "mine", mirror, ["a.krn", "b.krn"])
    memory = fsspec.filesystem("memory")
    labels = sorted(p for p in memory.find("/invented-bucket") if p.endswith(".json"))
    memory.rm_file(labels[0])
    table = next(
        p for p in memory.find(labels[1].removesuffix(".json")) if p.endswith("works.parquet")
    )
    memory.pipe_file(table, memory.cat_file(table)[:-9] + b"damage...")
    assert mirror.fetch(tmp_path / "theirs") == 1
    theirs = Shards(tmp_path / "theirs", RECIPE)
    assert len(theirs.damaged) == 1
    assert not theirs.entries


def test_places_that_are_none(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="'nowhere://x' cannot hold shards"):
        Mirror("nowhere://x")
    (tmp_path / "file").write_text("no folder")
    with pytest.raises(
        StoreError, match=r"shards cannot be copied .*; what was measured is in"
    ):
        Mirror(str(tmp_path / "file")).fetch(tmp_path / "theirs")
