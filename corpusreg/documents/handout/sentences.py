"""What a sheet says about a piece: at most three sentences, two passages, one question.

All of it is chosen from the content of the piece's report, by the measures that the
teacher has chosen; parts at the edge of their range are told whatever was chosen,
because they concern a player. The sentences describe, the question is open: it asks what
its writer wants, and no answer to it is better than another.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from corpusreg.comparison.comparison import Comparison, PlacedStay
from corpusreg.comparison.players import Player
from corpusreg.documents.report.model import Content, Finding
from corpusreg.measures.events import Event
from corpusreg.measures.shifts import Shift
from corpusreg.system.plaintext import plain
from corpusreg.text.bars import bar_range, bars_list
from corpusreg.text.events import event_words, told_events
from corpusreg.text.players import reach_words, reaching, torn
from corpusreg.text.sentences import clearest_shifts, range_words, shift_words, told_stays

__all__ = ["MOST", "PASSAGES", "Said", "passages", "question", "said"]

MOST = 3
PASSAGES = 2
LONGEST = 4  # bars of a passage
# Which chosen measures make the sheet speak of stays, of shifts, and of events.
_STAYS = frozenset(("longest_dwell", "expected_dwell", "narrow_dwell"))
_SHIFTS = frozenset(("shift_rate", "movement_bar", "movement_phrase"))
_EVENTS = frozenset(("entries", "pedal_points"))
_FEW = 3  # shifts and events among which the clearest is found
_MIDDLE = 50  # percentile

Run = tuple[int, int]


@dataclass(frozen=True)
class Said:
    """A sentence, the played bars that show it (half-open), and its subject.

    about: name of a measure, or 'part', 'stay', 'shift', 'event', 'nothing'. where: these
    bars in words. show: None for the whole piece. part: the only part to look at, or
    None. high: for a measure, whether the piece lies above the middle.
    """

    text: str
    about: str
    where: str = "the piece"
    show: Run | None = None
    part: str | None = None
    high: bool = False


def said(c: Comparison, content: Content, chosen: Collection[str]) -> tuple[Said, ...]:
    """At most three sentences, most worth saying first. content: of the piece's report."""
    kept: dict[str, Said] = {}
    for each in _candidates(c, content, frozenset(chosen)):
        if len(kept) < MOST:
            kept.setdefault(each.text, each)
    return tuple(kept.values())


def passages(told: Sequence[Said], content: Content) -> tuple[Said, ...]:
    """Two sentences whose bars are to be shown, in the order they are heard.

    Those said first, unless their bars are much the same; where the sentences have not
    enough bars, the report's other passages.
    """
    others = [
        Said(each.why[0], "passage", each.place.words, _run(each.place.first, each.place.last))
        for each in content.passages.shown
    ]
    chosen: list[Said] = []
    for each in (*told, *others):
        if each.show and len(chosen) < PASSAGES and not any(_meet(each, o) for o in chosen):
            chosen.append(each)
    return tuple(sorted(chosen, key=lambda each: each.show or (0, 0)))


def question(told: Sequence[Said]) -> str:
    """One open question about the first sentence."""
    first = told[0]
    high, low = _QUESTIONS[first.about]
    return (high if first.high else low).format(where=first.where)


def _candidates(c: Comparison, content: Content, chosen: frozenset[str]) -> Iterator[Said]:
    findings = [
        _measure(each, c, content)
        for each in content.findings.found
        if each.kind == "measure" and chosen & _subjects(each, content)
    ]
    strained = [_player(player, c) for player in reaching(c)]
    first = strained[:1] if strained and torn(reaching(c)[0]) else []
    found = [*first, *findings, *strained[len(first) :]]
    yield from found[:1]
    events = told_events(c, _FEW)
    stays = told_stays(c, 1)  # none in a piece of a bar or two
    shifts = sorted(clearest_shifts(c, _FEW), key=lambda s: (-s.mass, s.bar))
    about = [
        *([_event(events[0], c)] if events and chosen & _EVENTS else []),
        *([_stay(stays[0], c)] if stays and chosen & _STAYS else []),
        *([_shift(shifts[0], c)] if shifts and chosen & _SHIFTS else []),
    ]
    yield from about
    yield from found[1:]
    if not found and not about:
        yield Said("Among the measures chosen none stands out.", "nothing")
    yield from (_stay(each, c) for each in stays)
    yield from (_shift(each, c) for each in shifts[:1])
    yield from (_event(each, c) for each in events[:1])


def _subjects(finding: Finding, content: Content) -> frozenset[str]:
    """The measure of a finding and those that say the same, by name."""
    names = {row.title: row.name for row in content.measures.rows}
    return frozenset((finding.name, *(names[title] for title in finding.likewise)))


def _measure(each: Finding, c: Comparison, content: Content) -> Said:
    row = next(row for row in content.measures.rows if row.name == each.name)
    text = each.said.removesuffix(".").removesuffix(", unusual here")
    if text.endswith(("nearly all", " in 10", " in 5")):
        text += " of the works it is compared with"
    high = (row.figure.percentile or 0) > _MIDDLE
    if not each.places:
        return Said(f"{text}.", each.name, high=high)
    runs = [(place.first, place.last) for place in each.places]
    where = bars_list(c.bars, runs)
    first, last = runs[0]
    show = _around(first, c) if last - first == 1 else _run(first, last)
    return Said(f"{text}: listen in {where}.", each.name, where, show, high=high)


