"""What a report says, as plain data in the order of reading.

The page in HTML and the sheets in PDF are both made from a `Content`, so that they
say the same. It holds words, numbers and the names of pictures; it never draws.

Conventions
-----------
place     played bars, half-open, with the words that name them ('bars 5 to 9').
picture   a slot: what is drawn there is looked up by its name. Slots are 'map',
          'strip-' and the name of a measure, 'octaves', 'levels', 'nearest', and
          'notation-' and the number of a passage, 'drafts', and 'study-' with a letter and
          a number for a passage from another work.
figures   rounded exactly as in `compare --json`, from which they are taken.
terms     technical words, each in the first section that uses it.
text      plain text as people read it; whoever shows it escapes it.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = [
    "Content",
    "DraftLine",
    "DraftRow",
    "Drafted",
    "Figure",
    "Finding",
    "Findings",
    "Mark",
    "Marks",
    "Measured",
    "Measures",
    "NearWork",
    "Offer",
    "Offers",
    "Origin",
    "PartLine",
    "Parts",
    "Passage",
    "Passages",
    "Picture",
    "Place",
    "Quoted",
    "Study",
    "Term",
    "Trace",
    "Works",
]


@dataclass(frozen=True)
class Term:
    """A technical word and what it means, in one line."""

    word: str
    meaning: str


@dataclass(frozen=True)
class Place:
    """Played bars first to last (half-open), and their printed numbers in words."""

    first: int
    last: int
    words: str


@dataclass(frozen=True)
class Picture:
    """The name of a slot, what stands under the picture, and what it shows for those who
    cannot see it."""

    slot: str
    caption: str
    alt: str


@dataclass(frozen=True)
class Finding:
    """One thing that stands out.

    kind: 'measure' or 'part'. name: of the measure, or of the part. lead: what, with its
    value; said: where that lies, a sentence. likewise: titles of measures that say the
    same. places: bars to listen to, the part alone where kind is 'part'. offer: one thing
    to try, '' for a part. meaning: of the measure, in one line.
    """

    kind: str
    name: str
    lead: str
    said: str
    likewise: tuple[str, ...]
    places: tuple[Place, ...]
    offer: str
    meaning: str = ""


@dataclass(frozen=True)
class Findings:
    """What stands out, most worth saying first. nothing: the sentence where no measure does.

    cautions: words about extremes, each once.
    """

    found: tuple[Finding, ...]
    nothing: str
    cautions: tuple[str, ...]
    terms: tuple[Term, ...]


@dataclass(frozen=True)
class Mark:
    """Something marked in the map.

    kind: 'stay', 'shift' or 'event'. number: as in the map, from 1: the rank of a stay,
    the place of a shift among all shifts and of an event among all events of the whole.
    """

    kind: str
    number: int
    words: str
    place: Place


@dataclass(frozen=True)
class Marks:
    """The map and what is marked in it.

    stays: those most worth saying first. changes: the clearest shifts and the strongest
    events in order of time. all_stays, all_shifts, all_events: how many there are in all.
    hollow: the longest hollow passages. ranked: every stay in the order of its rank.
    """

    picture: Picture
    stays: tuple[Mark, ...]
    changes: tuple[Mark, ...]
    all_stays: int
    all_shifts: int
    all_events: int
    hollow: tuple[Place, ...]
    ranked: tuple[Place, ...]
    remarks: tuple[str, ...]
    terms: tuple[Term, ...]


@dataclass(frozen=True)
class Figure:
    """Numbers of a measure, rounded as in `compare --json`; None where it has none."""

    value: float | None
    unit: str
    percentile: float | None
    interval: tuple[float, float] | None
    median: float | None


@dataclass(frozen=True)
class Measured:
    """One measure. value: with its unit, for reading. short: its place in a few words,
    said: in a clause; reason: why it is not placed, else ''. stands_out: told above."""

    name: str
    title: str
    meaning: str
    value: str
    short: str
    said: str
    reason: str
    stands_out: bool
    figure: Figure
    places: tuple[Place, ...]
    picture: Picture | None


@dataclass(frozen=True)
class Measures:
    """All measures in their order, and the octaves."""

    rows: tuple[Measured, ...]
    octaves: Picture
    terms: tuple[Term, ...]


@dataclass(frozen=True)
class Passage:
    """Bars to be shown in notation.

    why: what they show, one clause each, the first most worth saying. written: positions
    in the file, half-open runs. part: the only part to show, None for all of them.
    shortened: what the first clause says goes on beyond these bars.
    """

    number: int
    why: tuple[str, ...]
    place: Place
    written: tuple[tuple[int, int], ...]
    part: str | None
    shortened: bool
    picture: Picture


@dataclass(frozen=True)
class Passages:
    """At most six passages in the order they are heard. path, tune: of the score."""

    shown: tuple[Passage, ...]
    path: str
    tune: str
    terms: tuple[Term, ...]


@dataclass(frozen=True)
class Offer:
    """One thing to try. about: title of the measure; place: where to try it."""

    text: str
    about: str
    places: tuple[Place, ...]


@dataclass(frozen=True)
class Offers:
    """What to try; introduction: the sentence above, or why there is nothing."""

    introduction: str
    offers: tuple[Offer, ...]
    terms: tuple[Term, ...]


@dataclass(frozen=True)
class NearWork:
    """A work of the reference; words: what it shares, then where it differs. id: for
    `corpusreg query one_work work=ID`."""

    title: str
    composer: str
    words: str
    id: str


@dataclass(frozen=True)
class Quoted:
    """A passage from another work. work: its id. first, last: written bars, half-open; bars:
    the same in words. parts: positions, () for all. picture: None where it is only named."""

    title: str
    facts: str
    words: str
    work: str
    first: int
    last: int
    bars: str
    parts: tuple[int, ...]
    picture: Picture | None


@dataclass(frozen=True)
class Study:
    """Passages that share the piece's most unusual habit, and passages that do otherwise."""

    habit: str
    sharing: tuple[Quoted, ...]
    otherwise: tuple[Quoted, ...]


