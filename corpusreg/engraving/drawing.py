"""Passages through the engraver, and the proof that what is drawn is what was read.

Runs where it can be stopped: verovio is native code. Its remarks are switched off.

The proof: the engraver is asked for the pitch and value of each note in the picture; bar by
bar and player by player these must be the notes that corpusreg read, moved by one and
the same interval (an instrument that transposes). Otherwise the picture is not given out.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from corpusreg.engraving.passage import TEXT_WIDTH, Engraved, Passage
from corpusreg.engraving.sheets import Sheet, why_not, write_sheet
from corpusreg.engraving.svg import TENTH, cleaned
from corpusreg.errors import CorpusregError
from corpusreg.notes import Score
from corpusreg.readers import read_scores, sniff

__all__ = ["engrave_here"]

LONGEST = 16  # bars that are tried; fewer are drawn where they need too many systems
_MOST_STAVES = 10  # staves of all systems of a picture together
_MOST_SYSTEMS = 3
_TALL = 6  # staves above which players that are silent in the passage are left out
_LONG = {"breve": Fraction(8), "long": Fraction(16), "maxima": Fraction(32)}
_OPTIONS = {
    "pageWidth": round(TEXT_WIDTH / TENTH),
    "pageHeight": 60000,
    "adjustPageHeight": True,
    "pageMarginTop": 10,
    "pageMarginBottom": 10,
    "pageMarginLeft": 40,
    "pageMarginRight": 0,
    "breaks": "auto",
    "condense": "none",
    "header": "none",
    "footer": "none",
    "svgViewBox": True,
    "smuflTextFont": "none",
    "xmlIdSeed": 1,
}


def engrave_here(passages: Sequence[Passage]) -> list[Engraved | str]:
    """Each passage drawn in this process, or in one line why it cannot be."""
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    read: dict[Path, tuple[str, list[Score]]] = {}
    found: list[Engraved | str] = []
    for passage in passages:
        try:
            if passage.path not in read:
                read[passage.path] = _read(passage.path)
            found.append(_engrave(passage, *read[passage.path]))
        except CorpusregError as error:
            found.append(str(error))
    return found


def _read(path: Path) -> tuple[str, list[Score]]:
    family = sniff(path)
    return family, [] if why_not(family) else read_scores(path)


def _engrave(passage: Passage, family: str, scores: list[Score]) -> Engraved | str:
    if reason := why_not(family):
        return reason
    score = next((s for s in scores if s.number == passage.number), None)
    if score is None:
        return f"{passage.path.name}: no work '{passage.number}' in it"
    first, last = max(0, passage.first), min(passage.last, len(score.bars))
    if first >= last:
        return f"{passage.path.name}: no such bars in it"
    end = min(last, first + LONGEST)
    parts = passage.parts or _worth_drawing(score, first, end)
    drawn = _draw(passage.path, family, score, (first, end), parts)
    if isinstance(drawn, str):
        return drawn
    fitting = drawn.bars_in(_systems(score, parts))
    if fitting < end - first:
        end = first + fitting
        drawn = _draw(passage.path, family, score, (first, end), parts)
        if isinstance(drawn, str):
            return drawn
    labels = score.bars.labels[first:last]
    shifts = _shifts(drawn, score, first, parts)
    if shifts is None:
        return "the engraver reads these bars otherwise than corpusreg"
    remarks = _remarks(score, labels, end - first, parts, passage.parts, shifts)
    return drawn.finished(score, first, end, remarks)


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


_Head = tuple[int, Fraction]  # pitch as the engraver plays it, value in quarters


@dataclass(frozen=True)
class _Drawn:
    """A picture of the engraver. root: its parsed SVG. bars: for each bar in the
    picture and each staff in it, its note heads. systems: bars in each."""

    root: Any
    bars: tuple[tuple[tuple[_Head, ...], ...], ...]
    systems: tuple[int, ...]

    def bars_in(self, systems: int) -> int:
        return max(1, sum(self.systems[:systems]))

    def finished(
        self, score: Score, first: int, last: int, remarks: tuple[str, ...]
    ) -> Engraved:
        labels = score.bars.labels[first:last]
        title = f"bar {labels[0]}" if len(labels) == 1 else f"bars {labels[0]} to {labels[-1]}"
        svg, glyphs = cleaned(self.root, dict(enumerate(labels)), title)
        box = [float(n) / 10 * TENTH for n in svg.split('viewBox="')[1].split('"')[0].split()]
        return Engraved(svg, glyphs, box[2], box[3], first, last, labels, remarks)


def _draw(
    path: Path, family: str, score: Score, bars: tuple[int, int], parts: tuple[int, ...]
) -> _Drawn | str:
    import verovio
    from lxml import etree

    sheet = write_sheet(path, score, family, bars, parts)
    toolkit = verovio.toolkit()
    toolkit.setOptions(_OPTIONS)
    toolkit.setInputFrom(sheet.format)
    if not toolkit.loadData(sheet.text):
        return "the engraver cannot read the file"
    if sheet.format != "xml":
        _select(toolkit, sheet)
    root = etree.fromstring(toolkit.renderToSVG(1).encode())
    if len(_groups(root, "system")) == 1:  # as wide as it needs to be
        toolkit.setOptions({"adjustPageWidth": True})
        toolkit.redoLayout()
        root = etree.fromstring(toolkit.renderToSVG(1).encode())
    measures = _groups(root, "measure")
    if len(measures) != bars[1] - bars[0] or toolkit.getPageCount() != 1:
        return "the engraver counts the bars otherwise than corpusreg"
    toolkit.renderToMIDI()  # without it no note knows its pitch
    return _Drawn(
        root,
        tuple(_staves(toolkit, measure) for measure in measures),
        tuple(len(_groups(system, "measure")) for system in _groups(root, "system")),
    )


def _groups(root: Any, kind: str) -> list[Any]:
    return [group for group in root.iter("{*}g") if _kind(group) == kind]


def _select(toolkit: Any, sheet: Sheet) -> None:
    first, last = sheet.bars
    toolkit.select({"measureRange": f"{first + 1}-{last}"})
    toolkit.redoLayout()


def _kind(element: Any) -> str:
    return str((element.get("class") or "").partition(" ")[0])


def _staves(toolkit: Any, measure: Any) -> tuple[tuple[_Head, ...], ...]:
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


def _shifts(
    drawn: _Drawn, score: Score, first: int, parts: tuple[int, ...]
) -> dict[int, int] | None:
    """Written less sounding pitch of each player, in semitones; None without agreement."""
    found: dict[int, int] = {}
    staff = 0
    for part in parts:
        height = score.parts[part].staves
        mine = score.notes[score.notes["part"] == part]
        for offset, staves in enumerate(drawn.bars):
            heads = [head for each in staves[staff : staff + height] for head in each]
            here = mine[mine["bar"] == first + offset]
            if len(heads) != len(here):
                return None
            if not heads:
                continue
            lowest = min(pitch for pitch, _ in heads)
            shift = found.setdefault(part, lowest - int(here["pitch"].min()))
            read = zip(here["pitch"].tolist(), here["duration"].tolist(), strict=True)
            if Counter(heads) != Counter(
                (p + shift, Fraction(d, score.ticks)) for p, d in read
            ):
                return None
        staff += height
    return found


def _remarks(
    score: Score,
    labels: tuple[str, ...],
    drawn: int,
    parts: tuple[int, ...],
    asked: tuple[int, ...],
    shifts: dict[int, int],
) -> tuple[str, ...]:
    """What a reader must know beside the picture."""
    remarks = []
    if drawn < len(labels):
        remarks.append(
            f"the first {drawn} of {len(labels)} bars; the passage goes on to bar {labels[-1]}"
        )
    if not asked and len(parts) < len(score.parts):
        silent = len(score.parts) - len(parts)
        remarks.append(f"{silent} silent part{'s' * (silent > 1)} left out")
    for part, shift in shifts.items():
        if shift:
            name = score.parts[part].name or f"part {part + 1}"
            count = f"{abs(shift)} semitone{'s' * (abs(shift) > 1)}"
            way = "lower" if shift > 0 else "higher"
            remarks.append(f"{name} sounds {count} {way} than written")
    return tuple(remarks)
