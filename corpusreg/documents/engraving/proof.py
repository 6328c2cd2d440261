"""Whether a picture holds exactly the notes that corpusreg read.

Bar by bar and player by player, pitches and values of all note heads must be those that
were read, moved by one and the same interval for each player (an instrument that
transposes). Where the engraver puts players in another order, they are compared together,
unmoved. Values may differ by what rounding in a file makes of a tuplet.
"""

from __future__ import annotations

from fractions import Fraction

from corpusreg.score.notes import Score

__all__ = ["Bar", "shifts"]

Head = tuple[int, Fraction]  # pitch as the engraver plays it, value in quarters, 0 for grace
Bar = tuple[tuple[Head, ...], ...]  # heads of each staff, top first

_ROUNDING = Fraction(1, 16)  # of a value


def shifts(
    bars: tuple[Bar, ...], score: Score, first: int, parts: tuple[int, ...]
) -> dict[int, int] | None:
    """Written less sounding pitch of each player, in semitones; None without agreement.

    bars: the bars of the picture; the first is written bar `first` of the score. parts:
    the players in the picture, as positions in `Score.parts`.
    """
    found: dict[int, int] = {}
    staff = 0
    for part in parts:
        height = score.parts[part].staves
        pairs = [
            ([head for each in bar[staff : staff + height] for head in each], read)
            for bar, read in zip(bars, _read(score, (part,), first, len(bars)), strict=True)
        ]
        shift = next((min(a)[0] - min(b)[0] for a, b in pairs if a and b), 0)
        if not all(_same(drawn, read, shift) for drawn, read in pairs):
            break
        found[part] = shift
        staff += height
    else:
        return found
    together = zip(bars, _read(score, parts, first, len(bars)), strict=True)
    alike = all(_same([h for each in bar for h in each], read, 0) for bar, read in together)
    return {} if alike else None


def _read(score: Score, parts: tuple[int, ...], first: int, count: int) -> list[list[Head]]:
    """Note heads that were read, of some players in some bars."""
    heads: list[list[Head]] = [[] for _ in range(count)]
    rows = score.notes[(score.notes["bar"] >= first) & (score.notes["bar"] < first + count)]
    for row in rows:
        if int(row["part"]) in parts:
            value = Fraction(0) if row["grace"] else Fraction(int(row["duration"]), score.ticks)
            heads[int(row["bar"]) - first].append((int(row["pitch"]), value))
    return heads


def _same(drawn: list[Head], read: list[Head], shift: int) -> bool:
    moved = sorted((pitch + shift, value) for pitch, value in read)
    return len(drawn) == len(read) and all(
        a == b and abs(x - y) <= _ROUNDING * max(x, y)
        for (a, x), (b, y) in zip(sorted(drawn), moved, strict=True)
    )