def _player(player: Player, c: Comparison) -> Said:
    reach = player.lying.reach if player.lying else None
    run = (reach.first, reach.last) if reach else None
    return Said(
        f"{plain(player.name)} {reach_words(player, c.bars)}.",
        "part",
        bars_list(c.bars, [run]) if run else "the piece",
        _run(*run) if run else None,
        player.name if len(c.players.parts) > 1 else None,
    )


def _event(event: Event, c: Comparison) -> Said:
    text = f"{event_words(event, c.bars)}."
    if event.last - event.first > 1:
        where = bar_range(c.bars, event.first, event.last)
        return Said(text, "event", where, _run(event.first, event.last))
    where = bar_range(c.bars, event.first, event.first + 1)
    return Said(text, "event", where, _around(event.first, c))


def _stay(placed: PlacedStay, c: Comparison) -> Said:
    stay = placed.stay
    where = bar_range(c.bars, stay.first, stay.last)
    width = "narrow" if placed.narrow else "wide"
    notes = range_words(stay.low, stay.high)
    if (stay.first, stay.last) == (0, len(c.bars)):
        text = f"The piece keeps one register from the first bar to the last: {notes}, {width}."
    else:
        text = f"The piece stays in one register in {where}: {notes}, {width}."
    return Said(text, "stay", where, _run(stay.first, stay.last))


def _shift(shift: Shift, c: Comparison) -> Said:
    where = bar_range(c.bars, shift.bar, shift.bar + 1)
    text = f"A shift at {shift_words(shift, c.bars)}."
    return Said(text, "shift", where, _around(shift.bar, c))


def _around(bar: int, c: Comparison) -> Run:
    """A change with the bar before it and the bar after it."""
    return max(bar - 1, 0), min(bar + 2, len(c.bars))


def _run(first: int, last: int) -> Run:
    """The beginning of a passage that is too long to be shown."""
    return first, min(last, first + LONGEST)


def _meet(one: Said, other: Said) -> bool:
    """Whether two sentences show much the same bars: half of the shorter or more."""
    (a, b), (c, d) = one.show or (0, 0), other.show or (0, 0)
    return 2 * (min(b, d) - max(a, c)) >= min(b - a, d - c)


# By what the first sentence is about: where a measure is high, where it is low.
_QUESTIONS = {
    "span": (
        "Which of the outermost notes did you most want to be heard, and what leads to it?",
        "Is there a moment that another octave would suit, or does the piece want to be close?",
    ),
    "core_span": (
        "Which passage would you bring closest together, and what would the width gain?",
        "Which line could move outward for a phrase, and what would that say?",
    ),
    "octaves_in_use": (
        "Which octave could fall silent for a phrase, so that its return is heard?",
        "Which octave is still unheard, and where would it be a surprise?",
    ),
    "movement_beat": (
        "Which bar could stand still, and what would the motion around it gain?",
        "Where would one wide leap tell the most?",
    ),
    "movement_bar": (
        "Which two bars belong in one place, and which bar moves away from them?",
        "Which bar would you first answer from another octave, and why that one?",
    ),
    "movement_phrase": (
        "Which phrase could begin where the one before it ended?",
        "Which phrase would you begin in another octave, and what would be heard anew?",
    ),
    "travel": (
        "Which bar could keep to one level, and what would it make room for?",
        "In which bar would you travel furthest, and where would it arrive?",
    ),
    "shift_rate": (
        "Which of the shifts is the one that matters, and how do the others lead to it?",
        "Where would a single clear shift tell the most?",
    ),
    "longest_dwell": (
        "What keeps {where} alive while the register stays, and where could it change?",
        "Which place would you like to stay in for longer?",
    ),
    "expected_dwell": (
        "What keeps {where} alive while the register stays, and where could it change?",
        "Which place would you like to stay in for longer?",
    ),
    "narrow_dwell": (
        "Where could the outer voices open for a phrase, and what would come in?",
        "Where could everything draw together for a phrase?",
    ),
    "hollow_share": (
        "What does the empty space in {where} do for you, and in which bar would you fill it?",
        "Where could an octave stay empty between the voices, and what would be heard through?",
    ),
    "entries": (
        "Which of the entries tells the most, and what makes room for it?",
        "Which register could fall silent before a moment that matters to you?",
    ),
    "pedal_points": (
        "Which pedal point is missed the most when it ends?",
        "Where could one note hold while the rest moves on?",
    ),
    "part": (
        "",
        "What does it feel like to play {where}, and where would the player like to rest?",
    ),
    "stay": ("", "What changes inside {where} while the register stays?"),
    "shift": ("", "What prepares the shift at {where}, and what would happen an octave away?"),
    "event": ("", "What did you want a listener to notice at {where}?"),
    "nothing": ("", "Which moment do you hear as the highest point, and what leads up to it?"),
}
