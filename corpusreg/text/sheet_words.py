"""What a sheet says of a piece: three sentences, two passages, a question.

All of it is chosen from what a class keeps of the piece, by the measures that the teacher
has chosen; what concerns a player is told whatever was chosen. The sentences describe. The
question is open: it asks what the writer wants, and no answer to it is better than another.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence

from corpusreg.comparison.class_piece import ClassPiece, Happening, Told

__all__ = ["passages", "question", "told"]

MOST = 3
PASSAGES = 2
_DWELLS = ("longest_dwell", "expected_dwell")


def told(piece: ClassPiece, chosen: Collection[str]) -> tuple[Told, ...]:
    """At most three sentences, the most telling first. chosen: names of measures."""
    found: dict[str, Told] = {}
    for each in _candidates(piece, frozenset(chosen)):
        if len(found) < MOST:
            found.setdefault(each.said, each)
    return tuple(found.values())


def passages(sentences: Sequence[Told], piece: ClassPiece) -> tuple[Told, ...]:
    """Two sentences whose bars are to be shown, in the order they are heard.

    Those said first, unless their bars are much the same; where these have not enough bars,
    other events.
    """
    chosen: list[Told] = []
    for each in (*sentences, *map(_event, piece.happenings), *piece.stays):
        if each.shown and len(chosen) < PASSAGES and not any(_meet(each, o) for o in chosen):
            chosen.append(each)
    return tuple(sorted(chosen, key=lambda each: each.shown or (0, 0)))


def question(sentences: Sequence[Told], piece: ClassPiece) -> str:
    """One open question about the first sentence, '' where there is none."""
    if not sentences:
        return ""
    first = sentences[0]
    place = piece.places.get(first.about)
    if place is not None:
        more, less = _OF_MEASURES[first.about]
        return more if (place.percentile or 0) > 50 else less
    return _QUESTIONS.get(first.about, _OF_OWN).format(where=first.where)


def _candidates(piece: ClassPiece, chosen: frozenset[str]) -> Iterator[Told]:
    first = _told(piece.first)
    yield from first
    yield from piece.players[:1]
    events = [each for each in map(_event, piece.clearest()) if each not in first]
    # A stay throughout is said with how unusual it is.
    said = _DWELLS if [each.bars for each in first] == [piece.heard] else ()
    unusual = [
        each
        for each in piece.unusual
        if chosen & {each.name, *each.alike} and each.name not in said
    ]
    for each in unusual:
        listen = f" Listen to {each.where}." if each.where else ""
        where = each.where or "the piece"
        yield Told(each.name, f"{each.sentence}{listen}", where, each.shown)
    yield from events[:1]
    # That it stays unusually long in one register says as much as the stay itself.
    if not any(each.name in _DWELLS for each in unusual):
        yield from piece.stays[:1]
    yield from events[1:2]


def _told(found: Happening | Told | None) -> list[Told]:
    if found is None:
        return []
    return [found if isinstance(found, Told) else _event(found)]


def _event(each: Happening) -> Told:
    return Told(each.device, each.said, each.where, each.shown)


def _meet(one: Told, other: Told) -> bool:
    """Whether two sentences show much the same bars: half of the shorter or more."""
    (a, b), (c, d) = one.shown or (0, 0), other.shown or (0, 0)
    return 2 * (min(b, d) - max(a, c)) >= min(b - a, d - c)


_OF_OWN = "What did you want a listener to notice in {where}?"
_QUESTIONS: Mapping[str, str] = {
    "withheld_bass": "What do you want a listener to feel as the bass waits, and as it enters?",
    "withheld_top": "What do you want a listener to feel as the top waits, and as it enters?",
    "cleared": "What does the empty register make room for, and what does its return say?",
    "entry": "What makes room for the entry in {where}?",
    "climb": "What is waiting at the top of the line in {where}?",
    "descent": "Where is the line in {where} heading, and what does it leave behind?",
    "opening": "What comes into the space that opens in {where}?",
    "closing_in": "What is gained by drawing together in {where}?",
    "pedal_point": "What changes around the held note, and what is missed when it ends?",
    "shift": "What prepares the shift in {where}, and what would happen an octave away?",
    "octave_return": "What is new in the music of {where} besides its octave?",
    "voice_entry": "What lets a listener notice the new voice in {where}?",
    "isolated": "Does anything answer the single sound in {where}?",
    "in_octaves": "What would one octave alone leave open in {where}?",
    "gap": "What does the empty space in {where} let through?",
    "crossing": "Which of the two is heard as the upper voice in {where}?",
    "stay": "What changes in {where} while the register stays?",
    "player": "Where would the player like to rest, and what could sound meanwhile?",
    "high_point": "What leads up to the high point in {where}, and what follows it?",
}
# Where a measure is high, where it is low.
_OF_MEASURES: Mapping[str, tuple[str, str]] = {
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
        "What keeps the longest stay alive, and where could it change?",
        "Which place would you like to stay in for longer?",
    ),
    "expected_dwell": (
        "What keeps the longest stay alive, and where could it change?",
        "Which place would you like to stay in for longer?",
    ),
    "narrow_dwell": (
        "Where could the outer voices open for a phrase, and what would come in?",
        "Where could everything draw together for a phrase?",
    ),
    "hollow_share": (
        "What does the empty space do for you, and in which bar would you fill it?",
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
}
