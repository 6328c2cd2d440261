"""Bars of a score as notation: SVG that a page or a PDF takes in many times.

`engrave` draws one passage and `engrave_all` several, in one bounded child process,
because the engraver (verovio) is native code and the score may be a stranger's. Where
bars cannot be drawn, or where what was drawn does not hold exactly the notes that were
read, the answer is a line that says why, and never a wrong picture.

Proof: bar by bar and player by player, pitches and values of all note heads must be those that
were read, moved by one and the same interval for each player (an instrument that
transposes). Where the engraver puts players in another order, they are compared together,
unmoved. Values may differ by what rounding in a file makes of a tuplet.

Conventions
-----------
bars      written positions in file order, from 0, half-open, as `PlayedBars.written`.
svg       a whole <svg> whose <use> elements name symbols that are not inside it: the
          shapes of clefs and heads, the same for every passage. A page holds them once,
          by `glyph_sheet`; a picture of its own is made by `standalone`.
ids       there are none but those of the shapes ('glyph-E0A4'), so passages never clash.
colour    `currentColor` throughout: notation takes the colour of the text around it.
size      millimetres; a full line is TEXT_WIDTH wide, a staff 5.8 high.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from lxml import etree

from corpusreg.documents.engraving.loading import Opened
from corpusreg.documents.engraving.svg import (
    TENTH,
    TEXT_WIDTH,
    Engraved,
    NotatedPassage,
    cleaned,
    glyph_sheet,
    standalone,
)
from corpusreg.score.notes import Score
from corpusreg.system.errors import CorpusregError
from corpusreg.system.isolate import Limits, StoppedError, call
from corpusreg.system.phrases import joined
from corpusreg.text.wording import interval

__all__ = [
    "TEXT_WIDTH", "Engraved", "NotatedPassage", "engrave", "engrave_all", "engrave_here",
    "glyph_sheet", "shifts", "standalone",
]  # fmt: skip

Head = tuple[int, Fraction]  # pitch as the engraver plays it, value in quarters, 0 for grace
Bar = tuple[tuple[Head, ...], ...]  # heads of each staff, top first
_ROUNDING = Fraction(1, 16)  # of a value


def shifts(
    bars: tuple[Bar, ...], score: Score, first: int, parts: tuple[int, ...]
) -> dict[int, int] | None:
    """Written less sounding pitch of each player, in semitones; None without agreement.

    bars: the bars of the picture; the first is written bar `first` of the score. parts:
    the players in the picture, as positions in `Score.parts`.
    """
    found: dict[int, int] = {}
    staff = 0
    for part in parts:
        height = score.parts[part].staves
        pairs = [
            ([head for each in bar[staff : staff + height] for head in each], read)
            for bar, read in zip(bars, _read(score, (part,), first, len(bars)), strict=True)
        ]
        shift = next((min(a)[0] - min(b)[0] for a, b in pairs if a and b), 0)
        if not all(_same(drawn, read, shift) for drawn, read in pairs):
            break
        found[part] = shift
        staff += height
    else:
        return found
    together = zip(bars, _read(score, parts, first, len(bars)), strict=True)
    alike = all(_same([h for each in bar for h in each], read, 0) for bar, read in together)
    return {} if alike else None


def _read(score: Score, parts: tuple[int, ...], first: int, count: int) -> list[list[Head]]:
    """Note heads that were read, of some players in some bars."""
    heads: list[list[Head]] = [[] for _ in range(count)]
    rows = score.notes[(score.notes["bar"] >= first) & (score.notes["bar"] < first + count)]
    for row in rows:
        if int(row["part"]) in parts:
            value = Fraction(0) if row["grace"] else Fraction(int(row["duration"]), score.ticks)
            heads[int(row["bar"]) - first].append((int(row["pitch"]), value))
    return heads


def _same(drawn: list[Head], read: list[Head], shift: int) -> bool:
    moved = sorted((pitch + shift, value) for pitch, value in read)
    return len(drawn) == len(read) and all(
        a == b and abs(x - y) <= _ROUNDING * max(x, y)
        for (a, x), (b, y) in zip(sorted(drawn), moved, strict=True)
    )


_LONGEST = 16  # bars that are tried; fewer are drawn where they need too many systems
_MOST_STAVES = 10  # staves of all systems of a picture together
_MOST_SYSTEMS = 3
_WIDEST = 1.4  # lines; what is wider than a line is drawn smaller
_TALL = 6  # staves above which players that are silent in the passage are left out
_LONG = {"breve": Fraction(8), "long": Fraction(16), "maxima": Fraction(32)}  # in quarters


def engrave_here(passages: Sequence[NotatedPassage]) -> list[Engraved | str]:
    """Each passage drawn in this process, or in one line why it cannot be."""
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    opened: dict[Path, Opened] = {}
    found: list[Engraved | str] = []
    for passage in passages:
        try:
            if passage.path not in opened:
                opened[passage.path] = Opened(passage.path)
            found.append(_engrave(passage, opened[passage.path]))
        except CorpusregError as error:
            found.append(str(error))
    return found


def _engrave(passage: NotatedPassage, file: Opened) -> Engraved | str:
    name = file.path.name
    score = next((s for s in file.scores if s.number == passage.number), None)
    if score is None:
        return f"{name}: no work '{passage.number}' in it"
    first, last = max(0, passage.first), min(passage.last, len(score.bars))
    if first >= last or not set(passage.parts) <= set(range(len(score.parts))):
        return f"{name}: no such bars or parts in it"
    end = min(last, first + _LONGEST)
    score = file.prepared(score, (first, end))
    parts = passage.parts or _worth_drawing(score, first, end)
    drawn = _draw(file, score, (first, end), parts)
    if drawn is not None and drawn.bars_in(_systems(score, parts)) < end - first:
        end = first + drawn.bars_in(_systems(score, parts))
        drawn = _draw(file, score, (first, end), parts)
    if drawn is None:
        return f"{name}: the engraver numbers the bars differently"
    moved = shifts(drawn.bars, score, first, parts)
    if moved is None:
        return (
            f"{name}: these bars are not shown in notation: the engraver reads them differently"
        )
    labels = score.bars.labels[first:last]
    remarks = (
        *_left_out(score, labels, end - first, 0 if passage.parts else len(parts)),
        *_transposing(score, moved),
        *((file.guessed,) if file.guessed else ()),
    )
    if drawn.width > _WIDEST * TEXT_WIDTH:
        return f"{name}: bar {labels[0]} is too long for a line"
    return _finished(drawn, score.bars.labels[first:end], (first, end), remarks)


def _worth_drawing(score: Score, first: int, last: int) -> tuple[int, ...]:
    """All players, or in a tall score those who play in the passage."""
    everyone = tuple(range(len(score.parts)))
    if sum(part.staves for part in score.parts) <= _TALL:
        return everyone
    bar = score.notes["bar"]
    playing = set(score.notes["part"][(bar >= first) & (bar < last)].tolist())
    return tuple(part for part in everyone if part in playing) or everyone


def _systems(score: Score, parts: tuple[int, ...]) -> int:
    """How many systems of these players make a picture."""
    staves = sum(score.parts[part].staves for part in parts)
    return max(1, min(_MOST_SYSTEMS, _MOST_STAVES // max(1, staves)))


@dataclass(frozen=True)
class _Drawn:
    """A picture of the engraver. root: its parsed SVG. bars: the note heads in each bar
    and staff. systems: bars in each system."""

    root: Any
    bars: tuple[Bar, ...]
    systems: tuple[int, ...]

    @property
    def width(self) -> float:
        """In mm."""
        return float(self.root.get("viewBox").split()[2]) * TENTH

    def bars_in(self, systems: int) -> int:
        return sum(self.systems[:systems])


def _draw(
    file: Opened, score: Score, bars: tuple[int, int], parts: tuple[int, ...]
) -> _Drawn | None:
    """A picture of some bars; None where the engraver has another number of them."""
    toolkit = file.engraver(score, bars, parts)
    root = _picture(toolkit)
    if len(_groups(root, "system")) == 1:  # as wide as it needs to be
        toolkit.setOptions({"adjustPageWidth": True})
        toolkit.redoLayout()
        root = _picture(toolkit)
    measures = _groups(root, "measure")
    if len(measures) != bars[1] - bars[0] or toolkit.getPageCount() != 1:
        return None
    toolkit.renderToMIDI()  # without it no note knows its pitch
    return _Drawn(
        root,
        tuple(_bar(toolkit, measure) for measure in measures),
        tuple(len(_groups(system, "measure")) for system in _groups(root, "system")),
    )


def _picture(toolkit: Any) -> Any:
    parser = etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=True)
    return etree.fromstring(toolkit.renderToSVG(1).encode(), parser)


def _groups(root: Any, kind: str) -> list[Any]:
    return [group for group in root.iter("{*}g") if _kind(group) == kind]


def _kind(element: Any) -> str:
    return str((element.get("class") or "").partition(" ")[0])


def _bar(toolkit: Any, measure: Any) -> Bar:
    """The note heads in each staff of a bar, as the engraver has them."""
    return tuple(
        tuple(
            (
                toolkit.getMIDIValuesForElement(note.get("id")).get("pitch", -1),
                _quarters(toolkit, note),
            )
            for note in _groups(staff, "note")
        )
        for staff in _groups(measure, "staff")
    )


def _quarters(toolkit: Any, note: Any) -> Fraction:
    """Written value of a note in quarters, tuplets counted in; 0 for a grace note."""
    own = toolkit.getElementAttr(note.get("id"))
    value, grace, ratio = own.get("dur"), "grace" in own, Fraction(1)
    dots = own.get("dots", "0")
    for group in note.iterancestors("{*}g"):
        kind = _kind(group)
        if kind == "chord":
            chord = toolkit.getElementAttr(group.get("id"))
            value, grace = value or chord.get("dur"), grace or "grace" in chord
            dots = chord.get("dots", dots)
        elif kind == "graceGrp":
            grace = True
        elif kind == "tuplet":
            tuplet = toolkit.getElementAttr(group.get("id"))
            ratio *= Fraction(int(tuplet["numbase"]), int(tuplet["num"]))
        elif kind == "layer":
            break
    if grace or value is None:
        return Fraction(0)
    whole = _LONG[value] if value in _LONG else Fraction(4, int(value))
    return whole * (2 - Fraction(1, 2 ** int(dots))) * ratio


def _left_out(score: Score, labels: tuple[str, ...], bars: int, parts: int) -> list[str]:
    """What is not in the picture. bars, parts: how many are; parts 0 where chosen."""
    remarks = []
    if bars < len(labels):
        remarks.append(
            f"the first {bars} of {len(labels)} bars; the passage goes on to bar {labels[-1]}"
        )
    if parts and parts < len(score.parts):
        silent = len(score.parts) - parts
        remarks.append(f"{silent} silent part{'s' * (silent > 1)} left out")
    return remarks


def _transposing(score: Score, moved: dict[int, int]) -> list[str]:
    """Players whose notes sound elsewhere than they stand."""
    alike: dict[int, list[str]] = {}
    for part, shift in moved.items():
        if shift:
            alike.setdefault(shift, []).append(score.parts[part].name or f"part {part + 1}")
    return [
        f"{joined(names)} sound{'s' if len(names) == 1 else ''} {interval(abs(shift))} "
        f"{'lower' if shift > 0 else 'higher'} than written"
        for shift, names in alike.items()
    ]


def _finished(
    drawn: _Drawn, labels: tuple[str, ...], bars: tuple[int, int], remarks: tuple[str, ...]
) -> Engraved:
    title = f"bar {labels[0]}" if len(labels) == 1 else f"bars {labels[0]} to {labels[-1]}"
    svg, glyphs, (width, height) = cleaned(drawn.root, labels, f"Notation of {title}")
    return Engraved(svg, glyphs, width, height, *bars, labels, remarks)


_SECONDS = 25.0  # of computing for all passages of a call


def engrave(passage: NotatedPassage) -> Engraved | str:
    """One passage drawn, or in one line why it cannot be; see `engrave_all`."""
    return engrave_all([passage])[0]


def engrave_all(passages: list[NotatedPassage]) -> list[Engraved | str]:
    """Each passage drawn, or in one line why it cannot be, in the order given.

    Passages of one file share its reading. All are drawn in one child process; should
    that crash, each is tried once more in a child of its own, so that one bad score costs
    no other its picture. What takes too long is not tried again.
    """
    if not passages:
        return []
    limits = Limits(cpu_seconds=_SECONDS, wall_seconds=4 * _SECONDS)
    try:
        drawn: list[Engraved | str] = call(engrave_here, passages, limits, near=True)
    except StoppedError as error:
        if len(passages) > 1 and error.kind != "time":
            return [engrave(passage) for passage in passages]
        return [f"{passage.path.name}: cannot be engraved ({error})" for passage in passages]
    return drawn
