"""Model passages from the reference: one kind of event or habit, as others did it.

kinds    the kinds, and how each is said
find     passages of a kind, filtered, strongest first, spread over composers and periods
passages what is asked for, with the reference it comes from
study    what to study beside a compared piece

Conventions: bars are written positions from 0, half-open; strength is 0 to 100 and is told
to order the passages of one kind, never as a mark.
"""

from __future__ import annotations

from corpusreg.comparison.examples.find import Example, Filters, at, find
from corpusreg.comparison.examples.kinds import KINDS
from corpusreg.comparison.examples.passages import Examples, examples
from corpusreg.comparison.examples.study import habit, study

__all__ = [
    "KINDS", "Example", "Examples", "Filters", "at", "examples", "find", "habit", "study",
]  # fmt: skip
