"""Passages to study beside a piece as plain data for JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.examples import Example, habit
from corpusreg.text.examples import passage_words
from corpusreg.text.measures import measure_sentence
from corpusreg.text.outputs.examples_text import toward

__all__ = ["passage_document", "study_document"]

_LEFT_OUT = ("facts", "position")


def study_document(
    c: Comparison, sharing: Sequence[Example], otherwise: Sequence[Example]
) -> dict[str, Any]:
    """The most unusual habit, passages that share it and passages that do otherwise.

    habit: name of the measure, None where nothing stands out. first, last: written bars
    from 0, half-open.
    """
    found = habit(c)
    return {
        "habit": found.measure if found else None,
        "words": measure_sentence(found.finding) if found else None,
        "sharing": [passage_document(each) for each in sharing],
        "otherwise": [passage_document(each) for each in otherwise],
    }


def passage_document(each: Example) -> dict[str, Any]:
    """One passage. toward: as `revise` takes it."""
    names = [field.name for field in fields(Example) if field.name not in _LEFT_OUT]
    return {name: getattr(each, name) for name in names} | {
        "words": passage_words(each),
        "toward": toward(each),
    }
