"""What a class keeps of one piece, and what a teacher asks and says of it.

Plain data without arrays, so that it goes between processes and into a file as it is. A
teacher can strike an event, call it otherwise, give it other bars, or add one
(`Correction`); a piece is kept as it was found, and `text.classroom.corrected` makes of it
what tables, lines and sheets are made of.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from corpusreg.measures.events import KINDS, PRINTED_KINDS
from corpusreg.system.errors import UsageError

__all__ = [
    "ASKED", "DEVICES", "Assignment", "ClassPiece", "ComparedWith", "Correction",
    "EarlierDraft", "Happening", "MeasurePlace", "Run", "Sentence", "Unusual", "assignment",
    "happened",
]  # fmt: skip

Run = tuple[int, int]

# What events are counted under, in the order in which they are told; what every piece has
# (a high point, a low point, a close) groups nothing.
DEVICES: tuple[str, ...] = tuple(
    device
    for kind in KINDS
    if kind in PRINTED_KINDS and kind not in ("high_point", "low_point")
    for device in (("shift", "opening", "closing_in") if kind == "shift" else (kind,))
)


@dataclass(frozen=True)
class ComparedWith:
    """The works that a piece is compared with. name: as after --cohort; title: in words.

    misfit: why they do not fit the piece, as in `corpusreg.norms.cohorts.misfit`.
    """

    name: str
    title: str
    works: int
    composers: int
    misfit: str


@dataclass(frozen=True)
class MeasurePlace:
    """Where a piece lies by a measure. value: with its unit; words: its place among the works,
    or why it has none. percentile: 0 to 100, None without a place. tied: many works share its
    very value. reach: from where to where the percentile most probably lies (95 %)."""

    value: str
    words: str
    percentile: float | None
    tied: bool = False
    reach: tuple[float, float] = (0.0, 100.0)


@dataclass(frozen=True)
class Happening:
    """An event of a whole piece. device: what it is counted under, its kind, or for a shift
    that changes the width 'opening' or 'closing_in'. run: its played bars, half-open;
    shown: those that show it best, at most some four; bar: the played bar in which it happens.
    where: its bars in words; short: it in a few words with its bar; said: a sentence. clear:
    it may be told first. own: the teacher's, who added it or changed it."""

    device: str
    run: Run
    shown: Run
    bar: int
    where: str
    short: str
    said: str
    clear: bool = True
    own: bool = False

    @property
    def key(self) -> str:
        """By which a correction names it."""
        return f"{self.device} {self.run[0]}-{self.run[1]}"


@dataclass(frozen=True)
class Unusual:
    """What is unusual in a piece. alike: names of other measures that say the same. lead:
    what, with its value; said: where that lies among the works; sentence: both. where: the
    bars that show it in words, '' for the whole piece; shown: the first of them."""

    name: str
    alike: tuple[str, ...]
    lead: str
    said: str
    sentence: str
    where: str
    shown: Run | None


@dataclass(frozen=True)
class Sentence:
    """A sentence about a piece. about: a device, a measure, 'stay' or 'player'.
    where: its bars in words, 'the piece' for all; shown: played bars that show it, None for
    all. part: the only one to look at, '' for all. bars: of a stay, how many it lasts.
    short: it in a few words, '' where it is in no table."""

    about: str
    said: str
    where: str
    shown: Run | None = None
    part: str = ""
    bars: int = 0
    short: str = ""


@dataclass(frozen=True)
class EarlierDraft:
    """An earlier draft of a piece: its length in words, its values by measure, and what it
    does first, '' for nothing."""

    length: str
    values: Mapping[str, str]
    first: str


