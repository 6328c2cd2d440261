"""Values that count in no norm, since the score that they come from is hardly right.

A note far outside its instrument is an error of the edition or of reading: one wrong
octave in one flute makes a symphony wider than any other. Such works stay in the
reference, are listed, and leave the norms of the measures that the note decides. A work
of one repeated note or of absurd length leaves all of them.
"""

from __future__ import annotations

from corpusreg.instruments import load
from corpusreg.measures.definitions import MEASURES
from corpusreg.score.pitch import note_name
from corpusreg.store import Draft, sql

__all__ = ["doubtful"]

# How far beyond a professional's range a note is taken for an error: soloists and
# instruments with an extension stay within it (common practice, no source). A piano has
# no note beyond its keys.
_STRAY = 7
_KEYS = ("piano", "fortepiano")
_LONGEST = 5000  # bars: the longest movements of the open corpora have some 1,700
# Measures that one single note decides.
_BY_EDGES = ("span",)


def doubtful(draft: Draft) -> list[tuple[str, str, str]]:
    """Rows of the table left_out: work, measure, reason."""
    table = load()
    found = draft.fetch_columns(sql.load("part_edges"))
    reasons: dict[tuple[str, str], str] = {}
    for work, name, key, low, high, bottom, top in zip(*found.values(), strict=True):
        if key not in table:  # from another version's table of instruments
            continue
        instrument = table[key]
        least, most = instrument.limits("professional")
        beyond = 0 if key in _KEYS else _STRAY
        for pitch, edge, stray in (
            (low, bottom, low < least - beyond),
            (high, top, high > most + beyond),
        ):
            if stray and pitch == edge:
                part = name or instrument.name
                reason = f"{note_name(int(pitch))} in {part}, far outside its range"
                for measure in _BY_EDGES:
                    reasons.setdefault((work, measure), reason)
    odd = draft.fetch_columns(sql.load("hardly_works"), {"longest": _LONGEST})
    for work, bars, flat in zip(*odd.values(), strict=True):
        reason = "one note repeated" if flat else f"{bars:,} bars"
        reasons |= {(work, measure.name): reason for measure in MEASURES}
    return [(*key, reason) for key, reason in sorted(reasons.items())]
