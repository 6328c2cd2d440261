"""A finding as a sentence: one place for every kind of event, and for stays.

The sentence about an event of a kind is in the function that carries its name in `EVENTS`.
Each says the musical fact first, and nothing that its notes do not prove: what a sentence
claims about notes is worked out again from them by `tests/test_claims.py`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from corpusreg.comparison.findings import WITHHELD, Finding, PieceFacts, bare_event
from corpusreg.measures.events import Event
from corpusreg.measures.shifts import Shift
from corpusreg.score.pitch import Spelling
from corpusreg.score.played import PlayedBars
from corpusreg.system.phrases import capital, joined
from corpusreg.text.measures import measure_sentence, measure_short
from corpusreg.text.players import beside_words, edge_words
from corpusreg.text.wording import (
    about_bars,
    bar_words,
    bars_joined,
    interval,
    note,
    notes,
    number,
    place_words,
    places_joined,
    player,
    players,
    register,
)

__all__ = [
    "EVENTS", "MOST", "NAMES", "event_lines", "event_words", "move_words", "section_lines",
    "sentence", "short", "throughout",
]  # fmt: skip

# What each kind is called, in headings, tables and the glossary.
NAMES: Mapping[str, str] = {
    "withheld_bass": "bass withheld",
    "withheld_top": "top withheld",
    "cleared": "register cleared and filled again",
    "climb": "climb",
    "descent": "descent",
    "wedge": "wedge",
    "pedal_point": "pedal point",
    "shift": "shift",
    "octave_return": "music returns in another octave",
    "voice_entry": "voice enters",
    "high_point": "high point",
    "low_point": "low point",
    "isolated": "isolated note",
    "in_octaves": "in octaves",
    "dialogue": "dialogue of registers",
    "gap": "gap",
    "crossing": "voice crossing",
    "closing": "closing register",
    "entry": "enters after silence",
}


def sentence(found: Finding, piece: PieceFacts) -> str:
    """A finding as one sentence, with its full stop."""
    if found.kind == "measure":
        return measure_sentence(found, piece)
    if found.kind == "stay":
        return f"{stay(found, piece)}."
    if found.kind == "section":
        return f"{section(found, piece)}."
    if found.kind == "player":
        return f"{capital(edge_words(found, piece))}{beside_words(found, piece)}."
    words = EVENTS[found.name](found, _event(found), piece)
    whose = f"{capital(player(piece, found.part))}: " if found.part else ""
    return f"{whose}{words if whose and words[:4] in _KEEP else capital(words)}."


_KEEP = ("the ", "its ")


MOST = 6  # events of one kind that are listed
_COUNTED = {  # where the name of a kind is not what one or several of them are called
    "withheld_bass": ("withheld bass", "withheld basses"),
    "withheld_top": ("withheld top", "withheld tops"),
    "cleared": ("register cleared and filled again", "registers cleared and filled again"),
    "voice_entry": ("entry of a voice", "entries of voices"),
    "octave_return": ("return in another octave", "returns in another octave"),
    "in_octaves": ("passage in octaves", "passages in octaves"),
    "dialogue": ("dialogue of registers", "dialogues of registers"),
    "entry": ("entry after silence", "entries after silence"),
}  # fmt: skip


def event_lines(
    found: Sequence[Finding], piece: PieceFacts
) -> list[tuple[str, Finding | None]]:
    """Events as a list to be followed with the score, in the order in which they are heard,
    each line with the first event that it tells.

    found: the most telling first. The same fact in several places is one line. Of one kind the
    clearest are listed, the others counted in a last line, which tells no single event.
    """
    facts: dict[object, list[Finding]] = {}
    arrivals = {(_event(each).bar, each.players) for each in found if each.name in WITHHELD}
    for at, each in enumerate(found):
        fact: object = at
        if each.name == "voice_entry" and (_event(each).bar, each.players) in arrivals:
            continue  # its player is told to bring the bass or the top
        if each.name == "pedal_point":
            fact = each.name, each.notes, _event(each).place
        elif each.name == "voice_entry" and each.players and not _event(each).theme:
            fact = each.name, each.players
        elif each.name == "crossing":
            fact = each.name, _event(each).by, each.players
        elif each.name == "in_octaves":
            event = _event(each)
            bass = event.by != "alone" and event.place == "bass"
            fact = each.name, event.by, bass, event.interval or 12
        elif each.name == "gap":
            fact = each.name, _event(each).low, _event(each).high
        facts.setdefault(fact, []).append(each)
    lines: list[tuple[str, Finding | None]] = []
    told, left = Counter[str](), Counter[str]()
    for group in facts.values():
        name = group[0].name
        told[name] += 1
        if told[name] > MOST:
            left[name] += len(group)
        else:
            group.sort(key=lambda each: _event(each).bar)
            said = sentence(group[0], piece) if len(group) == 1 else _often(group, piece)
            lines.append((said, group[0]))
    lines.sort(key=lambda line: _event(line[1]).bar if line[1] else 0)
    if left:
        many = [f"{number(n)} {_many(name, n)}" for name, n in left.items()]
        lines.append((f"Less clear, and not listed: {joined(many)}.", None))
    return lines


def _many(name: str, count: int) -> str:
    one, several = _COUNTED.get(name, (NAMES[name], NAMES[name] + "s"))
    return one if count == 1 else several


def _often(group: Sequence[Finding], piece: PieceFacts) -> str:
    """One fact in several places, which come in order of time."""
    if group[0].name == "voice_entry":
        rests = sorted({int((each.size or 0) + 0.1) for each in group})
        long = about_bars(rests[-1])
        if len(rests) > 1:
            long = f"{number(rests[0])} to {long}"
        who = capital(players(piece, group[0].players))
        verb = "enter" if len(group[0].players) > 1 else "enters"
        return f"{who} {verb} after {long} of rest in {bars_joined([_bar(g) for g in group])}."
    bars = places_joined([each.place for each in group if each.place])
    if group[0].name == "crossing":
        return f"{capital(_crossing(group[0], _event(group[0]), piece, bars))}."
    if group[0].name in _CLAUSES:
        clause = _CLAUSES[group[0].name](group[0], _event(group[0]), piece)
        return f"{capital(bars)}{clause}."
    one = (
        group[0]
        if len({each.players for each in group}) == 1
        else replace(group[0], players=())
    )
    held, _ = _held(one, _event(one), piece)
    often = "twice" if len(group) == 2 else f"{number(len(group))} times"
    if all(each.place and each.place.end.time == 1 for each in group):
        where = f", a pedal point: {bars}"
    else:
        where = (
            f", for up to {about_bars(max(each.size or 0 for each in group))}, a pedal point"
        )
    return capital(f"{held} {often}{where}.")


def short(found: Finding, piece: PieceFacts) -> str:
    """A finding in a few words and its bar, for a cell of a table."""
    if found.kind == "measure":
        return measure_short(found)
    if found.kind == "stay":
        return _short_stay(found, piece)
    if found.kind == "section":
        return section(found, piece)
    if found.kind == "player":
        return edge_words(found, piece)
    assert found.bar is not None
    return f"{_what(found, piece)}, {bar_words(found.bar)}"


def throughout(found: Finding, piece: PieceFacts) -> bool:
    """Whether a stay is the whole piece."""
    return found.place is not None and found.place.bars == piece.played_bars


_REGISTER = 24  # semitones, beyond which a stay is in more than what is called a register


def stay(found: Finding, piece: PieceFacts) -> str:
    """Where it stays, and between which notes."""
    assert found.low is not None and found.high is not None
    low, high = (note(pitch, piece.spelling) for pitch in (found.low, found.high))
    mostly = f"mostly between {low} and {high}"
    if throughout(found, piece):
        return f"It {_keeps(found)} throughout, {mostly}"
    where = capital(_place(found))
    verb = "stays" if found.place is not None and found.place.bars == 1 else "stay"
    return f"{where} {'it stays' if where.startswith('From ') else verb} {mostly}"


def _keeps(found: Finding) -> str:
    wide = (found.high or 0) - (found.low or 0) > _REGISTER
    return "keeps to the same range" if wide else "stays in one register"


def _short_stay(found: Finding, piece: PieceFacts) -> str:
    if throughout(found, piece):
        return f"{_keeps(found)} throughout, {_reg(found, piece)}"
    return f"stays in {_reg(found, piece)}, {_place(found)}"


def section(found: Finding, piece: PieceFacts) -> str:
    """Where the texture lies in a section: its outer notes and its middle."""
    again = " again" if found.order > 1 else ""
    (middle,) = found.notes
    where = f"{found.name}{again}, {_place(found)}: {_reg(found, piece)}"
    return f"{where}, the middle at {note(middle, piece.spelling)}"


def section_lines(found: Sequence[Finding], piece: PieceFacts) -> list[str]:
    """A sentence for each section, with how far it lies from where its music lay before."""
    lines = []
    first: dict[str, int] = {}
    for each in found:
        (middle,) = each.notes
        before = first.setdefault(each.name, middle)
        far = ""
        if abs(middle - before) >= 3:
            way = "higher" if middle > before else "lower"
            far = f", {interval(abs(middle - before))} {way} than the first time"
        elif each.order > 1:
            far = ", where it lay before"
        lines.append(f"{section(each, piece)}{far}.")
    return lines


def _reg(found: Finding, piece: PieceFacts) -> str:
    assert found.low is not None and found.high is not None
    return register(found.low, found.high, piece.spelling)


def _event(found: Finding) -> Event:
    assert found.event is not None
    return found.event


def _bar(found: Finding) -> str:
    assert found.bar is not None
    return bar_words(found.bar)


def _place(found: Finding) -> str:
    assert found.place is not None
    return place_words(found.place)


def _in(found: Finding) -> str:
    return _within(_place(found))


def _within(bars: str) -> str:
    """'in bars 5–9', 'from bar 40 through the repeats to bar 37'."""
    return bars if bars.startswith("from ") else f"in {bars}"


def _what(found: Finding, piece: PieceFacts) -> str:
    name = NAMES[found.name]
    if found.name in ("withheld_bass", "withheld_top"):
        return f"{name} for {about_bars(found.size or 0)}"
    if found.name in ("high_point", "low_point", "pedal_point") and found.notes:
        return f"{name} {note(found.notes[0], piece.spelling)}"
    if found.name in ("climb", "descent"):
        return f"{name} of {interval(_event(found).distance)}"
    if found.name == "voice_entry" and len(found.players) == 1 and len(piece.parts) > 1:
        return f"{player(piece, found.players[0])} enters"
    return name


def _withheld(found: Finding, event: Event, piece: PieceFacts, *, bass: bool) -> str:
    """Bass or top withheld, and the note that brings it."""
    assert event.edge is not None
    side, end = ("below", "bass") if bass else ("above", "top")
    assert found.low is not None and found.high is not None and found.size is not None
    hardly = "nothing" if found.clean else "almost nothing"
    wait = about_bars(found.size)
    beyond = f"{side} {note(event.edge, piece.spelling)}"
    comes = note(found.low if bass else found.high, piece.spelling)
    # Of several notes that come the outermost is named, which need not be the first.
    several = len(event.pitches) > 1
    way = ("down to " if bass else "up to ") if several else ""
    again = _again(found, ", as the music of {} returns")
    alone = len(found.players) == 1 and len(piece.parts) > 1
    first = event.since is None and found.clean
    if alone and found.rest and found.rest >= 2 and event.by == "enters":
        who = player(piece, found.players[0])
        if first and several:
            return (
                f"{who} is silent for {about_bars(found.rest)}, then brings the first notes "
                f"{beyond} in {_bar(found)}, {way}{comes}{again}"
            )
        if first:
            return (
                f"{who} is silent for {about_bars(found.rest)}; its {comes} in {_bar(found)} "
                f"is the first note {beyond}{again}"
            )
        if found.rest > found.size + 1:  # others had the bass while it rested
            return (
                f"{hardly} sounds {beyond} for {wait}; then {who} brings the {end} back in "
                f"{_bar(found)}, {way or 'with '}{comes}{again}"
            )
        return (
            f"{who} rests for {about_bars(found.rest)}{_counted(found)} and brings the {end} "
            f"back in {_bar(found)}, {way or 'with '}{comes}{again}"
        )
    return (
        f"the {end} is withheld: {hardly} {beyond} for {wait}, then "
        f"{way}{comes} in {_bar(found)}{again}"
    )


def _counted(found: Finding) -> str:
    """That a rest is longer than on the page."""
    if found.since is None or found.bar is None or found.rest is None:
        return ""
    return ", repeats counted," if found.rest > found.bar.index - found.since.index > 0 else ""


def _again(found: Finding, words: str) -> str:
    return words.format(bar_words(found.again)) if found.again else ""


def withheld_bass(found: Finding, event: Event, piece: PieceFacts) -> str:
    """The bass is withheld, then comes."""
    return _withheld(found, event, piece, bass=True)


def withheld_top(found: Finding, event: Event, piece: PieceFacts) -> str:
    """The top is withheld, then comes."""
    return _withheld(found, event, piece, bass=False)


def cleared(found: Finding, event: Event, piece: PieceFacts) -> str:
    """A place was full, emptied, and is filled again."""
    if event.since is None:
        return (
            f"the middle stays empty for {about_bars(event.silence)}; {_bar(found)} fills it "
            f"with {notes(found.notes, piece.spelling)}"
        )
    since = f" in {bar_words(found.since)}" if found.since else ""
    return (
        f"the middle clears{since} for {about_bars(event.silence)}; {_bar(found)} fills it "
        f"again with {notes(found.notes, piece.spelling)}"
    )


def entry(found: Finding, event: Event, piece: PieceFacts) -> str:
    """A place fills that was long silent."""
    when = "for the first time" if event.since is None else f"after {about_bars(event.silence)}"
    space = register(event.low, event.high, piece.spelling)
    return f"the space at {space} fills in {_bar(found)} {when}"


def _line(event: Event, piece: PieceFacts) -> str:
    if piece.ensemble == "solo melody":
        return "the melody"
    return "the lowest line" if event.by == "bottom" else "the top line"


def climb(found: Finding, event: Event, piece: PieceFacts) -> str:
    """An outer line climbs."""
    return (
        f"{_line(event, piece)} climbs {interval(event.distance)} {_in(found)}, from "
        f"{note(event.low, piece.spelling)} to {note(event.high, piece.spelling)}"
    )


def descent(found: Finding, event: Event, piece: PieceFacts) -> str:
    """An outer line descends."""
    return (
        f"{_line(event, piece)} descends {interval(event.distance)} {_in(found)}, from "
        f"{note(event.high, piece.spelling)} to {note(event.low, piece.spelling)}"
    )


def wedge(found: Finding, event: Event, piece: PieceFacts) -> str:
    """Both outer lines part or meet."""
    way = "open out" if event.direction == "opening" else "close in"
    return f"the outer lines {way} by {interval(event.distance)} {_in(found)}"


def pedal_point(found: Finding, event: Event, piece: PieceFacts) -> str:
    """A note stays while the music moves, and ends."""
    held, who = _held(found, event, piece)
    if event.lasts > piece.played_bars - 0.5:
        return f"{held} throughout, a pedal point"
    return f"{held} for {about_bars(event.lasts)}{who}, a pedal point{_ending(found, event)}"


def _held(found: Finding, event: Event, piece: PieceFacts) -> tuple[str, str]:
    """'A2 is held or repeated in the bass', and ', inside the texture' where it is there."""
    where = {"bass": "in the bass", "top": "at the top", "inner": "in the middle"}[
        event.place or "inner"
    ]
    who = ""
    if len(found.players) == 1 and len(piece.parts) > 1:
        where = f"in {player(piece, found.players[0])}"
        if event.place == "inner":
            who = ", inside the texture"
    tone = note(event.low if event.place != "top" else event.high, piece.spelling)
    held = f"{tone} is"
    if len(found.notes) > 1:
        held, who = f"{notes(found.notes, piece.spelling)} are", ""
        if found.notes[-1] - found.notes[0] > 12 and len(found.players) != 1:
            where = "together"
    return f"{held} held or repeated {where}", who


def _ending(found: Finding, event: Event) -> str:
    if event.ending == "with the piece":
        return "; it lasts to the end"
    return f"; it {event.ending} in {_bar(found)}" if event.ending else ""


def shift(found: Finding, event: Event, piece: PieceFacts) -> str:
    """The texture, or one edge of it, moves to another place."""
    far = interval(event.distance)
    if event.direction == "opening":
        return f"{_bar(found)} opens out to both sides, by up to {far}"
    if event.direction == "closing":
        return f"{_bar(found)} closes in from both sides, by up to {far}"
    up = event.direction == "up"
    if event.by == "bottom":
        return f"{_bar(found)} {'lifts' if up else 'drops'} the bass by {far}"
    if event.by == "top":
        return f"{_bar(found)} {'lifts' if up else 'drops'} the top by {far}"
    return f"the texture {'rises' if up else 'falls'} by up to {far} in {_bar(found)}"


def octave_return(found: Finding, event: Event, piece: PieceFacts) -> str:
    """Music comes back in another octave."""
    assert event.interval is not None and found.again is not None
    way = "higher" if event.interval > 0 else "lower"
    return (
        f"{_place(found)} repeat{'s' if found.place and found.place.bars == 1 else ''} a line "
        f"of {bar_words(found.again)} {interval(abs(event.interval))} {way}"
    )


# Intervals at which an entry answers a line; others come of a first note that is changed.
_ANSWERS = (5, 7, 12, 24)


def voice_entry(found: Finding, event: Event, piece: PieceFacts) -> str:
    """A voice enters after its own silence."""
    named = bool(found.players) and len(piece.parts) > 1
    who = players(piece, found.players) if named else "a voice"
    if named and len(found.players) > 1:  # each has a note and a rest of its own
        return f"{who} enter in {_bar(found)}"
    after = (
        f" after {about_bars(found.size)} of rest" if found.size and found.size >= 0.9 else ""
    )
    how = ""
    if found.again is not None and event.theme:
        how = f", with the line of {bar_words(found.again)}"
        if event.interval and abs(event.interval) in _ANSWERS:
            way = "higher" if event.interval > 0 else "lower"
            how += f" {interval(abs(event.interval))} {way}"
    return f"{who} enters in {_bar(found)} with {note(event.low, piece.spelling)}{after}{how}"


_TOLD_AGAIN = 3  # further bars with the same highest note that are named


def _point(found: Finding, event: Event, piece: PieceFacts, name: str) -> str:
    tone = note(event.high if name == "high point" else event.low, piece.spelling)
    words = f"{name} {tone} in {_bar(found)}"
    own = found.bar.index if found.bar else None
    page = {each.index: each for each in found.also if each.index != own}
    later = [bar_words(replace(each, time=1)) for each in page.values()]
    if len(later) > _TOLD_AGAIN:
        words += f", the first of {number(len(later) + 1)} bars with it"
    elif later:
        words = f"{name} {tone} in {bars_joined([_bar(found), *later])}"
    if len(found.players) == 1 and len(piece.parts) > 1:
        words += f" ({player(piece, found.players[0], given=False)})"
    if event.approach == "leap" and event.distance >= 12:
        words += f", by a leap of {interval(event.distance)}"
    elif event.approach in ("step", "leap"):
        words += f", by {event.approach}"
    if name == "high point" and event.times and not later:
        bars = "bar comes" if event.times == 1 else "bars come"
        words += f"; {number(event.times)} earlier {bars} within a tone of it"
    return words


def high_point(found: Finding, event: Event, piece: PieceFacts) -> str:
    """The highest note, and how it is reached."""
    return _point(found, event, piece, "high point")


def low_point(found: Finding, event: Event, piece: PieceFacts) -> str:
    """The lowest note, and how it is reached."""
    return _point(found, event, piece, "low point")


def isolated(found: Finding, event: Event, piece: PieceFacts) -> str:
    """A brief note far from everything around it."""
    side = "above" if event.direction == "up" else "below"
    stand = "stands" if len(event.pitches) == 1 else "stand"
    return (
        f"{notes(event.pitches, piece.spelling)} in {_bar(found)} {stand} alone, "
        f"{interval(event.distance)} {side} everything in the bars around"
    )


def in_octaves(found: Finding, event: Event, piece: PieceFacts) -> str:
    """A line doubled at the octave."""
    return _place(found) + _in_octaves(found, event, piece)


def _in_octaves(found: Finding, event: Event, piece: PieceFacts) -> str:
    line = "the bass" if event.place == "bass" else "the tune"
    wide = interval(event.interval or 12).removeprefix("an ").removesuffix("s")
    if event.by == "alone":
        far = "octaves" if wide == "octave" else interval(event.interval or 12)
        return f": bare {far}, nothing between or around"
    apart = (
        "in octaves" if wide == "octave" else f"doubled {interval(event.interval or 12)} away"
    )
    return f": {line} is {apart}"


def dialogue(found: Finding, event: Event, piece: PieceFacts) -> str:
    """Two registers take turns."""
    return (
        f"{_place(found)} alternate between a low and a high register, {number(event.times)} "
        f"turns within {register(event.low, event.high, piece.spelling)}"
    )


def gap(found: Finding, event: Event, piece: PieceFacts) -> str:
    """A wide empty space inside the texture."""
    return _place(found) + _gap(found, event, piece)


def _gap(found: Finding, event: Event, piece: PieceFacts) -> str:
    space = f"{note(event.low, piece.spelling)} and {note(event.high, piece.spelling)}"
    return f" leave a gap: nothing sounds between {space}"


# What follows the bars of events that are told together where they are the same.
_CLAUSES: Mapping[str, Callable[[Finding, Event, PieceFacts], str]] = {
    "in_octaves": _in_octaves, "gap": _gap,
}  # fmt: skip


def crossing(found: Finding, event: Event, piece: PieceFacts) -> str:
    """Voices or hands cross."""
    return _crossing(found, event, piece, _place(found))


def _crossing(found: Finding, event: Event, piece: PieceFacts, bars: str) -> str:
    if event.by == "hands":
        return f"{bars}: the hands are crossed"
    if len(found.players) == 2:
        upper, lower = (player(piece, each) for each in found.players)
        on_page = [each for each in piece.parts if each in found.players]
        if on_page == [*reversed(found.players)]:  # the other way round, as with a low alto
            return f"{lower}, on the whole below {upper}, sounds above it {_within(bars)}"
        return f"{lower} sounds above {upper} {_within(bars)}"
    return f"voices cross {_within(bars)}"


def closing(found: Finding, event: Event, piece: PieceFacts) -> str:
    """The end lies elsewhere than the beginning."""
    way = "higher" if event.distance > 0 else "lower"
    return (
        f"the close ({_place(found)}) lies about {interval(abs(event.distance))} {way} than "
        "the opening"
    )


EVENTS: Mapping[str, Callable[[Finding, Event, PieceFacts], str]] = {
    "withheld_bass": withheld_bass, "withheld_top": withheld_top, "cleared": cleared,
    "climb": climb, "descent": descent, "wedge": wedge, "pedal_point": pedal_point,
    "shift": shift, "octave_return": octave_return, "voice_entry": voice_entry,
    "high_point": high_point, "low_point": low_point, "isolated": isolated,
    "in_octaves": in_octaves, "dialogue": dialogue, "gap": gap, "crossing": crossing,
    "closing": closing, "entry": entry,
}  # fmt: skip
# A piece of which no more is known than its bars: players go without a name.
_NAMELESS = PieceFacts("", "", "", "", (), (), 0, 0, 0, 0, False, 0, 0)


def event_words(event: Event, bars: PlayedBars, spelling: Spelling) -> str:
    """One event as a sentence without its full stop."""
    piece = replace(_NAMELESS, played_bars=len(bars), spelling=spelling)
    return sentence(bare_event(event, bars), piece).removesuffix(".")


_STIRS = 3  # semitones below which an edge counts as staying


def move_words(shift: Shift) -> str:
    """Which way a shift goes, what moves and how far; of weight where neither edge moves."""
    far = interval(shift.size)
    if shift.by == "part":
        return f"one part moves {shift.direction} by about {far}"
    if shift.by != "mass":
        edge, move = ("top", shift.top) if shift.by == "top" else ("bass", shift.bottom)
        return f"the {edge} {'rises' if move > 0 else 'falls'} by about {far}"
    way = {"up": "rises", "down": "falls", "opening": "opens out", "closing": "closes in"}
    moves = way[shift.direction]
    outer = max(abs(shift.top), abs(shift.bottom))
    if outer < shift.mass / 2 and shift.direction in ("up", "down"):
        same = "within the same" if outer < _STIRS else "more than its"
        return f"the middle of the texture {moves} by about {far}, {same} outer notes"
    return f"the texture {moves} by about {far}"
