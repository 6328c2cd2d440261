"""The measures that depend on bars, taken once more in double and in half bars.

Where the barline stands is notation: one passage may be written in 2/4 or in 4/4.
A result about periods that only holds in the bars as written says how people wrote,
so it is repeated here with other windows.

Conventions
-----------
double   bars joined in pairs. Pairs are counted from the beginning and begin anew
         where a section begins; an incomplete bar (an upbeat) is joined to nothing.
half     every bar cut at half of its length.
units    values are in written bars whatever the window, so that the three can be
         compared: a stay of two double bars lasts four, and rates are per 100 bars
         as written. `likely` says which other bars the metre makes likely.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures import movement
from corpusreg.measures.ground import lasting
from corpusreg.measures.shifts import clear_sizes, shifts
from corpusreg.measures.stays import expected_dwell, stays
from corpusreg.measures.texture import Texture, texture
from corpusreg.score.played import Played, PlayedBars

__all__ = ["BARS", "REBARRED", "Bars", "doubled", "halved", "likely", "rebarred"]

Bars = Literal["half", "double"]
BARS: tuple[Bars, ...] = ("half", "double")
REBARRED = ("movement_bar", "shift_rate", "longest_dwell", "expected_dwell")


def rebarred(played: Played) -> dict[Bars, Mapping[str, float]]:
    """The measures named in REBARRED by kind of bar; a work of one window has no movement.

    movement_bar in semitones from window to window, shift_rate per 100 written bars,
    dwells in written bars.
    """
    bars = played.bars
    halves = texture(lasting(played.notes, bars), halved(bars))
    first = doubled(bars)
    held = np.diff(np.append(first, len(bars)))
    ticks = np.add.reduceat(halves.bars * halved(bars).length[:, None], 2 * first)
    length = np.add.reduceat(bars.length, first)
    pairs = replace(halves, bars=ticks / np.maximum(length, 1)[:, None])
    return {
        "half": _measured(halves, np.full(2 * len(bars), 0.5)),
        "double": _measured(pairs, held.astype(float)),
    }


def likely(bars: PlayedBars) -> Bars | None:
    """The other bars in which the same music is often written; None where it is not.

    Two felt beats a bar and fewer stand for four in half as many bars, four and more for
    two; three beats are three in any notation (common practice, no source).
    """
    beats = float(np.median(bars.full / np.maximum(bars.beat, 1)))
    if beats <= 2:
        return "double"
    return "half" if beats >= 4 else None


def doubled(bars: PlayedBars) -> NDArray[np.int64]:
    """The bars that begin a window of two bars, or of one that stays alone."""
    incomplete = (bars.length < bars.full).tolist()
    section = bars.section.tolist()
    opens: list[int] = []
    for bar in range(len(bars)):
        alone = incomplete[bar] or section[bar]
        if not opens or alone or bar - opens[-1] == 2 or incomplete[opens[-1]]:
            opens.append(bar)
    return np.array(opens, np.int64)


def halved(bars: PlayedBars) -> PlayedBars:
    """Bars cut in two.

    The beat is the window itself: nothing here is measured by beats, and it is cheaper.
    """
    early = bars.length // 2
    length = np.stack((early, bars.length - early), axis=1).ravel()
    return replace(
        bars,
        written=np.repeat(bars.written, 2),
        time=np.repeat(bars.time, 2),
        start=bars.start[0] + np.concatenate(([0], np.cumsum(length)[:-1])),
        length=length,
        full=length,
        beat=np.maximum(length, 1),
        section=np.repeat(bars.section, 2),
        printed=tuple(number for number in bars.printed for _ in (0, 1)),
    )


def _measured(woven: Texture, held: NDArray[np.float64]) -> Mapping[str, float]:
    """held: how many written bars each window holds, shape (windows,)."""
    sizes = clear_sizes(woven, np.ones(len(woven.bars), bool))
    found = stays(woven, (np.flatnonzero(sizes) + 1).tolist())
    dwell = np.array([held[stay.first : stay.last].sum() for stay in found])
    steps = movement.between_bars(woven)
    values = {
        "shift_rate": 100 * len(shifts(woven)) / held.sum(),
        "longest_dwell": float(dwell.max()),
        "expected_dwell": expected_dwell(dwell),
    }
    return values | ({"movement_bar": float(steps.mean())} if len(steps) else {})
