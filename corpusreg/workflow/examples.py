"""Model passages from the reference."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from corpusreg.store import open_reference
from corpusreg.system.errors import UsageError

if TYPE_CHECKING:
    from corpusreg.comparison.examples import Example, Filters

__all__ = ["Examples", "examples", "own_and_others"]

MOST = 50


@dataclass(frozen=True)
class Examples:
    """Passages of one kind, strongest first, and the reference they come from."""

    kind: str
    found: tuple[Example, ...]
    reference_id: str


def examples(kind: str, filters: Filters | None = None, count: int = 5) -> Examples:
    """Passages of one kind; see `corpusreg.comparison.examples.find`.

    count: how many at most, 1 to MOST. Raises StoreError without a usable reference,
    UsageError for what does not exist.
    """
    from corpusreg.comparison.examples import find

    if not 1 <= count <= MOST:
        raise UsageError(f"--count: {count} is not between 1 and {MOST}")
    with open_reference() as reference:
        found = find(reference, kind, filters, count, own_and_others()[1])
        return Examples(kind, tuple(found), reference.reference_id)


def own_and_others() -> tuple[dict[str, Path], list[str]]:
    """Folders of all corpora that were added, by name, and which of them are not one's own."""
    from corpusreg.corpus.registry import added

    known = added()
    return {each.name: each.path for each in known}, [a.name for a in known if a.entry]
