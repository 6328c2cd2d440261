"""Shards kept a second time in storage that is no local folder: a bucket, a server.

`Mirror` copies shards between the local folder, on which `Shards` works, and any
location that fsspec knows (a URL such as s3://bucket/shards or sftp://host/shards, or
a path). A build on another machine, or after this one is lost, goes on from there.

As in the local folder a shard counts from the moment its label is there: tables are
copied first, the label last, so that an interrupted copy leaves rubbish and no half
shard. What arrives damaged does not pass the checksums in its label and is set aside.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from corpusreg.system.errors import StoreError, UsageError
from corpusreg.system.writing import replacing

__all__ = ["Mirror"]

_NOT_SHARDS = ("fresh.json",)


class Mirror:
    """The shards at one location; see the module."""

    def __init__(self, url: str) -> None:
        """Raises UsageError where the extra is missing or the location is of no known kind."""
        try:
            import fsspec
        except ImportError:
            raise UsageError(
                "shards elsewhere need fsspec; install it with "
                "\"pip install 'corpusreg[cluster]'\""
            ) from None
        self.url = url
        try:
            self._files, self._root = fsspec.core.url_to_fs(url)
        except (ValueError, ImportError) as error:
            reason = " ".join(str(error).split())
            raise UsageError(f"'{url}' cannot hold shards ({reason})") from None

    def fetch(self, folder: Path) -> int:
        """Copy what is there and not in `folder`; returns the number of shards copied.

        Raises StoreError where the location cannot be read or the folder not written.
        """
        copied = 0
        with self._storing():
            folder.mkdir(parents=True, exist_ok=True)
            for label in self._labels():
                if (folder / label).exists():
                    continue
                name = label.removesuffix(".json")
                target = folder / name
                target.mkdir(exist_ok=True)
                for table in self._files.ls(f"{self._root}/{name}", detail=False):
                    self._files.get_file(table, str(target / _last(table)))
                with replacing(folder / label) as aside:
                    self._files.get_file(f"{self._root}/{label}", str(aside))
                copied += 1
        return copied

    def send(self, folder: Path, name: str) -> None:
        """Copy one shard of `folder` to the location, its label last.

        Raises StoreError where that cannot be done.
        """
        with self._storing():
            self._files.makedirs(f"{self._root}/{name}", exist_ok=True)
            for table in sorted((folder / name).iterdir()):
                self._files.put_file(str(table), f"{self._root}/{name}/{table.name}")
            self._files.put_file(str(folder / f"{name}.json"), f"{self._root}/{name}.json")

    def send_missing(self, folder: Path) -> None:
        """Copy every shard of `folder` that the location lacks."""
        with self._storing():
            there = set(self._labels())
        for label in sorted(folder.glob("*.json")):
            if label.name not in there and label.name not in _NOT_SHARDS:
                self.send(folder, label.stem)

    def _labels(self) -> list[str]:
        self._files.makedirs(self._root, exist_ok=True)
        names = (_last(path) for path in self._files.ls(self._root, detail=False))
        return sorted(n for n in names if n.endswith(".json") and n not in _NOT_SHARDS)

    @contextmanager
    def _storing(self) -> Iterator[None]:
        # Every kind of storage has errors of its own, and few of them are OSErrors.
        try:
            yield
        except Exception as error:
            reason = " ".join(str(error).split())[:200] or type(error).__name__
            raise StoreError(
                f"{self.url}: shards cannot be copied ({reason}); what was measured is in the "
                "local folder; see that the place can be reached, then run it again"
            ) from error


def _last(path: str) -> str:
    return path.rstrip("/").rpartition("/")[2]
