"""A comparison as text for a terminal: the picture first, then words.

Everything is ASCII, so that it survives any locale and any printer.
"""

from __future__ import annotations

import textwrap

import numpy as np

from corpusreg import words
from corpusreg.compare import Comparison, PlacedMeasure
from corpusreg.pitch import note_name
from corpusreg.reference import Placement

__all__ = ["comparison_text", "register_map", "strip"]

_SHADES = " .:+#"
_MAP_COLUMNS = 64
_ROW = 6  # semitones a row of the map
_STRIP = 25


def comparison_text(c: Comparison, reference_id: str, definitions: str) -> str:
    """The whole answer for one work, without a trailing newline."""
    piece = c.piece
    lines = [
        f"{piece.title}  ({piece.ensemble}, {words.plural(c.written_bars, 'bar')}"
        + (f", {len(c.bars)} as played" if len(c.bars) != c.written_bars else "")
        + ")",
        *_wrap(f"Compared with {words.cohort_words(c.cohort)}." + _broad(c)),
        "",
        *register_map(c),
        "",
        *_outstanding(c),
        "",
        *_measures(c),
        "",
        *_where(c),
    ]
    remarks = [*words.disagreements(c), *piece.notes]
    if remarks:
        lines += ["", "Worth knowing", *_items(remarks)]
    if piece.assumed:
        lines += ["", "Taken for granted", *_items(piece.assumed)]
    lines += ["", f"(reference {reference_id}, definitions {definitions})"]
    return "\n".join(lines)


def _wrap(text: str, indent: str = "", first: str | None = None) -> list[str]:
    return textwrap.wrap(
        text,
        width=88,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )


def _items(texts: list[str] | tuple[str, ...]) -> list[str]:
    return [line for text in texts for line in _wrap(text, indent="    ", first="  - ")]


def _broad(c: Comparison) -> str:
    if not c.cohort.rung.broad:
        return ""
    return (
        " This is a broad group: the reference holds too few works like this piece to"
        " place it among them."
    )


def register_map(c: Comparison) -> list[str]:
    """Time across, pitch upwards, darker where more sounds; stays marked below."""
    weight = c.whole.texture.bars
    bars = len(weight)
    per = -(-bars // _MAP_COLUMNS)
    starts = np.arange(0, bars, per)
    columns = np.add.reduceat(weight, starts, axis=0)
    low = c.whole.lowest // _ROW
    high = c.whole.highest // _ROW
    rows = [columns[:, _ROW * row : _ROW * (row + 1)].sum(axis=1) for row in range(low, high + 1)]
    top = max(float(np.max(row)) for row in rows)
    lines = []
    for number, row in zip(range(high, low - 1, -1), reversed(rows), strict=True):
        cells = "".join(_shade(float(value) / top) for value in row)
        lines.append(f"  {note_name(number * _ROW):>4} |{cells}|")
    marks = ["-"] * len(starts)
    for stay in c.whole.stays[1:]:
        marks[stay.first // per] = "+"
    lines.append(f"       +{''.join(marks)}+")
    lines.append(f"        {_ruler(c, starts)}")
    scale = "one column a bar" if per == 1 else f"one column is {per} bars"
    lines += _wrap(
        f"Each row is half an octave, from the note named; {scale}; darker is more sound. "
        "A + below marks where a new stay begins.",
        indent="        ",
    )
    return lines


def _shade(share: float) -> str:
    if share <= 0:
        return _SHADES[0]
    return _SHADES[min(1 + int(4 * share**0.6), 4)]


def _ruler(c: Comparison, starts: np.ndarray) -> str:  # type: ignore[type-arg]
    line = ""
    for column in range(0, len(starts), 8):
        label = c.bars.labels[int(starts[column])].split(" ")[0]
        line = line.ljust(column) + (label if len(line) <= column else "")
    return line


def _outstanding(c: Comparison) -> list[str]:
    far = words.standing_out(c)
    if not far:
        reason = ""
        if c.odder is not None and c.odder > 0.5:
            reason = (
                f" (of these works about {round(10 * c.odder)} in 10 have some measure"
                " as far out as this piece's furthest)"
            )
        return ["What stands out", *_items([f"Nothing stands out{reason}."])]
    lines = ["What stands out"]
    for each in far[:3]:
        said = words.measure_words(each.measure, each.value, each.placement)
        value = words.value_words(each.measure, each.value)
        lines += _items([f"{each.measure.title[0].upper()}{each.measure.title[1:]}: {value}; {said}."])
        offer = words.try_words(each, c.bars)
        if offer:
            lines += _wrap(offer, indent="    ")
    if any(each.measure.name in ("span", "core_span") for each in far):
        lines += _wrap(words.CAUTION, indent="    ")
    return lines


def _measures(c: Comparison) -> list[str]:
    lines = ["Measures    (o this piece, --- where its true place lies, | the middle)"]
    for each in c.measures:
        value = words.value_words(each.measure, each.value)
        if each.measure.name == "span":
            value = f"{value}, {note_name(c.whole.lowest)} to {note_name(c.whole.highest)}"
        said = words.measure_words(each.measure, each.value, each.placement)
        lines.append(f"  {each.measure.title:<29} {strip(each.placement)} {value}")
        lines += _wrap(said + _bars(each, c), indent=" " * 32)
    return lines


def _bars(each: PlacedMeasure, c: Comparison) -> str:
    if not each.passages:
        return ""
    return " (" + ", ".join(words.bar_range(c.bars, a, b) for a, b in each.passages) + ")"


def strip(placement: Placement) -> str:
    """Ranks 0 to 100 as a line of 25 signs: where the piece is, and how surely."""
    signs = ["."] * _STRIP
    signs[_STRIP // 2] = "|"
    if placement.percentile is None or placement.interval is None:
        return " " * _STRIP

    def at(rank: float) -> int:
        return min(int(rank / 100 * _STRIP), _STRIP - 1)

    low, high = placement.interval
    for index in range(at(low), at(high) + 1):
        signs[index] = "-"
    signs[at(placement.percentile)] = "o"
    return "".join(signs)


def _where(c: Comparison) -> list[str]:
    whole = [stay for stay in c.stays if stay.part is None][:3]
    lines = ["Where it stays", *_items([words.stay_words(stay, c.bars) for stay in whole])]
    wide = sorted(c.shifts, key=lambda shift: (-shift.mass, shift.bar))[:3]
    lines += ["", "Where it shifts"]
    if not wide:
        return [*lines, "  - no clear shift of register"]
    count = len(c.shifts)
    if count > len(wide):
        lines[-1] += f" (the {len(wide)} clearest of {count})"
    return lines + _items(
        [words.shift_words(shift, c.bars) for shift in sorted(wide, key=lambda s: s.bar)]
    )
