"""Which corpora were added: a small file in the home folder, replaced as a whole."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path

from corpusreg.corpus.catalogue import BUNDLED
from corpusreg.corpus.entries import Entry, entries
from corpusreg.system import settings
from corpusreg.system.errors import StoreError, UsageError
from corpusreg.system.writing import replace_text

__all__ = [
    "Added", "added", "chosen_name", "find_added", "forget", "own_and_others", "remember",
]  # fmt: skip

_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,39}")


@dataclass(frozen=True)
class Added:
    """An added corpus: its name, its folder, and whether corpusreg fetched it.

    plain: a folder that only happens to have the name of a corpus of the catalogue.
    """

    name: str
    path: Path
    fetched: bool = False
    plain: bool = False

    @property
    def entry(self) -> Entry | None:
        """Its entry in the catalogue, None for a folder of the user's own."""
        if self.plain:
            return None
        return next((each for each in entries() if each.name == self.name), None)


def added() -> list[Added]:
    """The corpora that were added, sorted by name.

    Raises StoreError where the file that says so is damaged.
    """
    file = _file()
    try:
        raw = json.loads(file.read_text(encoding="utf-8"))
        found = [Added(row["name"], Path(row["path"]), bool(row["fetched"])) for row in raw]
    except FileNotFoundError:
        return []
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise StoreError(
            f"{file} cannot be read ({error}); delete it and add the corpora again"
        ) from error
    return sorted(found, key=lambda each: each.name)


def chosen_name(path: Path, name: str | None) -> str:
    """The name for a folder: the one given, or the folder's own in plain letters.

    Raises UsageError for a name that is malformed, or another corpus's already.
    """
    if name is None:
        name = re.sub(r"[^a-z0-9_]+", "-", path.name.casefold()).strip("-_")[:40]
        if any(each.name == name for each in entries()):
            raise UsageError(
                f"{path}: the catalogue has a corpus '{name}'; say '--name {name}' if this is "
                "that corpus, else give another name"
            )
    if not _NAME.fullmatch(name) or name == BUNDLED:
        raise UsageError(
            f"--name: '{name}' cannot name a corpus; use up to 40 small letters, digits, "
            f"'-' and '_', and not '{BUNDLED}'"
        )
    for other in added():
        if other.name == name and other.path != path:
            raise UsageError(
                f"a corpus '{name}' was added already, from {other.path}; choose another "
                f"name with --name, or 'corpusreg corpora remove {name}' first"
            )
    return name


def remember(new: Added) -> None:
    """Note a corpus as added, in place of what had its name."""
    _write([*(each for each in added() if each.name != new.name), new])


def find_added(name: str) -> Added:
    """The added corpus of that name; raises UsageError where there is none."""
    there = added()
    for each in there:
        if each.name == name:
            return each
    names = ", ".join(each.name for each in there) or "none"
    raise UsageError(f"no corpus '{name}' was added; added so far: {names}")


def forget(gone: Added) -> None:
    """Take a corpus off the list."""
    _write([each for each in added() if each.name != gone.name])


def _write(rows: list[Added]) -> None:
    file = _file()
    body = [
        {"name": row.name, "path": str(row.path), "fetched": row.fetched}
        for row in sorted(rows, key=lambda row: row.name)
    ]
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        replace_text(file, json.dumps(body, indent=1, ensure_ascii=False) + "\n")
    except OSError as error:
        raise StoreError(
            f"{file} cannot be written ({error.strerror}); free some space, or set "
            "CORPUSREG_HOME to a folder that can be written"
        ) from error


def _file() -> Path:
    return settings.corpora_folder() / "added.json"


def own_and_others() -> tuple[dict[str, Path], list[str]]:
    """Folders of all corpora that were added, by name, and which corpora are nobody's own:
    those of the catalogue, whether they are here or not."""
    known = added()
    own = {each.name for each in known if each.plain}
    return {each.name: each.path for each in known}, [
        each.name for each in entries() if each.name not in own
    ]
