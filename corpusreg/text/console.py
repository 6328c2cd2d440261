"""A comparison as text for a terminal: five lines and the map, and all else on request."""

from __future__ import annotations

import shlex
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from corpusreg.comparison.choirs import OTHER, choirs
from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.findings import Reading, reading
from corpusreg.measures.definitions import VERSION
from corpusreg.score.pitch import Spelling
from corpusreg.score.played import ordinal
from corpusreg.system.phrases import capital, plural, shared_start
from corpusreg.system.plaintext import plain
from corpusreg.text.choirs import choir_lines
from corpusreg.text.measures import title
from corpusreg.text.players import player_lines, player_remarks
from corpusreg.text.profiles import alike_lines
from corpusreg.text.reading import (
    CLASS_COLUMNS,
    MEASURE_COLUMNS,
    by_period,
    certainty,
    class_row,
    details,
    first_screen,
    heading,
    measure_rows,
    unranked,
)
from corpusreg.text.tabular import items, screen, text_table, wrap
from corpusreg.text.wording import note, number

__all__ = ["class_text", "comparison_text", "family_map", "register_map"]

MAP_ROWS = 20  # at most, so that map and ruler stay under 24 lines
_SHADES = " .:+#"
_MAP_COLUMNS = 64
_BESIDE = 12  # columns beside the map
_WITHIN = 4  # columns of a bar at most
_STEPS = (1, 2, 3, 4, 6, 12)  # semitones of a row
# Paper and the four tones of weight of `documents.pictures.look`, as red, green, blue.
_TONES = ("253;252;248", "211;208;227", "167;162;201", "113;105;163", "58;50;104")
_STRIP = 17
# Families in the room beside the map.
_FAMILIES = {"woodwind": "wood", "strings": "strgs", "keyboard": "keys", "plucked": "pluck",
             "percussion-pitched": "perc", OTHER: "other"}  # fmt: skip
Floats = NDArray[np.float64]


def comparison_text(c: Comparison, reference_id: str, *, full: bool = False) -> str:
    """The answer for one work, without a trailing newline; full: with all its details."""
    r = reading(c)
    lines = [heading(r), *(line for text in first_screen(r) for line in wrap(text, "  "))]
    lines += ["", *register_map(c), *family_map(c)]
    if not full:
        if r.piece.unread:
            lines.append(f"{_unread(r)}; --full says why.")
        return "\n".join([*lines, "More: --full, --report FILE."])
    for section in details(r):
        lines += ["", section.heading]
        lines += items(section.lines)
    lines += ["", *_measures(r)]
    families = choir_lines(c)
    if families:
        lines += ["", "Families of instruments", *items(families)]
    players = player_lines(c)
    if players:
        lines += ["", "Each player", *(f"  {line}" for line in players)]
        lines += items(player_remarks(c, r))
    near = alike_lines(c.alike)
    if near:
        lines += ["", "Music whose register has the same shape over time"]
        lines += items(near)
    lines += ["", f"(reference {reference_id}, definitions {VERSION})"]
    return "\n".join(lines)


def _unread(r: Reading) -> str:
    return f"{plural(r.piece.unread, 'place')} in this file could not be read"


def class_text(comparisons: Sequence[Comparison]) -> str:
    """Several works in one table, and how to see one of them."""
    readings = [reading(c) for c in comparisons]
    rows = [class_row(r) for r in readings]
    work = shared_start([row[0] for row in rows])
    table = text_table(CLASS_COLUMNS, [(row[0][len(work) :], *row[1:]) for row in rows])
    path = readings[0].piece.path
    several = sum(r.piece.path == path for r in readings) > 1
    number = comparisons[0].piece.number if several else ""
    chosen = f" --number {shlex.quote(number)}" if number else ""
    unread = [f"{plain(r.piece.path)}: {_unread(r)}." for r in readings if r.piece.unread]
    one = f"One of them: corpusreg compare {shlex.quote(path)}{chosen}"
    above = [work.removesuffix(": "), ""] if work else []
    return "\n".join([*above, table, "", *unread, one])


