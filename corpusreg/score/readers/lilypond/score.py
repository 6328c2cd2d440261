"""One \\score as LilyPond interpreted it -> `Score`.

Conventions: a bar begins where the position in the measure is 0, where it jumps (a
pickup inside the piece), and at every drawn barline. Pieces of one bar keep its
printed number; an upbeat is bar 0. Signs are read as drawn: ':' on the left of a
barline ends a repeat, on the right begins one.

LilyPond's pitches sound, under an ottava line too; \\transposition is
added. A PianoStaff or GrandStaff is one player with two staves, unless its staves name
different players. Left out and counted: cues, heads without pitch, tablature beside
the same notes.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from math import lcm
from typing import Any

import numpy as np

from corpusreg.score.notes import (
    Bars,
    Dynamic,
    Part,
    Pedal,
    Score,
    Tempo,
    felt_beat,
    note_table,
)
from corpusreg.score.readers.lilypond.lines import ScoreReport, Step
from corpusreg.system.errors import ReadError

__all__ = ["score_of"]

_JUMPS = (
    # 'Menuetto da capo' names a place that may be in another \score: not followed.
    ("dacapo", re.compile(r"^\W*(D\. ?C\.?(?!\w)|DC\b|(?i:da capo))")),
    ("dalsegno", re.compile(r"^\W*(D\. ?S\.?(?!\w)|DS\b|(?i:dal segno))")),
    ("tocoda", re.compile(r"(?i)^\W*(to|alla|al) coda\b")),
    ("fine", re.compile(r"(?i)^\W*fine\W*$")),
    ("coda", re.compile(r"(?i)^\W*coda\W*$")),
    ("segno", re.compile(r"(?i)^\W*segno\W*$")),
)
_AT_START = ("segno", "coda")
_SECTIONS = ("||", "|.", ".|", "..")


def read_bars(heard: ScoreReport, end: Fraction, ticks: Callable[[Fraction], int]) -> Bars:
    """Bars from the first step to `end`; `ticks` turns moments into ticks from there.

    Raises ValueError where LilyPond kept no time at all.
    """
    steps = {step.moment: step for step in heard.steps}
    if not steps:
        raise ValueError("LilyPond counts no bars in it")
    starts = _starts(heard, steps, end)
    at = [steps[moment] for moment in starts]
    ends = [*starts[1:], end]
    n = len(starts)
    first_of = {moment: i for i, moment in enumerate(starts)}
    tick = [ticks(moment) for moment in [*starts, end]]
    repeat_start, section = np.zeros(n, bool), np.zeros(n, bool)
    repeat_end = np.zeros(n, np.int64)
    for i in range(n):
        signs = heard.signs.get(starts[i], set())
        repeat_start[i] = any(sign.endswith(":") for sign in signs)
        section[i] = i > 0 and any(":" in s or s in _SECTIONS for s in signs)
        if any(sign.startswith(":") for sign in heard.signs.get(ends[i], ())):
            repeat_end[i] = heard.again.get(ends[i], 1) + 1
    return Bars(
        labels=tuple(_label(step, first=i == 0) for i, step in enumerate(at)),
        start=np.array(tick[:-1], np.int64),
        length=np.array(tick[1:], np.int64) - np.array(tick[:-1], np.int64),
        full=np.array([ticks(starts[0] + step.length) for step in at], np.int64),
        beat=np.array([_beat(step, starts[0], ticks) for step in at], np.int64),
        section=section,
        repeat_start=repeat_start,
        repeat_end=repeat_end,
        endings=_endings(heard, starts, ends),
        marks=_marks(heard, starts, first_of),
    )


def _starts(heard: ScoreReport, steps: dict[Fraction, Step], end: Fraction) -> list[Fraction]:
    starts: list[Fraction] = []
    before: Step | None = None
    for moment in sorted(steps):
        step = steps[moment]
        if moment >= end:
            break
        jumped = before is None or (
            step.position != before.position + step.moment - before.moment
            and step.number == before.number
        )
        drawn = any(set(sign) & set("|:.") for sign in heard.signs.get(moment, ()))
        if step.position == 0 or jumped or drawn:
            starts.append(moment)
        before = step
    return starts


def _label(step: Step, *, first: bool) -> str:
    return "0" if first and step.position < 0 else step.number


def _beat(step: Step, origin: Fraction, ticks: Callable[[Fraction], int]) -> int:
    quarter = ticks(origin + Fraction(1, 4))
    over, _, under = step.metre.partition("/")
    if not (over.isdigit() and under.isdigit() and int(over) and int(under)):
        return quarter
    return max(1, felt_beat(int(over), int(under), quarter))


def _endings(
    heard: ScoreReport, starts: list[Fraction], ends: list[Fraction]
) -> tuple[tuple[int, ...], ...]:
    opened = sorted({(at, passes) for at, begins, passes in heard.endings if begins})
    closed = {(at, passes) for at, begins, passes in heard.endings if not begins}
    spans = []
    for i, (at, passes) in enumerate(opened):
        stops = [stop for stop, which in closed if which == passes and stop > at]
        following = opened[i + 1][0] if i + 1 < len(opened) else ends[-1]
        spans.append((at, min([*stops, following]), passes))
    found: list[tuple[int, ...]] = []
    for begin in starts:
        found.append(next((p for low, high, p in spans if low <= begin < high), ()))
    return tuple(found)


def _marks(
    heard: ScoreReport, starts: list[Fraction], first_of: dict[Fraction, int]
) -> tuple[frozenset[str], ...]:
    found: list[set[str]] = [set() for _ in starts]
    times = np.array([float(moment) for moment in starts])
    for moment, _, words in heard.words:
        names = [name for name, form in _JUMPS if form.search(words)]
        for name in names[:1]:
            bar = int(np.searchsorted(times, float(moment), side="right")) - 1
            # A mark on a barline stands at the end of the bar before it.
            ends_before = moment in first_of or (moment > starts[-1] and bar == len(starts) - 1)
            if name not in _AT_START and moment in first_of and bar > 0 and ends_before:
                bar -= 1
            found[max(0, bar)].add(name)
    return tuple(frozenset(names) for names in found)


_LOWEST, _HIGHEST = 16, 112  # what no open LilyPond score goes beyond: an octave is wrong
_MOST_TICKS = 10_000_000
_ROUNDED_TICKS = 60480  # 2^6 x 3^3 x 5 x 7, where nothing exact is small enough
_GROUPS = ("PianoStaff", "GrandStaff")
_NO_STAFF = (*_GROUPS, "ChoirStaff")
_MARK = re.compile(r"\b(?:[msr]*[pf]+[pfz]*|s?fz|n)\b")
_CAPITAL = re.compile(r"(?<=[a-z])(?=[A-Z])")  # between words, in 'rightHand'
_HANDS = re.compile(
    r"(?i)^\W*(right|left|rh|lh|r\.? ?h\.?|l\.? ?h\.?|up(per)?|low(er)?|down)\b"
)
_KEYBOARDS = re.compile(
    r"(?i)\b(piano|pianoforte|fortepiano|harpsichord|cembalo|clavecin|clavier|keyboard|organ"
    r"|harmonium|harp|celesta|virginals?)\b"
)
_KEYS = (
    ("title", ("title",)),
    ("movement", ("piece",)),
    ("number", ("opus",)),
    ("composer", ("composer",)),
    ("lyricist", ("poet",)),
    ("rights", ("copyright", "license")),
    ("date", ("date",)),
    ("encoder", ("maintainer",)),
)


@dataclass(frozen=True)
class _Place:
    """Where the notes of a staff go: part, and staff within it from 1."""

    part: int
    staff: int


def score_of(heard: ScoreReport, number: str, bar_checks: int) -> Score:
    """A \\score as written. Raises ReadError, without the file's name, for wrong pitches."""
    left_out: Counter[str] = Counter()
    if heard.unpitched:
        left_out["unpitched"] = heard.unpitched
    staff_of = {context: _staff(heard, context) for context in heard.contexts}
    kept = _kept(heard, staff_of, left_out)
    places, parts, assumed = _players(heard, {staff_of[heard.heads[i].context] for i in kept})
    moments = [step.moment for step in heard.steps] + [h.moment for h in heard.heads]
    origin = min(moments, default=Fraction(0))
    end = max([*moments, *(heard.heads[i].moment + _length(heard, i) for i in kept)], default=0)
    clock = _Clock(heard, origin)
    try:
        bars = read_bars(heard, Fraction(end), clock.tick)
    except ValueError as error:
        raise ReadError(str(error)) from error
    if bar_checks:
        assumed.append(
            f"{bar_checks} bars are not as long as the source says: kept as they are"
        )
    rows = _rows(heard, kept, places, staff_of, clock, bars.start)
    return Score(
        ticks=clock.ticks,
        parts=_with_words(heard, parts, places, staff_of),
        bars=bars,
        notes=note_table(rows),
        dynamics=_dynamics(heard, places, staff_of, clock, clock.tick(Fraction(end))),
        pedals=_pedals(heard, places, staff_of, clock, clock.tick(Fraction(end))),
        tempos=tuple(
            Tempo(clock.tick(at), float(speed)) for at, speed in sorted(heard.tempos.items())
        ),
        metadata=_metadata(heard.header),
        assumed=tuple(assumed),
        lost={"a time rounded, too fine to be exact": clock.rounded} if clock.rounded else {},
        left_out=dict(left_out),
        number=number,
        format="lilypond",
    )