@dataclass(frozen=True)
class Works:
    """Works to study: near ones, and ones that are alike in the rest and do the contrary.

    introduction: kinds of register use, or that there are none. habit: in which side of
    register use the others do the contrary, in words; '' where there are none.
    """

    introduction: str
    sharing: tuple[NearWork, ...]
    habit: str
    contrasting: tuple[NearWork, ...]
    picture: Picture | None
    terms: tuple[Term, ...]
    study: Study | None = None


@dataclass(frozen=True)
class PartLine:
    """A part and its instrument. asks: what it asks of its player, '' where nothing is told."""

    name: str
    instrument: str
    notes: str
    range: str
    asks: str
    staves: tuple[str, ...]


@dataclass(frozen=True)
class Parts:
    """All sounding parts in score order; remarks and cautions about them."""

    lines: tuple[PartLine, ...]
    remarks: tuple[str, ...]
    picture: Picture | None
    terms: tuple[Term, ...]


@dataclass(frozen=True)
class Trace:
    """How a number can be followed up: what it answers, and the command."""

    question: str
    command: str


@dataclass(frozen=True)
class Origin:
    """How the numbers were made.

    sentences: in words. effective: the number of equally weighted works that the cohort
    is worth, one decimal.
    """

    sentences: tuple[str, ...]
    cohort: str
    works: int
    composers: int
    sources: int
    collections: int
    effective: float
    reference_id: str
    definitions: str
    traces: tuple[Trace, ...]
    terms: tuple[Term, ...]


@dataclass(frozen=True)
class DraftLine:
    """A sentence, and the bars of the later draft that it speaks of, if it has such."""

    words: str
    place: Place | None


@dataclass(frozen=True)
class DraftRow:
    """A measure that changed. said: which way, and where it lies among the works now."""

    title: str
    before: str
    now: str
    said: str


@dataclass(frozen=True)
class Drafted:
    """What changed since an earlier draft. picture: both maps, None where nothing did."""

    lead: str
    remarks: tuple[str, ...]
    bars: tuple[DraftLine, ...]
    rows: tuple[DraftRow, ...]
    changes: tuple[DraftLine, ...]
    picture: Picture | None
    terms: tuple[Term, ...]


@dataclass(frozen=True)
class Content:
    """One work in the order of reading; drafted: None where there is no earlier draft."""

    title: str
    facts: tuple[str, ...]
    compared: str
    disagreements: tuple[str, ...]
    terms: tuple[Term, ...]
    findings: Findings
    marks: Marks
    measures: Measures
    passages: Passages
    offers: Offers
    works: Works
    parts: Parts
    assumed: tuple[str, ...]
    notes: tuple[str, ...]
    origin: Origin
    drafted: Drafted | None = None