def _measures(r: Reading) -> list[str]:
    """All measures with their values, ranks as strips and in numbers."""
    by_collection = any(row[-1] for row in measure_rows(r))
    if not r.company.placed:
        rows = [row[:2] for row in measure_rows(r)]
        return [*text_table(MEASURE_COLUMNS[:2], rows).splitlines(), *unranked(r)]
    columns = (*MEASURE_COLUMNS[:2], "less         more", *MEASURE_COLUMNS[2:])
    rows = [
        (*row[:2], strip(rank.percentile, rank.interval) if rank else "", *row[2:])
        for row, rank in zip(measure_rows(r), (each.rank for each in r.measures), strict=True)
    ]
    last = None if by_collection else -1
    table = text_table(columns[:last], [row[:last] for row in rows]).splitlines()
    key = "In each strip: o this piece, --- the 95 % interval, | the middle of the works."
    return [*table, key, *_periods(r), *unranked(r), *items(certainty(r))]


def _periods(r: Reading) -> list[str]:
    """The places among works of one period, period by period."""
    rows = [
        (f"{title(each.name)} among {name} works", strip(place), f"P{place:.0f}")
        for each, rank in by_period(r)
        for name, place in rank.periods.items()
    ]
    columns = ("by period", "less         more", "rank")
    return ["", *text_table(columns, rows).splitlines(), ""] if rows else []


