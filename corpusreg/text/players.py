"""Each player's part in words: where it lies in its range, and what that asks of a player.

The limits are a guide from the instruments table; nothing is clipped or placed. A
keyboard is at ease everywhere, and of a voice whose type is not named no range can
be told: of these only notes outside the range are told.
"""

from __future__ import annotations

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.findings import OutOfRange, PieceFacts
from corpusreg.comparison.players import Lying, Player
from corpusreg.system.phrases import capital, plural
from corpusreg.system.plaintext import plain
from corpusreg.text.bars import bar_range, bars_list
from corpusreg.text.offers import CAUTION
from corpusreg.text.sentences import (
    far_apart,
    range_words,
)
from corpusreg.text.wording import bar_words, note, player, register

__all__ = [
    "TIRING",
    "asks_words",
    "at_edge_of_its_range",
    "beyond_words",
    "edge_words",
    "player_lines",
    "player_remarks",
    "reaching",
    "side",
    "tires",
    "torn",
]

TIRING = (
    "Long stretches in a tiring zone mean fatigue and strain: ask the player or the singer. "
    "The table is a guide."
)
_MUCH = 0.25  # share of a part's time that is worth a look
_SOME = 0.05  # and that is worth a mention
_STRIP = 17
_SHADES = " .:+#"
_NAME = 18
_LONG = 4  # bars


def tires(lies: Lying) -> bool:
    """Whether a part spends a quarter of its time or more in a tiring zone."""
    return lies.tiring >= _MUCH and _telling(lies)


def torn(player: Player) -> bool:
    """Whether a part sounds in the middle of the whole and yet at its instrument's edge.

    So much of it, a quarter of its weight or more, that it is the first thing to say.
    """
    lies = player.lying
    return lies is not None and lies.middle_but_edge >= _MUCH and _telling(lies)


def reaching(c: Comparison) -> list[Player]:
    """Parts that are worth a look: those that `torn` is true of, then the others.

    The others spend a quarter of their time or more beyond ease, or where it tires.
    Of each kind those with most time at the edge come first.
    """
    found = [p for p in c.players.parts if torn(p) or (p.lying and _strains(p.lying))]
    return sorted(found, key=lambda p: (not torn(p), -_known(p).edge))


def side(lies: Lying) -> str:
    """The end of the range that a part is nearer to."""
    return "top" if lies.height.mean > 0.5 else "bottom"


def at_edge_of_its_range(player: Player) -> str:
    """A reaching part in a few words."""
    return f"{_name(player)}: at the {side(_known(player))} of its range"


def edge_words(player: Player, c: Comparison) -> str:
    """A reaching part as a sentence without its full stop."""
    lies = _known(player)
    row = lies.instrument
    if torn(player):
        said = f"in the middle of the whole, yet at the {side(lies)} of its own range"
    else:
        said = f"at the {side(lies)} of its range"
    text = (
        f"{_name(player)}: {said}, {_percent(lies.edge)} of its time at the edge "
        f"(comfortable for {row.name}: {range_words(*row.comfortable)})"
    )
    if lies.edge_run == (0, len(c.bars)):
        text += ", throughout"
    elif lies.edge_run:
        text += f", longest in {bars_list(c.bars, [lies.edge_run])}"
    if lies.tiring >= _SOME:
        text += f"; {_percent(lies.tiring)} of its time where it tires"
    return text


def player_lines(c: Comparison) -> list[str]:
    """One line a part: name, notes, place in the range as a strip, what it asks."""
    return [_line(player) for player in c.players.parts]


def player_remarks(c: Comparison) -> list[str]:
    """What the lines cannot hold: tiring zones, stillness on one level, unknown instruments."""
    found = []
    tired = [_name(p) for p in c.players.parts if p.lying and tires(p.lying)]
    if tired:
        found.append(f"{', '.join(tired)}: {TIRING[0].lower()}{TIRING[1:]}")
    elif _edges_told(c) and not (reaching(c) or far_apart(c)):
        found.append(CAUTION)
    two = c.players.two_level
    for way, said in _STILL.items() if two and len(c.players.parts) > 1 else ():
        stays = [s for s in two.stays if s.part is None and s.way == way] if two else []
        longest = max(stays, key=lambda s: (s.last - s.first, -s.first), default=None)
        if longest and longest.last - longest.first >= _LONG:
            where = bar_range(c.bars, longest.first, longest.last)
            found.append(f"{capital(where)}: {said}.")
    unknown = [_name(player) for player in c.players.parts if player.lying is None]
    if unknown:
        found.append(
            f"No instrument is known for {', '.join(unknown)}: notes are shown, but not how "
            "high they lie for a player. Naming the instrument in the score helps."
        )
    return found


def _edges_told(c: Comparison) -> bool:
    """Whether some line of a part speaks of its edge, so that extremes deserve a word."""
    known = [p.lying for p in c.players.parts if p.lying and not p.lying.out_of_range]
    return any(_telling(lies) and max(lies.tiring, lies.edge) >= _SOME for lies in known)


def beyond_words(found: OutOfRange, piece: PieceFacts) -> str:
    """Notes outside the usual range, as a sentence; they are flagged and never clipped."""
    who = player(piece, found.part)
    return (
        f"{capital(who)} has {plural(found.count, 'note')} {found.side} its usual range "
        f"({register(found.low, found.high)}), first {note(found.first)} in "
        f"{bar_words(found.bar)}. Ask the player, the singer or the teacher."
    )


_STILL = {
    "whole": "the whole keeps its register while players change their place in the instrument",
    "instrument": "the players keep their place in the instrument while the whole moves",
}


def _line(player: Player) -> str:
    name = _name(player)
    name = name if len(name) <= _NAME else f"{name[: _NAME - 3]}..."
    notes = range_words(player.lowest, player.highest)
    if player.lying is None:
        return f"{name:<{_NAME}} {notes}"
    strip = _strip(player, player.lying)
    return f"{name:<{_NAME}} {notes:<11} {strip} {asks_words(player.lying)}".rstrip()


def _strip(player: Player, lies: Lying) -> str:
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


def asks_words(lies: Lying) -> str:
    """What a part asks of its player in a few words; '' where its edges tell nothing."""
    beyond = sum(each.notes for each in lies.out_of_range)
    if beyond:
        return f"{plural(beyond, 'note')} beyond its range"
    if not _telling(lies):
        return ""
    if lies.tiring >= _SOME:
        return f"{_percent(lies.tiring)} of its time where it tires"
    if lies.edge >= _SOME:
        return f"{_percent(lies.edge)} of its time at its edge"
    return "at ease"


def _strains(lies: Lying) -> bool:
    return _telling(lies) and max(lies.outside, lies.tiring) >= _MUCH


def _telling(lies: Lying) -> bool:
    """Whether the edges of the range say something about ease."""
    return lies.instrument.family != "keyboard" and not lies.instrument.generic


def _known(player: Player) -> Lying:
    if player.lying is None:
        raise ValueError(f"the instrument of {player.name} is not known")
    return player.lying


def _percent(share: float) -> str:
    return "nearly all" if share > 0.95 else f"{100 * share:.0f} %"


def _name(player: Player) -> str:
    return plain(player.name)
