"""In octaves: one line that sounds in two or more octaves at once.

Definition
----------
The note that an outer line strikes is doubled when the same pitch class is struck with it in
another octave. A passage in octaves is a run of such notes of one outer line, a bar or more and
A_BAR notes in a bar, ONE_LINE of which one hand doubles at one distance (chords may happen to
hold the octave of a tune now here and now there), and of which

- in the upper line, TUNE notes or more strike PITCHES_USED pitch classes or more. A chord
  here and there with its octave on top is not a tune in octaves;
- where nothing but the line sounds (bare octaves), FEW notes and two pitch classes are enough;
- in the lower line, no more than one pitch class beside it is held, or nothing is struck but
  the line: two-part music, or a theme under held notes. A bass that a hand or a double bass
  doubles under chords is ordinary.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.events import Event
from corpusreg.measures.outer_lines import Moments

__all__ = ["in_octaves"]

SHORTEST = 1.0  # bars
TUNE = 6  # notes
FEW = 4  # notes
A_BAR = 2.0  # notes in a bar
PITCHES_USED = 3
BARE = 0.9  # of the notes of a passage
ONE_LINE = 0.8  # of them

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class _Strikes:
    """Onsets of the work: moment, first and last row (half-open), doubled octaves, bareness."""

    moment: Ints
    first: Ints
    last: Ints
    classes: Ints  # how many pitch classes are held
    bare: Bools  # one pitch class only is struck, in two octaves or more


def in_octaves(here: Moments) -> list[Event]:
    """Passages in octaves in order of time; where both outer lines are one, it is told once."""
    struck = _strikes(here)
    found: list[Event] = []
    for event in [*_passages(here, struck, "top"), *_passages(here, struck, "bottom")]:
        if not any(event.first >= own.first and event.last <= own.last for own in found):
            found.append(event)
    return sorted(found, key=lambda event: (event.first, event.beat, event.low))


def _strikes(here: Moments) -> _Strikes:
    notes = here.notes
    first, last, moment = here.strikes
    held = here.sounds[moment]
    padded = np.zeros((len(first), 132), bool)
    padded[:, : held.shape[1]] = held
    classes = padded.reshape(len(first), 11, 12).any(axis=1).sum(axis=1)
    own = notes.pitch % 12
    one = np.maximum.reduceat(own, first) == np.minimum.reduceat(own, first)
    # Rows of an onset go up in pitch.
    bare = one & (notes.pitch[last - 1] > notes.pitch[first])
    return _Strikes(moment, first, last, classes, bare)


def _passages(here: Moments, struck: _Strikes, by: str) -> list[Event]:
    notes = here.notes
    top = by == "top"
    lead = struck.last - 1 if top else struck.first
    line = (here.highest if top else here.lowest)[struck.moment]
    rows = np.flatnonzero(notes.pitch[lead] == line)
    lead, first, last = lead[rows], struck.first[rows], struck.last[rows]
    doubled = _has_octave(notes.pitch, lead, first, last)
    if not top:
        doubled &= (struck.classes[rows] <= 2) | struck.bare[rows]
    found = []
    runs = np.flatnonzero(np.diff(doubled, prepend=False, append=False)).reshape(-1, 2)
    for a, b in runs[runs[:, 1] - runs[:, 0] >= FEW].tolist():
        event = _passage(here, struck, by, lead[a:b], rows[a:b])
        if event is not None:
            found.append(event)
    return found


def _has_octave(pitch: Ints, lead: Ints, first: Ints, last: Ints) -> Bools:
    """Whether another octave of the leading note is struck with it."""
    owner, rows = _together(first, last)
    apart = pitch[rows] - pitch[lead][owner]
    return np.bincount(owner[(apart % 12 == 0) & (apart != 0)], minlength=len(lead)) > 0


def _together(first: Ints, last: Ints) -> tuple[Ints, Ints]:
    """Rows of what is struck together, and of which of these onsets each row is."""
    count = last - first
    owner = np.repeat(np.arange(len(first)), count)
    rows = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + first[owner]
    return owner, rows


def _passage(here: Moments, struck: _Strikes, by: str, lead: Ints, run: Ints) -> Event | None:
    notes, bars = here.notes, here.bars
    bare = float(struck.bare[run].mean())
    classes = len(np.unique(notes.pitch[lead] % 12))
    if by == "top" and bare < BARE:
        enough = len(run) >= TUNE and classes >= PITCHES_USED
    else:
        enough = len(run) >= FEW and classes >= (2 if bare >= BARE else PITCHES_USED)
    if not enough:
        return None
    first, last = int(notes.bar[lead[0]]), int(notes.bar[lead[-1]])
    begin, end = int(notes.onset[lead[0]]), int(here.ends[lead[-1]])
    end = min(end, int(bars.start[-1] + bars.length[-1]))
    stop = min(int(np.searchsorted(bars.start, end, side="left")) - 1, len(bars) - 1)
    lasts = (
        (stop - first)
        + (end - int(bars.start[stop])) / max(int(bars.length[stop]), 1)
        - (begin - int(bars.start[first])) / max(int(bars.length[first]), 1)
    )
    if lasts < SHORTEST - 0.02 or len(run) < A_BAR * lasts:
        return None
    if _most_alike(here, struck, lead, run) < ONE_LINE * len(run):
        return None
    own, width = _line(here, struck, lead, run)
    pitches = np.unique(notes.pitch[own])
    return Event(
        kind="in_octaves",
        part=None,
        first=first,
        last=last + 1,
        bar=first,
        beat=here.beat_at(begin, first),
        pitches=tuple(pitches.tolist()),
        low=int(pitches[0]),
        high=int(pitches[-1]),
        strength=lasts / (lasts + 8) * (0.5 + bare / 2),
        lasts=round(float(lasts), 3),
        players=tuple(np.unique(notes.part[own]).tolist()),
        steps=len(run),
        place="top" if by == "top" else "bass",
        by="alone" if bare >= BARE else "",
        interval=width,
    )


def _most_alike(here: Moments, struck: _Strikes, lead: Ints, run: Ints) -> int:
    """How many notes the hand doubles, at its distance, that doubles most."""
    pitch, hand = here.notes.pitch, here.hand
    owner, rows = _together(struck.first[run], struck.last[run])
    apart = pitch[rows] - pitch[lead][owner]
    own = (apart % 12 == 0) & (apart != 0)
    doubles = hand[rows[own]] * 256 + apart[own]
    # Twice on one note counts once.
    once = set(zip(owner[own].tolist(), doubles.tolist(), strict=True))
    return max(Counter(double for _, double in once).values())


def _line(here: Moments, struck: _Strikes, lead: Ints, run: Ints) -> tuple[Ints, int]:
    """Rows of the line in its octaves, and the distance of the nearest of them.

    Only octaves that hang together in half of the notes belong to it: what is struck now and
    then in a further one is another part, a bass, say.
    """
    notes = here.notes
    rows, away, widths, reaches = [], [], [], []
    for row, strike in zip(lead.tolist(), run.tolist(), strict=True):
        own = np.arange(struck.first[strike], struck.last[strike])
        apart = np.abs(notes.pitch[own] - notes.pitch[row])
        own, apart = own[apart % 12 == 0], apart[apart % 12 == 0]
        octaves = set(apart.tolist()) - {0}
        reach = min(octaves)
        widths.append(reach)
        while reach + 12 in octaves:
            reach += 12
        reaches.append(reach)
        rows.append(own)
        away.append(apart)
    most = sorted(reaches)[(len(reaches) - 1) // 2]
    chosen = np.concatenate(rows)[np.concatenate(away) <= most]
    return chosen, sorted(widths)[(len(widths) - 1) // 2]