def strip(percentile: float, interval: tuple[float, float] | None = None) -> str:
    """Ranks 0 to 100 as a line of 17 signs: the piece, its interval, the middle."""
    signs = ["."] * _STRIP
    signs[_STRIP // 2] = "|"

    def at(place: float) -> int:
        return min(int(place / 100 * _STRIP), _STRIP - 1)

    if interval:
        for index in range(at(interval[0]), at(interval[1]) + 1):
            signs[index] = "-"
    signs[at(percentile)] = "o"
    return "".join(signs)


def register_map(c: Comparison, notes: tuple[int, int] | None = None) -> list[str]:
    """Time across, pitch upwards, darker where more sounds; new registers marked below.

    notes: the lowest and the highest on the axis, MIDI numbers, None for those of the piece.
    A screen that has them shows half blocks, two rows of pitch a line, on the colour of paper.
    """
    blocks = screen().blocks
    per, within = _scale(len(c.bars))
    columns, starts = _columns(c, per, within)
    lowest, highest = notes or (c.whole.lowest, c.whole.highest)
    rows = MAP_ROWS * (2 if blocks else 1)
    step = next(r for r in _STEPS if highest // r - lowest // r < rows or r == _STEPS[-1])
    low, high = lowest // step, highest // step
    weight = np.array(
        [columns[:, step * k : step * (k + 1)].sum(axis=1) for k in range(high, low - 1, -1)]
    )
    shares = weight / weight.max()
    lines = (_blocks if blocks else _signs)(shares, high, step, c.whole.played.spelling)
    marks = ["-"] * len(starts)
    for stay in c.whole.stays[1:]:
        marks[stay.first * within // per] = "^"
    scale = f"{per} bars" if per > 1 else "a bar"
    shades = "" if blocks else f"from {_SHADES[1]} to {_SHADES[-1]} more sounds; "
    wide = f"{number(within)} columns are" if within > 1 else "a column is"
    return [
        *lines,
        f"       +{''.join(marks)}+",
        f"        {_ruler(c, starts)}".rstrip(),
        f"        {capital(wide)} {scale}; {shades}^ a new register begins.",
    ]


def family_map(c: Comparison) -> list[str]:
    """A line for each family of a large ensemble, darker where more of its parts sound."""
    found = choirs(c.players, c.whole.played)
    if found is None:
        return []
    per, within = _scale(len(c.bars))
    lines = []
    for each in found.choirs:
        sounds = [c.parts[name].texture.bars.sum(axis=1) > 0 for name in each.parts]
        share = np.mean(sounds, axis=0)
        cut = np.pad(share, (0, -len(share) % per)).reshape(-1, per).max(axis=1)
        row = np.repeat(cut, within)
        if screen().blocks:
            tones = np.where(row > 0, np.minimum(1 + (4 * row).astype(int), 4), 0).tolist()
            signs = "".join(f"\x1b[48;2;{_TONES[tone]}m " for tone in tones) + "\x1b[0m"
        else:
            signs = "".join(map(_shade, row.tolist()))
        lines.append(f" {_FAMILIES.get(each.family, each.family):>5} |{signs}|")
    return [*lines, "        Each family: darker where more of its parts sound."]


def _scale(bars: int) -> tuple[int, int]:
    """Bars of a column, where one has several, and columns of a bar."""
    blocks = screen().blocks
    most = max(screen().width - _BESIDE, 40) if blocks else _MAP_COLUMNS
    return -(-bars // most), min(max(most // bars, 1), _WITHIN) if blocks else 1


def _columns(c: Comparison, per: int, within: int) -> tuple[Floats, NDArray[np.int64]]:
    """Weight by column and pitch, and the bar of each column.

    per: bars of a column. within: columns of a bar, each of which takes the beats that lie
    in it.
    """
    bars = np.arange(len(c.bars))
    beats, beat_bar = c.whole.heard, c.whole.texture.beat_bar
    first = np.searchsorted(beat_bar, bars)
    if within == 1:
        starts = bars[::per]
        return np.add.reduceat(beats, first[starts], axis=0), starts
    count = np.maximum(np.bincount(beat_bar, minlength=len(bars)), 1)
    part = np.tile(np.arange(within), len(bars))
    starts = np.repeat(bars, within)
    at = first[starts] + part * count[starts] // within
    return beats[np.minimum(at, len(beats) - 1)], starts


def _signs(shares: Floats, high: int, step: int, spelling: Spelling) -> list[str]:
    """A line a row in plain signs."""
    return [
        f"  {note((high - k) * step, spelling):>4} |{''.join(map(_shade, row.tolist()))}|"
        for k, row in enumerate(shares)
    ]


def _blocks(shares: Floats, high: int, step: int, spelling: Spelling) -> list[str]:
    """Two rows a line, each cell in the colour of its weight on the colour of paper."""
    if len(shares) % 2:
        shares = np.vstack((shares, np.zeros(shares.shape[1])))
    tones = np.where(shares > 0, np.minimum(1 + (4 * shares**0.6).astype(int), 4), 0)
    lines = []
    for k in range(0, len(tones), 2):
        cells, last = [], (-1, -1)
        for upper, lower in zip(tones[k].tolist(), tones[k + 1].tolist(), strict=True):
            if (upper, lower) != last:
                cells.append(f"\x1b[38;2;{_TONES[upper]};48;2;{_TONES[lower]}m")
            cells.append("\u2580")
            last = upper, lower
        bottom = (high - k - 1) * step
        octave = -(-bottom // 12) * 12
        name = note(octave, spelling) if octave < bottom + 2 * step else ""
        lines.append(f"  {name:>4} |{''.join(cells)}\x1b[0m|")
    return lines


def _shade(share: float) -> str:
    if share <= 0:
        return _SHADES[0]
    return _SHADES[min(1 + int(4 * share**0.6), 4)]


def _ruler(c: Comparison, starts: NDArray[np.int64]) -> str:
    """Printed numbers of bars, one every eight columns or some more."""
    line, at = "", 0
    while at < len(starts):
        bar = int(starts[at])
        label, time = c.bars.printed[bar], int(c.bars.time[bar])
        if time > 1:
            label += f" {ordinal(time)}"
        if len(line) < at or not line:
            line = line.ljust(at) + label
        at += 8
        while 0 < at < len(starts) and starts[at] == starts[at - 1]:
            at += 1
    return line
