"""Repeats, endings, jumps, sections and how often a strophic passage is played.

Conventions as in `corpusreg.score.notes.Bars`: segno and coda count at a bar's
beginning, the other jumps at its end, so a segno or coda written at the very end
of a bar belongs to the next one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from corpusreg.score.notes import Bars
from corpusreg.score.readers.musicxml.layout import Layout
from corpusreg.score.readers.musicxml.raw import Marks, PartRecord, Tally

__all__ = ["read_form"]


def read_form(
    layout: Layout, marks: Marks, records: Sequence[PartRecord], tally: Tally
) -> Bars:
    """The score's bars with everything that says in which order they are played."""
    n = len(layout.labels)
    endings = _endings(marks, n)
    repeat_start = np.zeros(n, bool)
    repeat_start[[i for i in marks.repeat_start if i < n]] = True
    return Bars(
        labels=layout.labels,
        start=layout.start,
        length=layout.length,
        full=layout.full,
        beat=layout.beat,
        section=_sections(layout, marks, records, endings),
        repeat_start=repeat_start,
        repeat_end=_repeat_ends(layout, marks, endings, tally),
        endings=endings,
        marks=_jumps(layout, marks),
    )


def _endings(marks: Marks, n: int) -> tuple[tuple[int, ...], ...]:
    """Passes of each bar: from an ending's beginning to its end."""
    endings: list[tuple[int, ...]] = [()] * n
    for first in sorted(marks.ending_start):
        for i in range(first, _ending_end(first, marks, n)):
            endings[i] = marks.ending_start[first]
    return tuple(endings)


def _ending_end(first: int, marks: Marks, n: int) -> int:
    """One past the last bar of an ending; a lone bracket covers its first bar only."""
    for i in range(first, n):
        if i > first and i in marks.ending_start:
            break
        if i in marks.ending_stop or i in marks.repeat_end:
            return i + 1
    return min(first + 1, n)


def _repeat_ends(
    layout: Layout, marks: Marks, endings: tuple[tuple[int, ...], ...], tally: Tally
) -> NDArray[np.int64]:
    """How many times the passage before each repeat sign is played."""
    n = len(layout.labels)
    ends = np.zeros(n, np.int64)
    for last in sorted(i for i in marks.repeat_end if i < n):
        times = marks.repeat_end[last]
        if not times and endings[last]:
            following = endings[last + 1] if last + 1 < n else ()
            times = max(endings[last] + following)
        elif not times:
            first = _passage_start(last, marks)
            times = _verses(marks, first, last)
            if times > 2:
                tally.assumed[
                    f"bars {layout.labels[first]}-{layout.labels[last]}: "
                    f"{times} verses are written, so played {times} times"
                ] = None
        ends[last] = max(2, times) if marks.repeat_end[last] != 1 else 1
    return ends


def _passage_start(last: int, marks: Marks) -> int:
    """First bar of the passage that a repeat sign at the end of bar `last` repeats."""
    starts = [i for i in marks.repeat_start if i <= last]
    starts += [i + 1 for i in marks.repeat_end if i < last]
    return max(starts, default=0)


def _verses(marks: Marks, first: int, last: int) -> int:
    """Verses written under most of a passage's sung notes."""
    found: Counter[str] = Counter()
    for i in range(first, last + 1):
        if i in marks.verses:
            found.update(marks.verses[i])
    most = max(found.values(), default=0)
    return sum(1 for count in found.values() if 2 * count >= most)


def _sections(
    layout: Layout,
    marks: Marks,
    records: Sequence[PartRecord],
    endings: tuple[tuple[int, ...], ...],
) -> NDArray[np.bool_]:
    """Bars that begin a section; a second ending begins none."""
    n = len(layout.labels)
    section = np.zeros(n, bool)
    repeated = {i + 1 for i in marks.repeat_end if i + 1 < n}
    first = set(marks.sections) | set(marks.repeat_start) | repeated
    first -= {i for i in repeated if endings[i] and endings[i - 1]}
    first |= {layout.bar_of(at, end_counts_next=True) for at in marks.rehearsals}
    first |= _new_keys(records) & {
        i for i in range(1, n) if layout.metres[i] != layout.metres[i - 1]
    }
    section[[i for i in first if i < n]] = True
    return section


def _new_keys(records: Sequence[PartRecord]) -> set[int]:
    """Bars in which some part's key signature becomes another one."""
    changed: set[int] = set()
    for record in records:
        before = ""
        for bar, fifths in record.keys:
            if before and fifths != before:
                changed.add(bar)
            before = fifths
    return changed


def _jumps(layout: Layout, marks: Marks) -> tuple[frozenset[str], ...]:
    found: list[set[str]] = [set() for _ in layout.labels]
    for at, name in marks.jumps:
        bar = layout.bar_of(at, end_counts_next=name in ("segno", "coda"))
        found[bar].add(name)
    signs = sorted({layout.bar_of(at, end_counts_next=True) for at in marks.coda_signs})
    stated = {name for names in found for name in names}
    for k, bar in enumerate(signs):
        # Two bare coda signs: the first is where one leaves, the second where one goes on.
        leaves = k == 0 and len(signs) > 1 and "tocoda" not in stated
        found[bar].add("tocoda" if leaves else "coda")
    return tuple(frozenset(names) for names in found)
