"""Which measures tell too little of a piece in a medium: its two halves agree too little.

reliability: correlation of the places of the two halves of works, stepped up to the whole
(Spearman 1910 and Brown 1910, British Journal of Psychology 3:271-322), by different composers,
from `python reports/trust.py`.
"""

from __future__ import annotations

import csv
from functools import lru_cache
from importlib import resources

__all__ = ["LEAST", "unreliable"]

LEAST = 0.6  # three fifths of the differences between works are theirs, the rest chance


@lru_cache
def unreliable(ensemble: str) -> frozenset[str]:
    """Measures whose reliability in works for an ensemble, as in the works table, is too low.

    None where nothing is known of the ensemble.
    """
    text = (resources.files("corpusreg") / "data" / "reliability.csv").read_text("utf-8")
    return frozenset(
        row["measure"]
        for row in csv.DictReader(text.splitlines())
        if row["ensemble"] == ensemble and float(row["reliability"]) < LEAST
    )