class _Clock:
    """Moments as ticks from the first moment of the score."""

    def __init__(self, heard: ScoreReport, origin: Fraction) -> None:
        self._origin = origin
        self.rounded = 0
        times = [step.moment for step in heard.steps]
        times += [time for head in heard.heads for time in (head.moment, head.length)]
        times += [step.length for step in heard.steps]
        self.ticks = 1
        for under in {(4 * time).denominator for time in times} | {(4 * origin).denominator}:
            self.ticks = lcm(self.ticks, under)
        for under in {int(s.metre.partition("/")[2] or 4) for s in heard.steps}:
            self.ticks = lcm(self.ticks, Fraction(4, under or 4).denominator)
        if self.ticks > _MOST_TICKS:
            self.ticks = _ROUNDED_TICKS

    def tick(self, moment: Fraction) -> int:
        """A moment in ticks."""
        return self.span(moment - self._origin)

    def span(self, length: Fraction) -> int:
        """A length in ticks."""
        exact = length * 4 * self.ticks
        if exact.denominator != 1:
            self.rounded += 1
        return round(exact)


def _staff(heard: ScoreReport, context: int) -> int:
    """The staff a context lies in; the context itself where there is none."""
    for outer in heard.above(context):
        kind = heard.contexts[outer].kind
        if kind.endswith("Staff") and kind not in _NO_STAFF:
            return outer
    return context


