"""Each part's range beside the comfortable range of its instrument or voice.

The ranges are a guide from the instruments table; nothing is clipped or placed.
"""

from __future__ import annotations

from dataclasses import dataclass

from corpusreg import instruments
from corpusreg.bar_words import bars_list
from corpusreg.compare import Comparison
from corpusreg.instruments import Instrument
from corpusreg.words import plain, range_words

__all__ = ["PartRange", "part_ranges"]

_MUCH = 0.25  # share of a part's time beyond its comfortable range that is worth a look
_SOME = 0.05  # and that is worth a mention


@dataclass(frozen=True)
class PartRange:
    """A part, its range in words, and how it lies for its instrument.

    outside: share of its time (0 to 1) beyond the comfortable range, 0 where no
    instrument is known. run: the longest passage there, half-open played bars, or None.
    """

    name: str
    words: str
    outside: float
    run: tuple[int, int] | None

    @property
    def reaches(self) -> bool:
        """Whether so much of it lies outside that it is worth a look."""
        return self.outside >= _MUCH


def part_ranges(c: Comparison) -> list[PartRange]:
    """Every sounding part in score order."""
    played = c.whole.played
    found = []
    for index, instrument in enumerate(instruments.load().match_all(played.parts)):
        if not (played.notes.part == index).any():
            continue
        part = played.parts[index]
        name = plain(part.name) or plain(part.abbreviation) or f"Part {index + 1}"
        found.append(_part(c, index, name, instrument))
    return found


def _part(c: Comparison, index: int, name: str, instrument: Instrument | None) -> PartRange:
    notes = c.whole.played.notes
    own = notes.take(notes.part == index)
    text = range_words(int(own.pitch.min()), int(own.pitch.max()))
    # A keyboard is at ease everywhere; what is hard there is not a matter of range.
    if instrument is None or instrument.family == "keyboard":
        return PartRange(name, text, 0.0, None)
    low, high = instrument.comfortable
    said = []
    for beyond, side in ((own.pitch > high, "above"), (own.pitch < low, "below")):
        share = float(own.duration[beyond].sum() / own.duration.sum())
        if share >= _SOME:
            much = "nearly all" if share > 0.95 else f"{100 * share:.0f} %"
            said.append(f"{much} of its time {side}")
    outside = (own.pitch > high) | (own.pitch < low)
    total = float(own.duration[outside].sum() / own.duration.sum())
    if not said:
        return PartRange(name, f"{text}, within the comfortable range", total, None)
    run = _longest_run(sorted({int(bar) for bar in own.bar[outside]}))
    said_all = f"{' and '.join(said)} the comfortable range of the {instrument.name}"
    return PartRange(
        name,
        f"{text}, {said_all} ({range_words(low, high)}), longest in {bars_list(c.bars, [run])}",
        total,
        run,
    )


def _longest_run(bars: list[int]) -> tuple[int, int]:
    """The longest run of consecutive bars, half-open; bars ascending, at least one."""
    runs: list[tuple[int, int]] = []
    for bar in bars:
        if runs and runs[-1][1] == bar:
            runs[-1] = (runs[-1][0], bar + 1)
        else:
            runs.append((bar, bar + 1))
    return max(runs, key=lambda run: (run[1] - run[0], -run[0]))
