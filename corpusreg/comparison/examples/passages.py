"""Model passages from the reference."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from corpusreg.comparison.examples.find import find
from corpusreg.corpus.registry import own_and_others
from corpusreg.system.errors import UsageError

if TYPE_CHECKING:
    from corpusreg.comparison.examples.find import Example, Filters
    from corpusreg.store import Reference

__all__ = ["Examples", "examples"]

MOST = 50


@dataclass(frozen=True)
class Examples:
    """Passages of one kind, strongest first, and the reference they come from."""

    kind: str
    found: tuple[Example, ...]
    reference_id: str


def examples(
    reference: Reference, kind: str, filters: Filters | None = None, count: int = 5
) -> Examples:
    """Passages of one kind; see `corpusreg.comparison.examples.find`.

    count: how many at most, 1 to MOST. Raises UsageError for what does not exist.
    """
    if not 1 <= count <= MOST:
        raise UsageError(f"--count: {count} is not between 1 and {MOST}")
    found = find(reference, kind, filters, count, own_and_others()[1])
    return Examples(kind, tuple(found), reference.reference_id)