def _length(heard: ScoreReport, i: int) -> Fraction:
    head = heard.heads[i]
    return Fraction(0) if head.grace else head.length


def _kept(heard: ScoreReport, staff_of: dict[int, int], left_out: Counter[str]) -> list[int]:
    """Numbers of the heads that are notes of the piece; checks their pitches."""
    kinds = {
        i: heard.contexts[staff_of[head.context]].kind for i, head in enumerate(heard.heads)
    }
    plain = any(kind not in ("TabStaff", "RhythmicStaff") for kind in kinds.values())
    kept = []
    for i, head in enumerate(heard.heads):
        voice = heard.contexts[head.context].kind
        pitch = round(60 + head.semitones)
        if voice in ("CueVoice", "NullVoice"):
            left_out["cue" if voice == "CueVoice" else "hidden"] += 1
        elif kinds[i] == "RhythmicStaff":
            left_out["unpitched"] += 1
        elif kinds[i] == "TabStaff" and plain:
            left_out["tablature of notes that are written too"] += 1
        elif not _LOWEST <= pitch <= _HIGHEST:
            raise ReadError(
                f"a note of pitch {pitch} (middle C is 60), beyond all that is played: an "
                "octave or a version of LilyPond is wrong in the source; correct it there"
            )
        else:
            kept.append(i)
    return kept


