"""Each player's part in words and as JSON: where it lies in its range, and what that asks.

The limits are a guide from the instruments table; nothing is clipped or placed. A
keyboard is at ease everywhere, and of a voice whose type is not named no range can
be told: of these only notes outside the range are told.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from corpusreg.comparison.comparison import Comparison, Place
from corpusreg.comparison.findings import Finding, PieceFacts, Reading
from corpusreg.comparison.players import MUCH, Beyond, InstrumentUse, Player, Reach, Still
from corpusreg.comparison.playing import SOLO, OutOfRange, Practical, Singing, Stretch
from corpusreg.instruments.ensembles import kinds
from corpusreg.measures.height import Height
from corpusreg.norms.written import Written
from corpusreg.score.pitch import USUAL, Spelling, note_name
from corpusreg.score.played import Played, PlayedBars
from corpusreg.system.phrases import capital, joined, plural
from corpusreg.system.plaintext import plain
from corpusreg.text.wording import (
    bar_range,
    bar_words,
    interval,
    note,
    number,
    place_words,
    player,
    register,
)

__all__ = [
    "CAUTION", "TIRING", "asks_words", "beside_words", "beyond_document", "beyond_words",
    "edge_words", "far_words", "height_document", "of_hundred", "parts_document",
    "passage_reach_words", "player_lines", "player_remarks", "practical_words",
    "reach_document", "reach_words", "singing_lines", "two_level_document", "written_document",
]  # fmt: skip

CAUTION = (
    "Very high and very low notes can strain a voice or a player: "
    "ask the player, the singer or the teacher."
)
TIRING = (
    "Long stretches in a tiring zone mean fatigue and strain: ask the player or the singer. "
    "The table is a guide."
)
_SOME = 0.05  # and that is worth a mention
_PEAK = 0.05  # of the notes written, by which an outermost note lies further for it to be told
_NAMED = 3  # parts that are named one by one
_DOUBLED = 50  # of 100 notes of a voice, from which its doubling is told
_STRIP = 17
_SHADES = " .:+#"
_NAME = 18
_LONG = 4  # bars
_SECOND = "the second change of such voices (from memory; schools differ)"
_MOVES = 3  # semitones by which the middle of a voice moves over time for it to be told


def tires(lies: InstrumentUse) -> bool:
    """Whether a part spends a quarter of its time or more in a tiring zone."""
    return lies.tiring >= MUCH and _telling(lies)


def edge_words(found: Finding, piece: PieceFacts) -> str:
    """That a part lies high or low, where, and between which notes, without a stop."""
    (part,) = found.players
    whose = "voice" if _reach(found).family == "voice" else "instrument"
    who = player(piece, part)
    return f"{who} lies {found.direction} for its {whose} {_where(found, piece)}"


def beside_words(found: Finding, piece: PieceFacts) -> str:
    """What is remarkable about where such a part sounds, after a comma; '' for nothing."""
    return _beside(_reach(found), lambda part: player(piece, part))


def reach_words(found: Finding, piece: PieceFacts) -> str:
    """Where a part lies high or low, how far out that is, and what is beside it."""
    (part,) = found.players
    reason = _reason(_reach(found), lambda each: player(piece, each), piece.spelling)
    who, where = capital(player(piece, part)), _where(found, piece)
    beside = beside_words(found, piece)
    return f"{who} lies {found.direction} {where}{beside}. That is {reason}."


def _reach_short(found: Finding, piece: PieceFacts) -> str:
    """A part that lies high or low in a few words: 'oboe 1, high in bars 5–9'."""
    assert found.place is not None
    where = place_words(found.place)
    return f"{player(piece, found.players[0], False)}, {found.direction} {_at(where)}"


def _at(where: str) -> str:
    return where if where.startswith("from ") else f"in {where}"


def passage_reach_words(found: Reach, spelling: Spelling) -> str:
    """The same of a passage that is asked for by its bars, which stand above it."""
    return f"It lies {found.side}{_beside(found, plain)}: {_reason(found, plain, spelling)}"


def _where(found: Finding, piece: PieceFacts) -> str:
    assert found.place is not None and found.low is not None and found.high is not None
    whole = found.place.bars == piece.played_bars
    where = "throughout" if whole else _at(place_words(found.place))
    return f"{where}, {register(found.low, found.high, piece.spelling)}"


def _beside(reach: Reach, call: Callable[[str], str]) -> str:
    if reach.below:
        return f", below {call(reach.below)}"
    return ", though in the middle of the texture" if reach.amid else ""


def _reason(reach: Reach, call: Callable[[str], str], spelling: Spelling) -> str:
    """How far out a passage lies for its player, and what that asks; call: names a part."""
    text = _far(reach)
    if reach.peak is not None and reach.peak - (reach.beyond or 0.0) >= _PEAK:
        outermost = note(reach.high if reach.side == "high" else reach.low, spelling)
        text += f", its {outermost} {reach.side}er than {of_hundred(reach.peak)}"
    if reach.under:
        many = len(reach.under) > _NAMED
        brass = [call(each) for each in reach.under]
        who = f"{number(len(brass))} brass parts" if many else joined(brass)
        verb = "plays" if len(brass) == 1 else "play"
        text += f"; {who} {verb} there too and may cover it"
    elif reach.zone:
        text += f"; {_ZONES[reach.zone]}"
    if reach.examples:
        text += f". Also this {reach.side}: {'; '.join(map(plain, reach.examples))}"
    return text


_ZONES = {"tiring": "this tires the player", "dull": "it sounds weak there"}


def _far(reach: Reach) -> str:
    if reach.beyond is None:
        way = "above" if reach.side == "high" else "below"
        low, high = reach.comfortable
        usual = register(low, high, USUAL)
        return f"mostly {way} what is comfortable for {reach.instrument} ({usual})"
    among = reach.ensemble, reach.composers
    return far_words(reach.beyond, reach.side, reach.instrument, *among)


def of_hundred(share: float) -> str:
    """A share of notes, 0 to 1, as in 'higher than 96 of 100'; nearly all are never all.

    >>> of_hundred(1), of_hundred(0.9999), of_hundred(0.5)
    ('all', '99 of 100', '50 of 100')
    """
    return "all" if share >= 1 else f"{min(int(100 * share), 99)} of 100"


def far_words(share: float, side: str, name: str, ensemble: str, composers: int) -> str:
    """How many of the notes written for an instrument lie less far out, 0 to 1.

    side: 'high' or 'low'. ensemble, composers: as of a `Reach`.
    """
    of = of_hundred(share)
    where = f" in {kinds()[ensemble].works}" if ensemble else ""
    people = plural(composers, "composer")
    plain_name = name.partition(" (")[0]  # as in 'voice (type not named)'
    return f"{side}er than {of} notes written for {plain_name}{where} ({people})"


def player_lines(c: Comparison) -> list[str]:
    """One line a part: name, notes, place in the range as a strip, what it asks."""
    return [_line(player, c.whole.played.spelling) for player in c.players.parts]


def player_remarks(c: Comparison, r: Reading) -> list[str]:
    """What the lines cannot hold: long passages far out, tiring zones, stillness on one level,
    unknown instruments."""
    found = [reach_words(each, r.piece) for each in r.reaching if each.main]
    others = [_reach_short(each, r.piece) for each in r.reaching if not each.main]
    found += [f"Less far out: {'; '.join(others)}."] if others else []
    told = {each.players[0] for each in r.reaching if _reach(each).zone == "tiring"}
    tired = [_name(p) for p in c.players.parts if p.use and tires(p.use)]
    if told.issuperset(tired):
        found += [CAUTION] if _edge_lines(c) else []
    else:
        found.append(f"{', '.join(tired)}: {TIRING[0].lower()}{TIRING[1:]}")
    two = c.players.two_level
    for way, said in _STILL.items() if two and len(c.players.parts) > 1 else ():
        stays = [s for s in two.stays if s.part is None and s.way == way] if two else []
        longest = max(stays, key=lambda s: (s.last - s.first, -s.first), default=None)
        if longest and longest.last - longest.first >= _LONG:
            where = bar_range(c.bars, longest.first, longest.last)
            found.append(f"{capital(where)}: {said}.")
    unknown = [_name(player) for player in c.players.parts if player.use is None]
    if unknown:
        found.append(
            f"No instrument is known for {', '.join(unknown)}: notes are shown, but not how "
            "high they lie for a player. Naming the instrument in the score helps."
        )
    return found


def _edge_lines(c: Comparison) -> bool:
    """Whether some line of a part speaks of its edge, so that extremes deserve a word."""
    known = [p.use for p in c.players.parts if p.use and not p.use.out_of_range]
    return any(lies.reach or (_telling(lies) and lies.tiring >= _SOME) for lies in known)


def beyond_words(found: OutOfRange, piece: PieceFacts) -> str:
    """Notes outside the usual range, as a sentence; they are flagged and never clipped."""
    who = player(piece, found.part)
    some = ""
    if found.reached is not None:
        some = f"Some go to {note(found.reached, piece.spelling)}: {found.source}. "
    return (
        f"{capital(who)} has {plural(found.count, 'note')} {found.side} its usual range "
        f"({register(found.low, found.high, USUAL)}), first "
        f"{note(found.first, piece.spelling)} in {bar_words(found.bar)}. "
        f"{some}Ask the player, the singer or the teacher."
    )


def practical_words(found: Practical, piece: PieceFacts) -> str:
    """What a player would ask about, as a sentence or two."""
    if found.kind == "misread":
        way = "higher" if found.interval > 0 else "lower"
        who = capital(player(piece, found.part or ""))
        return (
            f"{who}: {found.count:g} of its {found.of} notes "
            f"lie outside the range of {found.instrument}, first in {bar_words(found.bar)}, "
            f"and nearly all inside it {interval(abs(found.interval))} {way}. Is the clef, "
            "its 8 or the transposition as you mean it?"
        )
    if found.kind == "vocal_peak":
        return _peak_words(found, piece)
    if found.place is not None:
        return _against_words(found, found.place, piece)
    assert found.low is not None and found.high is not None
    where = bar_words(found.bar)
    pair = " to ".join(note(pitch, piece.spelling) for pitch in (found.low, found.high))
    others = len(found.bars) - 1
    more = f", as in {plural(others, 'other bar')}" if others else ""
    if found.kind == "wide_chord":
        hand = f"the {found.hand} hand's chord" if found.hand else "the chord"
        reach = (
            "many hands cannot take it at once"
            if found.within_reach
            else "no usual hand takes it at once"
        )
        return (
            f"{capital(where)}: {hand} from {pair} is {interval(found.interval)}, and "
            f"{reach}: it is rolled, split between the hands, or caught with the pedal{more}."
        )
    return (
        f"{capital(where)}: {pair}, {interval(found.interval)}, sounds for "
        f"{plural(round(found.count), 'beat')}, close for so low, and may sound thick"
        f"{more}. Spread it, or keep it where that weight is meant."
    )


def _against_words(found: Practical, where: Place, piece: PieceFacts) -> str:
    """A register that resists the dynamic written there."""
    assert found.low is not None and found.high is not None
    low, high = (note(pitch, piece.spelling) for pitch in (found.low, found.high))
    span = f"on {low}" if low == high else f"between {low} and {high}"
    others = len(found.bars) - where.bars
    more = f" (and in {plural(others, 'other bar')})" if others > 0 else ""
    what = (
        "where its sound is soft by nature: expect less, or give it company"
        if found.kind == "too_soft"
        else "where it is hard to keep soft: expect more, or give these notes to another player"
    )
    return (
        f"{capital(player(piece, found.part or ''))} is marked {found.dynamic} in "
        f"{place_words(where)}{more}, {span}, "
        f"{what}. Ask who plays or sings it."
    )


def _peak_words(found: Practical, piece: PieceFacts) -> str:
    """The highest note of a voice, how long and how often, and its zone of change."""
    assert found.peak is not None
    times = "once" if found.of == 1 else f"{number(found.of)} times"
    long = (
        "shorter than a beat"
        if found.count < 1
        else f"{plural(round(found.count), 'beat')} long"
    )
    who, peak = capital(player(piece, found.part or "")), note(found.peak, piece.spelling)
    text = f"{who}: the highest note is {peak} in {bar_words(found.bar)}, {long}, sung {times}"
    text += f", at about {found.dynamic}." if found.dynamic else "."
    if found.doubled >= _DOUBLED:
        text += (
            f" Another part strikes {found.doubled} % of its notes at the same pitch, "
            "which supports the voice and can cover it."
        )
    if found.low is None or found.high is None:
        return text
    changes = " and again near ".join(
        note(pitch, piece.spelling) for pitch in (found.low, found.high)
    )
    return (
        f"{text} Many voices of this type change near {changes} (from memory; schools "
        "differ): ask the singer."
    )


def singing_lines(found: Sequence[Singing], piece: PieceFacts) -> list[str]:
    """Where voices lie for most of their time, how that moves, and how long they lie high.

    Each of a few solo voices has a line; a choir has one, and one for each voice that moves.
    """
    if len(found) <= SOLO:
        return [_solo_words(each, piece) for each in found]
    each_voice = [
        f"{player(piece, each.part, False)} {_stretch(each.whole, piece)}" for each in found
    ]
    lines = [f"For eight tenths of their time the voices sing within: {', '.join(each_voice)}."]
    for each in found:
        moves = _moves_words(each, piece)
        lines += [f"{capital(player(piece, each.part))} lies{moves}."] if moves else []
    return lines


def _solo_words(found: Singing, piece: PieceFacts) -> str:
    who = capital(player(piece, found.part))
    text = f"{who}: within {_stretch(found.whole, piece)} for eight tenths of the time"
    if found.stretches:
        moves = _moves_words(found, piece)
        text += f",{moves}" if moves else ", much the same from beginning to end"
    if found.change is not None and found.above:
        change = note(found.change, piece.spelling)
        text += f"; {found.above} % of its time is above {change}, {_SECOND}"
    return f"{text}."


def _stretch(each: Stretch, piece: PieceFacts) -> str:
    return register(each.low, each.high, piece.spelling)


def _moves_words(found: Singing, piece: PieceFacts) -> str:
    """Between which stretches a voice moves, '' where it does not."""
    if not found.stretches:
        return ""
    low, high = (end(found.stretches, key=lambda each: each.middle) for end in (min, max))
    if high.middle - low.middle < _MOVES:
        return ""
    return (
        f" lowest in {place_words(low.place)} (round {note(low.middle, piece.spelling)}) and "
        f"highest in {place_words(high.place)} (round {note(high.middle, piece.spelling)})"
    )


_STILL = {
    "whole": "the texture keeps its register while players move within their own ranges",
    "instrument": "the texture moves while each player stays in one part of the range",
}


def _line(player: Player, spelling: Spelling) -> str:
    name = _name(player)
    name = name if len(name) <= _NAME else f"{name[: _NAME - 3]}..."
    notes = register(player.lowest, player.highest, spelling)
    if player.use is None:
        return f"{name:<{_NAME}} {notes}"
    strip = _strip(player, player.use)
    return f"{name:<{_NAME}} {notes:<11} {strip} {asks_words(player.use)}".rstrip()


def _strip(player: Player, lies: InstrumentUse) -> str:
    """The range from its lowest to its highest note, darker where more lies; < > beyond it."""
    low, high = lies.instrument.professional
    cells = [0.0] * _STRIP
    for pitch in range(low, high + 1):
        cells[(pitch - low) * _STRIP // (high - low + 1)] += float(player.weight[pitch])
    top = max(cells)
    signs = [_SHADES[min(1 + int(4 * (v / top) ** 0.6), 4)] if v else " " for v in cells]
    sides = {each.side for each in lies.out_of_range}
    left, right = "<" if "below" in sides else "|", ">" if "above" in sides else "|"
    return left + "".join(signs) + right


def asks_words(lies: InstrumentUse) -> str:
    """What a part asks of its player in a few words; '' where its edges tell nothing."""
    beyond = sum(each.notes for each in lies.out_of_range)
    if beyond:
        return f"{plural(beyond, 'note')} beyond its range"
    if not _telling(lies):
        return ""
    if lies.tiring >= _SOME:
        return f"{_percent(lies.tiring)} of its time where it tires"
    if lies.reach:
        return f"{lies.reach.side} for {_percent(lies.reach.share)} of its time"
    return "at ease"


def _telling(lies: InstrumentUse) -> bool:
    """Whether the edges of the range say something about ease."""
    return lies.instrument.family != "keyboard" and not lies.instrument.generic


def _reach(found: Finding) -> Reach:
    assert found.reach is not None
    return found.reach


def _percent(share: float) -> str:
    return "nearly all" if share > 0.95 else f"{100 * share:.0f} %"


def _name(player: Player) -> str:
    return plain(player.name)


_DIGITS = 4


def parts_document(c: Comparison) -> list[dict[str, Any]]:
    """All sounding parts in score order."""
    return [_part(player, c.whole.played) for player in c.players.parts]


def two_level_document(c: Comparison) -> dict[str, Any] | None:
    """Ensemble against instruments, or None where no instrument is known."""
    two = c.players.two_level
    if two is None:
        return None
    ends = dict(zip(("lowest", "highest"), two.compass, strict=True))
    return {
        "compass": {
            end: note_name(pitch, c.whole.played.spelling) for end, pitch in ends.items()
        },
        "grid": _grid(two.grid.tolist()),
        "middle_but_edge": _round(two.middle_but_edge),
        "edge_but_middle": _round(two.edge_but_middle),
        "audible": height_document(two.audible) | {"thirds": _shares(two.thirds.tolist())},
        "parts": [
            {
                "name": player.name,
                "grid": _grid(player.use.grid.tolist()),
                "middle_but_edge": _round(player.use.middle_but_edge),
                "edge_but_middle": _round(player.use.edge_but_middle),
            }
            for player in c.players.parts
            if player.use
        ],
        "stays": [_still(each, c.bars) for each in two.stays],
        "unmatched": list(two.unmatched),
    }


def height_document(found: Height) -> dict[str, Any]:
    """A height: mean, and the edges of the weight."""
    return {"mean": _round(found.mean), "low": _round(found.low), "high": _round(found.high)}


def beyond_document(each: Beyond, bars: PlayedBars, spelling: Spelling) -> dict[str, Any]:
    """Notes of one pitch outside the range."""
    return {
        "note": note_name(each.pitch, spelling),
        "side": each.side,
        "notes": each.notes,
        "first_bar": bars.labels[each.bar],
    }


def _part(player: Player, played: Played) -> dict[str, Any]:
    lies = player.use
    return {
        "name": player.name,
        "instrument": lies.instrument.id if lies else None,
        "lowest": note_name(player.lowest, played.spelling),
        "highest": note_name(player.highest, played.spelling),
        "audible": height_document(player.audible),
        "height": _use_document(lies, played) if lies else None,
        "out_of_range": [
            beyond_document(each, played.bars, played.spelling)
            for each in (lies.out_of_range if lies else ())
        ],
        "staves": [
            {
                "staff": staff.number,
                "lowest": note_name(staff.lowest, played.spelling),
                "highest": note_name(staff.highest, played.spelling),
                "height": height_document(staff.height) if staff.height else None,
            }
            for staff in player.staves
        ],
    }


def _use_document(lies: InstrumentUse, played: Played) -> dict[str, Any]:
    bars = played.bars
    runs = {"tiring_bars": lies.tiring_run, "edge_bars": lies.edge_run}
    return {
        **height_document(lies.height),
        "registers": {name: _round(share) for name, share in lies.registers.items()},
        "tiring": _round(lies.tiring),
        "dull": _round(lies.dull),
        "edge": _round(lies.edge),
        "outside": _round(lies.outside),
        **{name: _labels(bars, *run) if run else None for name, run in runs.items()},
        "written": written_document(lies.written) if lies.written else None,
        "reach": reach_document(lies.reach, bars, played.spelling) if lies.reach else None,
        "stays": [
            dict(zip(("start_bar", "end_bar"), _labels(bars, first, last), strict=True))
            | {"low": _round(low), "high": _round(high)}
            for first, last, low, high in lies.stays
        ],
        "shifts": [
            {"bar": bars.labels[bar], "moves": _round(moves)} for bar, moves in lies.shifts
        ],
    }


def written_document(written: Written) -> dict[str, Any]:
    """What is written for an instrument: its usual notes, and from where they are known."""
    return {
        "ensemble": written.ensemble or None,
        "composers": written.composers,
        **{
            f"p{round(100 * q)}": note_name(written.quantile(q))
            for q in (0.01, 0.1, 0.5, 0.9, 0.99)
        },
    }


def reach_document(reach: Reach, bars: PlayedBars, spelling: Spelling) -> dict[str, Any]:
    """Where a part lies high or low for its instrument."""
    return {
        "side": reach.side,
        "bars": _labels(bars, reach.first, reach.last),
        "lowest": note_name(reach.low, spelling),
        "highest": note_name(reach.high, spelling),
        "share": _round(reach.share),
        "beyond": None if reach.beyond is None else _round(reach.beyond),
        "outermost_beyond": None if reach.peak is None else _round(reach.peak),
        "zone": reach.zone or None,
        "amid": reach.amid,
        "under": list(reach.under),
        "below": reach.below or None,
        "examples": list(reach.examples),
    }


def _still(each: Still, bars: PlayedBars) -> dict[str, Any]:
    start, end = _labels(bars, each.first, each.last)
    return {
        "part": each.part,
        "start_bar": start,
        "end_bar": end,
        "played": [each.first, each.last],
        "still": each.way,
    }


def _labels(bars: PlayedBars, first: int, last: int) -> list[str]:
    return [bars.labels[first], bars.labels[last - 1]]


def _grid(rows: list[list[float]]) -> dict[str, Any]:
    names = ("low", "middle", "high")
    return {name: _shares(row) for name, row in zip(names, rows, strict=True)}


def _shares(row: list[float]) -> dict[str, float]:
    names = ("low", "middle", "high")
    return {name: _round(share) for name, share in zip(names, row, strict=True)}


def _round(value: float) -> float:
    return round(float(value), _DIGITS)