@dataclass(frozen=True)
class ClassPiece:
    """One work. file: relative to the folder of the class, with '/'; number: of the work in
    a file of many, else ''. kind: of its ensemble, in words; length, reach: in words. bars: on
    the page; labels: their printed numbers, and starts: when each is first heard, as a played
    bar of `heard`. happenings: the most important first. stays: the longest first. players:
    remarks on their parts. compared: with whom, in a sentence. notes: what must be known of the
    file. places: by measure. changed: since the draft before, in a sentence or two, '' without
    one. drafts: all earlier ones, the oldest first. otherwise: what is said first of a piece
    without a clear event, None in a class saved before that was kept."""

    file: str
    number: str
    title: str
    kind: str
    single_line: bool
    length: str
    reach: str
    bars: int
    labels: tuple[str, ...]
    starts: tuple[int, ...]
    heard: int
    group: ComparedWith
    happenings: tuple[Happening, ...]
    unusual: tuple[Unusual, ...]
    unusual_known: bool
    stays: tuple[Sentence, ...]
    players: tuple[Sentence, ...]
    compared: str
    notes: tuple[str, ...]
    places: Mapping[str, MeasurePlace]
    changed: str = ""
    drafts: tuple[EarlierDraft, ...] = ()
    otherwise: Sentence | None = None

    @property
    def first(self) -> Happening | Sentence | None:
        """What the piece is said to do first."""
        return next((each for each in self.happenings if each.clear), self.otherwise)

    def clearest(self) -> tuple[Happening, ...]:
        """The first event under each device."""
        found: dict[str, Happening] = {}
        for each in self.happenings:
            found.setdefault(each.device, each)
        return tuple(found.values())


@dataclass(frozen=True)
class Correction:
    """What a teacher says of an event of a piece. file, number: of the piece. event: the key
    of a happening, '' for one that is added. struck: it is not told. device: another of those
    that are known, or a name of the teacher's own; '' as it was. first, last: printed bars, ''
    as they were."""

    file: str
    number: str
    event: str = ""
    struck: bool = False
    device: str = ""
    first: str = ""
    last: str = ""


Needs = Literal["", "bar", "times", "bars"]

# By device: what more may be said of it. 'bar': before or after which it happens; 'times':
# how often at least; 'bars': for how many.
ASKED: Mapping[str, Needs] = {
    "withheld_bass": "bar",
    "withheld_top": "bar",
    "shift": "times",
    "stay": "bars",
    "cleared": "bar",
    "opening": "bar",
    "closing_in": "bar",
    "climb": "bar",
    "descent": "bar",
    "pedal_point": "bar",
    "octave_return": "bar",
    "in_octaves": "bar",
    "gap": "bar",
    "crossing": "bar",
}

_SHIFTS = ("shift", "opening", "closing_in")
MOST = 999


@dataclass(frozen=True)
class Assignment:
    """An intention for all. device: one of ASKED. bar: printed, '' for any; number: how often
    or for how many bars at least, 0 for any."""

    device: str
    bar: str = ""
    number: int = 0


def assignment(device: str, bar: str = "", number: str = "") -> Assignment:
    """An assignment as a form or a command line gives it.

    Raises UsageError for what cannot be asked.
    """
    if device not in ASKED:
        raise UsageError(f"'{device}' cannot be asked of a class; choose {', '.join(ASKED)}")
    needs = ASKED[device]
    number = number if needs in ("times", "bars") else ""
    if number and not (number.isdecimal() and 0 < int(number) <= MOST):
        raise UsageError(f"'{number}': not a number from 1 to {MOST}; choose one")
    return Assignment(device, bar.strip() if needs == "bar" else "", int(number or 0))


def happened(piece: ClassPiece, asked: Assignment) -> tuple[Happening | Sentence, ...]:
    """What happens of the kind in a piece, in the order in which it is heard.

    Where a bar is asked for, what happens nearest to it comes first.
    """
    if asked.device == "stay":
        return tuple(each for each in piece.stays if each.bars >= asked.number)
    devices = _SHIFTS if asked.device == "shift" else (asked.device,)
    found = [each for each in piece.happenings if each.device in devices]
    near = dict(zip(piece.labels, piece.starts, strict=True)).get(asked.bar)
    if near is None:
        return tuple(sorted(found, key=lambda each: each.bar))
    return tuple(sorted(found, key=lambda each: (abs(each.bar - near), each.bar)))