def _players(
    heard: ScoreReport, sounding: set[int]
) -> tuple[dict[int, _Place], list[Part], list[str]]:
    """Places of the staves, in score order; the parts; what was taken for granted."""
    groups: dict[int, list[int]] = {}
    for staff in sorted(sounding):
        above = (c for c in heard.above(staff) if heard.contexts[c].kind in _GROUPS)
        groups.setdefault(next(above, staff), []).append(staff)
    assumed: list[str] = []
    members = [
        group
        for head, staves in groups.items()
        for group in ([staves] if _one_player(heard, head, staves) else [[s] for s in staves])
    ]
    said = _field(heard.header, "instrument")
    two = len(members) == 2 and len(sounding) == 2
    unnamed = all(not heard.contexts[staff].name for staff in sounding)
    if two and unnamed and _KEYBOARDS.search(said) and not heard.syllables:
        members = [sorted(sounding)]
        assumed.append(f"two staves read as the two hands of one player: {said}")
    places: dict[int, _Place] = {}
    parts: list[Part] = []
    for staves in members:
        for k, staff in enumerate(staves, 1):
            places[staff] = _Place(len(parts), k)
        parts.append(_part(heard, staves, said, alone=len(members) == 1))
    return places, parts, assumed


def _one_player(heard: ScoreReport, head: int, staves: list[int]) -> bool:
    """Whether grouped staves are one player's: unless they have players' names of their own."""
    if head in staves or heard.contexts[head].name:
        return True
    names = {heard.contexts[staff].name for staff in staves}
    own = {name for name in names if name and not _HANDS.match(name)}
    return len(own) < 2


def _part(heard: ScoreReport, staves: list[int], said: str, *, alone: bool) -> Part:
    """said: instruments in the header, which name a part that is alone, or has two staves."""
    contexts = [heard.contexts[c] for staff in staves for c in heard.above(staff)]
    names = [c.name for c in contexts if c.name and not _HANDS.match(c.name)]
    header = [said] if alone else _KEYBOARDS.findall(said) if len(staves) == 2 else []
    given = [_CAPITAL.sub(" ", heard.contexts[staff].given) for staff in staves]
    # A name that the source gives a staff for its own use, where it is a word.
    words = [g for g in given if re.match(r"[A-Za-z]{4}", g) and not g.startswith("unique")]
    words = [g for g in words if not _HANDS.match(g)]
    programs = [c.program for c in contexts if c.program is not None]
    # Where the number or the title of a piece is printed before its first staff, the header
    # still says what plays it.
    shorts = [*(header if names else []), *(c.short for c in contexts)]
    return Part(
        name=next((name for name in (*names, *header, *words) if name), ""),
        abbreviation=next((short for short in shorts if short), ""),
        staves=len(staves),
        program=programs[0] if programs else None,
    )


def _rows(
    heard: ScoreReport,
    kept: list[int],
    places: dict[int, _Place],
    staff_of: dict[int, int],
    clock: _Clock,
    starts: Any,
) -> list[tuple[Any, ...]]:
    tied_in = {right for _, right in heard.ties}
    tied_out = {left for left, _ in heard.ties}
    voices: dict[tuple[int, int], int] = {}
    counts: Counter[int] = Counter()
    rows = []
    for i in kept:
        head = heard.heads[i]
        place = places[staff_of[head.context]]
        key = (place.part, head.context)
        if key not in voices:
            voices[key] = counts[place.part]
            counts[place.part] += 1
        onset = clock.tick(head.moment)
        bar = max(0, int(np.searchsorted(starts, onset, side="right")) - 1)
        dotted = (head.moment, head.context) in heard.dots and not head.grace
        rows.append(
            (
                place.part, place.staff, voices[key], bar, onset,
                clock.span(_length(heard, i)), round(60 + head.semitones), -1, head.grace,
                i in tied_in, i in tied_out, dotted,
            )
        )  # fmt: skip
    return rows


