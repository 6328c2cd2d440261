"""The score as readers hand it over: parts, bars, and one row per written note.

A reader fills a `Score` with what is on the page, in file order, and decides
nothing about it: ties are flagged and not merged, repeats are flagged and not
unfolded, dynamics are listed and not applied, staccato is flagged and not
shortened. `corpusreg.score.played` turns a Score into sounding notes in played order,
for every format alike.

Conventions
-----------
tick      the score's unit of time, an int; `Score.ticks` ticks are one quarter
          note, chosen so that every onset and duration is exact.
pitch     sounding (concert) pitch, MIDI number, middle C = 60.
part      a player; index into `Score.parts`. Staves and hands are sub-parts:
          a piano is one part with two staves in every format.
bar       0-based index of a written bar in file order; its printed number is
          `Bars.labels[bar]` (text: '12', '12a', '0' for an upbeat).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corpusreg.system.errors import ReadError

__all__ = [
    "NOTE_DTYPE", "Bars", "Dynamic", "Part", "Pedal", "ReadResult", "Score", "Sign", "Tempo",
    "felt_beat", "note_table",
]  # fmt: skip

# One row per written note head (chord members are rows of their own).
NOTE_DTYPE = np.dtype(
    [
        ("part", np.int16),
        ("staff", np.int16),  # 1-based within the part, 1 = top staff
        ("voice", np.int16),  # 0-based within the part, any numbering that is stable
        ("bar", np.int32),  # written bar the note starts in
        ("onset", np.int64),  # ticks from the start of the file, in file order
        ("duration", np.int64),  # ticks as written; 0 for a grace note
        ("pitch", np.int16),  # sounding
        ("velocity", np.int16),  # played velocity 1-127, or -1 where none is given
        ("grace", np.bool_),
        ("tie_in", np.bool_),  # continues the same pitch from before
        ("tie_out", np.bool_),  # is continued by the same pitch
        ("staccato", np.bool_),  # dot or wedge
        # Number of the note in its file, from 0: of MusicXML's note elements, of MIDI's
        # note-ons. By it a changed score is written back; -1 where it cannot be.
        ("source", np.int32),
    ]
)


@dataclass(frozen=True)
class Part:
    """A player. `program` is the General MIDI byte 0-127, where the file gives one."""

    name: str = ""
    abbreviation: str = ""
    staves: int = 1
    sound_id: str = ""  # MusicXML instrument-sound, such as 'strings.violin'
    program: int | None = None
    code: str = ""  # kern instrument code without the star, such as 'Ivioln'
    lyrics: int = 0  # notes of the part with a sung syllable under them


@dataclass(frozen=True)
class Dynamic:
    """A dynamic in force from `tick` in a part (staff 0 = all staves of the part).

    `kind` is 'mark' (with `mark` such as 'pp' or with `velocity`), or 'cresc' or
    'dim' (a hairpin or its words, from `tick` to `end`).
    """

    part: int
    tick: int
    kind: str
    mark: str = ""
    velocity: float | None = None
    end: int | None = None
    staff: int = 0


@dataclass(frozen=True)
class Pedal:
    """Sustain pedal down in a part from `start` to `end`, in ticks."""

    part: int
    start: int
    end: int


@dataclass(frozen=True)
class Tempo:
    """A written tempo: quarter notes per minute from `tick` on."""

    tick: int
    quarters_per_minute: float


@dataclass(frozen=True)
class Sign:
    """Something on the page by which one finds a place, or sees that a movement ends or begins.

    `kind` is 'final' (a final barline at the end of `bar`), or of what stands at the
    bar's beginning: 'page' (a new page), 'metre', 'key', 'heading' (words, in `text`),
    'rehearsal' (its letter or number, in `text`).
    """

    bar: int
    kind: str
    text: str = ""


@dataclass(frozen=True)
class Bars:
    """Written bars in file order; every field has one entry a bar.

    start, length, full, beat: shape (n,), int64, ticks. `length` is the bar as
    written, `full` what its metre says, `beat` the felt beat (`felt_beat`).
    section: bool, the bar begins a section (double bar, repeat, rehearsal mark).
    repeat_start: bool. repeat_end: int, 0 for none, otherwise how many times
    the passage is played in all (2 for a plain repeat sign).
    endings: for each bar the passes it belongs to, () for every pass.
    marks: for each bar a set of 'segno', 'coda', 'fine', 'tocoda', 'dacapo',
    'dalsegno'; segno and coda count at the bar's beginning, the others at its end.
    order: explicit played order (bar indices) where the format states one.
    """

    labels: tuple[str, ...]
    start: NDArray[np.int64]
    length: NDArray[np.int64]
    full: NDArray[np.int64]
    beat: NDArray[np.int64]
    section: NDArray[np.bool_]
    repeat_start: NDArray[np.bool_]
    repeat_end: NDArray[np.int64]
    endings: tuple[tuple[int, ...], ...]
    marks: tuple[frozenset[str], ...]
    order: tuple[int, ...] | None = None

    def __len__(self) -> int:
        return len(self.labels)

    @classmethod
    def plain(
        cls,
        labels: Sequence[str],
        length: Sequence[int] | NDArray[np.int64],
        full: Sequence[int] | NDArray[np.int64],
        beat: Sequence[int] | NDArray[np.int64],
        **marks: Any,
    ) -> Bars:
        """Bars laid end to end; fields left out are 'nothing marked'."""
        n = len(labels)
        lengths = np.asarray(length, np.int64)
        given: dict[str, Any] = {
            "section": np.zeros(n, bool),
            "repeat_start": np.zeros(n, bool),
            "repeat_end": np.zeros(n, np.int64),
            "endings": ((),) * n,
            "marks": (frozenset(),) * n,
        } | marks
        return cls(
            labels=tuple(labels),
            start=np.concatenate(([0], np.cumsum(lengths)[:-1])).astype(np.int64)[:n],
            length=lengths,
            full=np.asarray(full, np.int64),
            beat=np.asarray(beat, np.int64),
            **given,
        )


@dataclass(frozen=True)
class Score:
    """One work as written.

    ticks: ticks per quarter note. notes: shape (n,), dtype NOTE_DTYPE, any order.
    metadata: text by key; keys used everywhere: title, movement, number,
    composer, lyricist, rights, date, encoder; a format's own records keep their
    own key ('!!!COM' as 'COM', ABC 'O:' as 'abc:O').
    assumed: what was taken for granted, in plain words ('no metre written: read
    as 4/4'). lost: how often something could not be placed, by plain reason.
    left_out: counts of what is left out on purpose ('unpitched', 'cue').
    number: position of the work in a file that holds many (ABC 'X:', the number of a
    movement), else ''. first_bar: bar of the file that the first bar is, 0 but in a later
    movement. signs: what `readers.movements` parts a file by, where the format shows it.
    keys: signatures in sounding pitch where they are read: (bar, sharps or, below 0, flats),
    in order.
    """

    ticks: int
    parts: tuple[Part, ...]
    bars: Bars
    notes: NDArray[np.void]
    dynamics: tuple[Dynamic, ...] = ()
    pedals: tuple[Pedal, ...] = ()
    tempos: tuple[Tempo, ...] = ()
    metadata: Mapping[str, str] = field(default_factory=dict)
    assumed: tuple[str, ...] = ()
    lost: Mapping[str, int] = field(default_factory=dict)
    left_out: Mapping[str, int] = field(default_factory=dict)
    number: str = ""
    format: str = ""  # 'musicxml', 'kern', 'abc', 'midi', 'mei', …
    first_bar: int = 0
    signs: tuple[Sign, ...] = ()
    keys: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        if self.notes.dtype != NOTE_DTYPE:
            raise TypeError(f"notes have dtype {self.notes.dtype}, expected NOTE_DTYPE")
        if len(self.notes) and not len(self.bars):
            raise ReadError("the score has notes but no bars")


def note_table(rows: Sequence[tuple[Any, ...]]) -> NDArray[np.void]:
    """Rows in the order of NOTE_DTYPE as a structured array, shape (n,).

    Rows may leave out the last column, `source`; it is -1 then.
    """
    whole = len(NOTE_DTYPE.names or ())
    filled = [row if len(row) == whole else (*row, -1) for row in rows]
    return np.array(filled, dtype=NOTE_DTYPE)


def felt_beat(numerator: int, denominator: int, ticks: int) -> int:
    """Felt beat (tactus) of a metre in ticks.

    Dotted in compound metres (6/8, 9/8, 12/8, 6/4: the numerator is a multiple of
    3 above 3, whatever the note values); the minim in 2/2, 3/2, 4/2;
    the semibreve in 2/1, 3/1; otherwise the denominator's note, so that 3/8 has
    the three beats of the same music in 3/4. Common practice, no source.

    >>> felt_beat(4, 4, 24), felt_beat(6, 8, 24), felt_beat(2, 2, 24), felt_beat(3, 8, 24)
    (24, 36, 48, 12)
    """
    unit = 4 * ticks // denominator
    compound = numerator > 3 and numerator % 3 == 0
    return unit * 3 if compound else unit


@dataclass(frozen=True)
class ReadResult:
    """Works of one file in file order.

    failures: (number, reason) of each work that could not be read, `number` as in
    `Score.number`; the reason is one line without the file's name.
    """

    scores: tuple[Score, ...]
    failures: tuple[tuple[str, str], ...] = ()
