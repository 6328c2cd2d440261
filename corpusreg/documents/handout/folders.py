"""Folders that are written as a whole or not at all."""

from __future__ import annotations

import contextlib
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from corpusreg.system.errors import CorpusregError

__all__ = ["publish", "staging"]


@contextlib.contextmanager
def staging(to: Path) -> Iterator[Path]:
    """An empty folder beside `to` to write into; it is gone afterwards.

    Raises CorpusregError where nothing can be written there, and for what goes wrong
    while writing inside.
    """
    try:
        if to.exists() and not to.is_dir():
            raise NotADirectoryError(None, "it is a file")
        beside = next(each for each in to.absolute().parents if each.exists())
        # Inside the folder itself: who may write there need not be let beside it.
        place = to if to.is_dir() else beside
        stage = Path(tempfile.mkdtemp(prefix=".handout-", dir=place))
    except OSError as error:
        raise _unwritable(to, error) from error
    try:
        yield stage
    except OSError as error:
        raise _unwritable(to, error) from error
    finally:
        shutil.rmtree(stage, ignore_errors=True)


def publish(stage: Path, to: Path) -> None:
    """Move all files of `stage` to `to`, replacing those of the same name.

    Where a move fails, those before it are undone and OSError is raised.
    """
    files = [path for path in sorted(stage.rglob("*")) if path.is_file()]
    made = [folder for folder in (to, *to.parents) if not folder.exists()]
    with tempfile.TemporaryDirectory(prefix=".before-", dir=stage) as kept:
        moved: list[tuple[Path, Path | None]] = []
        try:
            for number, file in enumerate(files):
                target = to / file.relative_to(stage)
                target.parent.mkdir(parents=True, exist_ok=True)
                before = Path(kept) / str(number) if target.exists() else None
                if before:
                    target.replace(before)
                moved.append((target, before))
                file.replace(target)
        except OSError:
            for target, before in reversed(moved):
                target.unlink(missing_ok=True)
                if before:
                    before.replace(target)
            for folder in made:
                shutil.rmtree(folder, ignore_errors=True)
            raise


def _unwritable(to: Path, error: OSError) -> CorpusregError:
    why = (error.strerror or str(error)).lower()
    return CorpusregError(f"{to}: cannot be written ({why}); choose another folder")