def _where(
    heard: ScoreReport, context: int, places: dict[int, _Place], staff_of: dict[int, int]
) -> _Place | None:
    """Part and staff (0 for all of its staves) of a sign in a context."""
    if staff_of[context] in places:
        return places[staff_of[context]]
    outer = set(heard.above(context)) - {0, 1}
    for staff, place in places.items():
        if any(c in outer and heard.contexts[c].kind in _GROUPS for c in heard.above(staff)):
            return _Place(place.part, 0)
    return None


def _dynamics(
    heard: ScoreReport,
    places: dict[int, _Place],
    staff_of: dict[int, int],
    clock: _Clock,
    end: int,
) -> tuple[Dynamic, ...]:
    signs: list[tuple[int, int, int, str, str, int | None]] = []
    for moment, context, text in dict.fromkeys(heard.dynamics):
        place, mark = _where(heard, context, places, staff_of), _MARK.search(text)
        if place and mark:
            signs.append(
                (place.part, clock.tick(moment), place.staff, "mark", mark.group(), None)
            )
    for number, (moment, context, kind) in heard.hairpins.items():
        place, stop = _where(heard, context, places, staff_of), heard.hairpin_ends.get(number)
        if place:
            last = None if stop is None else clock.tick(stop)
            signs.append((place.part, clock.tick(moment), place.staff, kind, "", last))
    found = []
    signs.sort(key=lambda sign: sign[:2])
    for i, (part, tick, staff, kind, mark_, last) in enumerate(signs):
        if kind != "mark" and last is None:
            after = (s[1] for s in signs[i + 1 :] if s[0] == part and s[1] > tick)
            last = next(after, end)
        found.append(Dynamic(part, tick, kind, mark_, None, last, staff))
    return tuple(found)


def _pedals(
    heard: ScoreReport,
    places: dict[int, _Place],
    staff_of: dict[int, int],
    clock: _Clock,
    end: int,
) -> tuple[Pedal, ...]:
    down: dict[int, int] = {}
    found = []
    # At one moment the pedal is lifted first, then pressed again.
    for moment, context, pressed in sorted(heard.pedals, key=lambda p: (p[0], p[2])):
        place = _where(heard, context, places, staff_of)
        if place is None:
            continue
        tick = clock.tick(moment)
        if place.part in down and tick > down[place.part]:
            found.append(Pedal(place.part, down.pop(place.part), tick))
        if pressed:
            down[place.part] = tick
    found += [Pedal(part, tick, end) for part, tick in down.items() if end > tick]
    return tuple(found)


def _with_words(
    heard: ScoreReport, parts: list[Part], places: dict[int, _Place], staff_of: dict[int, int]
) -> tuple[Part, ...]:
    """Parts with the number of their sung syllables."""
    sung: Counter[int] = Counter()
    for context, count in heard.syllables.items():
        place = places.get(staff_of[context]) if context in staff_of else None
        if place is not None:
            sung[place.part] += count
    loose = heard.syllables.get(-1, 0)
    alone = [i for i, part in enumerate(parts) if part.staves == 1]
    if loose and not sung:  # words beside the staves: of those that are no keyboard's
        sung.update({i: loose // len(alone) or 1 for i in alone})
    return tuple(replace(part, lyrics=sung[i]) for i, part in enumerate(parts))


def _field(header: dict[str, str], name: str) -> str:
    """A field of the header, also where a library's own prefix stands before its name."""
    if name in header:
        return header[name]
    return next((text for key, text in header.items() if key.endswith(name)), "")


def _metadata(header: dict[str, str]) -> dict[str, str]:
    found = {f"ly:{name}": text for name, text in header.items() if name != "tagline"}
    for key, fields in _KEYS:
        text = next((header[name] for name in fields if name in header), "")
        if text:
            found[key] = text
    return found
