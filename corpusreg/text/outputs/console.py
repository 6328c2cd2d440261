"""A comparison as text for a terminal: the picture first, then words.

Everything but titles and names is ASCII, 88 columns wide, so that it survives any
locale and any printer.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from corpusreg.comparison.comparison import Comparison, PlacedMeasure
from corpusreg.comparison.players import Player
from corpusreg.measures.definitions import VERSION
from corpusreg.norms.reference import Placement
from corpusreg.score.pitch import note_name
from corpusreg.system.phrases import capital
from corpusreg.text import sentences
from corpusreg.text.bars import bars_list, joined
from corpusreg.text.events import event_words, told_events
from corpusreg.text.offers import CAUTION, try_words
from corpusreg.text.players import (
    TIRING,
    edge_words,
    player_lines,
    player_remarks,
    reaching,
    tires,
    torn,
)
from corpusreg.text.profiles import profile_lines

__all__ = [
    "WIDTH",
    "comparison_text",
    "heading",
    "items",
    "outstanding",
    "register_map",
    "strip",
    "wrap",
]

WIDTH = 88
_SHADES = " .:+#"
_MAP_COLUMNS = 64
_ROW = 6  # semitones a row of the map
_STRIP = 17
_MOST = 3  # stays, shifts and outstanding measures told


def comparison_text(c: Comparison, reference_id: str) -> str:
    """The whole answer for one work, without a trailing newline."""
    lines = [
        *heading(c),
        "",
        *register_map(c),
        *_key(c),
        "",
        "What stands out",
        *outstanding(c),
        "",
        *_measures(c),
        "",
        *_stays(c),
        "",
        *_shifts(c),
        *_section("What happens in the registers", _events(c)),
        *_section("Where it is hollow", _hollow(c)),
        *_each_player(c),
        *_section("Music that uses register like this", profile_lines(c.profile)),
        *_section("Worth knowing", c.piece.notes),
        *_section("Taken for granted", c.piece.assumed),
        "",
        f"(reference {reference_id}, definitions {VERSION})",
    ]
    return "\n".join(lines)


def heading(c: Comparison) -> list[str]:
    """Title, forces, length and compass, then the works it is compared with."""
    facts = (sentences.forces(c), sentences.length_words(c), sentences.compass(c))
    broad = (
        "a broad group, since the reference holds few works like this piece: "
        if c.cohort.rung.broad
        else ""
    )
    return [
        *wrap(sentences.plain(c.piece.title)),
        *wrap("  |  ".join(facts)),
        "",
        *wrap(f"Compared with {broad}{sentences.cohort_words(c.cohort)}."),
        *(line for text in sentences.disagreements(c) for line in wrap(text)),
    ]


def wrap(text: str, indent: str = "", first: str | None = None) -> list[str]:
    """Lines of at most 88 columns; `first` indents the first line otherwise."""
    return textwrap.wrap(
        text,
        width=WIDTH,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )


def items(texts: Sequence[str]) -> list[str]:
    """A list with dashes."""
    return [line for text in texts for line in wrap(sentences.plain(text), "    ", "  - ")]


def _section(title: str, texts: Sequence[str]) -> list[str]:
    return ["", title, *items(texts)] if texts else []


def register_map(c: Comparison, notes: tuple[int, int] | None = None) -> list[str]:
    """Time across, pitch upwards, darker where more sounds; stays marked below.

    notes: the lowest and the highest on the axis, MIDI numbers, None for those of the piece.
    """
    weight = c.whole.texture.bars
    per = -(-len(weight) // _MAP_COLUMNS)
    starts = np.arange(0, len(weight), per)
    columns = np.add.reduceat(weight, starts, axis=0)
    lowest, highest = notes or (c.whole.lowest, c.whole.highest)
    low, high = lowest // _ROW, highest // _ROW
    rows = [
        columns[:, _ROW * row : _ROW * (row + 1)].sum(axis=1) for row in range(low, high + 1)
    ]
    top = max(float(np.max(row)) for row in rows)
    lines = []
    for number, row in zip(range(high, low - 1, -1), reversed(rows), strict=True):
        cells = "".join(_shade(float(value) / top) for value in row)
        lines.append(f"  {note_name(number * _ROW):>4} |{cells}|")
    marks = ["-"] * len(starts)
    for stay in c.whole.stays[1:]:
        marks[stay.first // per] = "+"
    return [*lines, f"       +{''.join(marks)}+", f"        {_ruler(c, starts)}".rstrip()]


def _key(c: Comparison) -> list[str]:
    per = -(-len(c.bars) // _MAP_COLUMNS)
    scale = "One column is a bar" if per == 1 else f"One column is {per} bars"
    return wrap(
        f"{scale}, one row half an octave upward from the note named; the darker, the more "
        "sounds there. A + below the map: a new stay begins.",
        indent="        ",
    )


def _shade(share: float) -> str:
    if share <= 0:
        return _SHADES[0]
    return _SHADES[min(1 + int(4 * share**0.6), 4)]


def _ruler(c: Comparison, starts: NDArray[np.int64]) -> str:
    line = ""
    for column in range(0, len(starts), 8):
        label = c.bars.labels[int(starts[column])].replace(" (", " ").replace(" time)", "")
        if len(line) < column or not line:
            line = line.ljust(column) + label
    return line


def outstanding(c: Comparison) -> list[str]:
    """What stands out as a list, furthest first, with an offer for each; or that nothing does.

    Parts that lie at the edge of their instrument come last; first, where the whole
    is in its middle meanwhile, which the measures cannot see.
    """
    told = sentences.leading(c)[:_MOST]
    strained = reaching(c)[:_MOST]
    lines = _strained([part for part in strained if torn(part)], c)
    if not told:
        lines += items([sentences.nothing_words(c, besides=bool(lines))])
    for each, likewise in told:
        lines += _told(each, likewise, c)
    lines += _strained([part for part in strained if not torn(part)], c)
    more = len(reaching(c)) - len(strained)
    if more:
        lines += items([f"{sentences.plural(more, 'more part')} at an edge of the range."])
    if sentences.far_apart(c):
        lines += wrap(CAUTION, indent="    ")
    return lines


def _strained(parts: Sequence[Player], c: Comparison) -> list[str]:
    """Parts at the edge of their instruments, and what to ask."""
    if not parts:
        return []
    tired = any(part.lying and tires(part.lying) for part in parts)
    told = items([f"{edge_words(part, c)}." for part in parts])
    return [*told, *wrap(TIRING if tired else CAUTION, indent="    ")]


def _told(each: PlacedMeasure, likewise: Sequence[PlacedMeasure], c: Comparison) -> list[str]:
    """One measure that stands out: its place, the bars to listen to, and an offer."""
    said = sentences.measure_words(each.measure, each.value, each.placement)
    value = sentences.value_words(each.measure, each.value)
    title = each.measure.title
    more = []
    if likewise:
        more.append(f"Likewise {joined([other.measure.title for other in likewise])}.")
    passages = sentences.where(each, c)
    if passages:
        more.append(f"Listen for it in {bars_list(c.bars, passages)}.")
    more.append(try_words(each))
    return [
        *items([f"{capital(title)}, {value}: {said}."]),
        *wrap(" ".join(more), indent="    "),
    ]


def _measures(c: Comparison) -> list[str]:
    placed = f"{'less':<{_STRIP - 4}}more"
    lines = [f"{'All measures':<32} {'':>17}  {placed} among these works"]
    unplaced: dict[str, list[str]] = {}
    for each in c.measures:
        value = sentences.value_words(each.measure, each.value).removesuffix(" a bar")
        said = sentences.place_words(each.measure, each.value, each.placement)
        lines.append(
            f"  {each.measure.title:<30} {value:>17}  {strip(each.placement)} {said}".rstrip()
        )
        if each.placement.percentile is None:
            unplaced.setdefault(each.placement.reason, []).append(each.measure.title)
    if any(each.placement.interval for each in c.measures):
        lines.append("  o this piece; --- where it may truly lie; | the middle")
    for reason, titles in unplaced.items():
        lines += wrap(f"Not placed: {joined(titles)} ({reason}).", indent="  ")
    return lines


def strip(placement: Placement) -> str:
    """Ranks 0 to 100 as a line of 17 signs: where the piece is, and how surely."""
    if placement.percentile is None or placement.interval is None:
        return " " * _STRIP
    signs = ["."] * _STRIP
    signs[_STRIP // 2] = "|"

    def at(rank: float) -> int:
        return min(int(rank / 100 * _STRIP), _STRIP - 1)

    low, high = placement.interval
    for index in range(at(low), at(high) + 1):
        signs[index] = "-"
    signs[at(placement.percentile)] = "o"
    return "".join(signs)


def _stays(c: Comparison) -> list[str]:
    title = "Where it stays" + _of(len(c.whole.stays), "those most worth saying")
    told = sentences.told_stays(c, _MOST)
    return [title, *items([sentences.stay_words(stay, c.bars) for stay in told])]


def _shifts(c: Comparison) -> list[str]:
    told = [
        sentences.shift_words(shift, c.bars) for shift in sentences.clearest_shifts(c, _MOST)
    ]
    title = "Where it shifts" + _of(len(c.shifts), "the clearest")
    return [title, *items(told or ["no clear shift of register"])]


def _of(number: int, which: str) -> str:
    return f" ({which}, of {number})" if number > _MOST else ""


def _each_player(c: Comparison) -> list[str]:
    """One line a part: notes, place in the range of its instrument, what it asks."""
    lines = player_lines(c)
    if not lines:
        return []
    return ["", "Each player", *(f"  {line}" for line in lines), *_strip_key(c)]


def _strip_key(c: Comparison) -> list[str]:
    key = "Each strip: the instrument from its lowest to its highest note, < > notes beyond."
    known = any(player.lying for player in c.players.parts)
    return [*(wrap(key, indent="  ") if known else []), *items(player_remarks(c))]


def _events(c: Comparison) -> list[str]:
    """The strongest events of the whole, and that loudness was assumed where it was."""
    told = [f"{event_words(event, c.bars)}." for event in told_events(c, _MOST)]
    if told and not c.whole.played.dynamics_known:
        told.append("No dynamics are written: every note counts as mezzo-forte here.")
    return told


def _hollow(c: Comparison) -> list[str]:
    """Bars with an empty octave inside, where three voices or more sound."""
    for each in c.measures:
        if each.measure.name == "hollow_share" and each.value and each.passages:
            return [bars_list(c.bars, each.passages)]
    return []
