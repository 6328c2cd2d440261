"""Each player's part and the two-level placement as parts of the JSON document."""

from __future__ import annotations

from typing import Any

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.players import Beyond, Lying, Player, Reach, Still
from corpusreg.measures.height import Height
from corpusreg.norms.written import Written
from corpusreg.score.pitch import note_name
from corpusreg.score.played import PlayedBars

__all__ = [
    "beyond_document",
    "height_document",
    "parts_document",
    "two_level_document",
    "written_document",
]

_DIGITS = 4


def parts_document(c: Comparison) -> list[dict[str, Any]]:
    """All sounding parts in score order."""
    return [_part(player, c.bars) for player in c.players.parts]


def two_level_document(c: Comparison) -> dict[str, Any] | None:
    """Ensemble against instruments, or None where no instrument is known."""
    two = c.players.two_level
    if two is None:
        return None
    lowest, highest = two.compass
    return {
        "compass": {"lowest": note_name(lowest), "highest": note_name(highest)},
        "grid": _grid(two.grid.tolist()),
        "middle_but_edge": _round(two.middle_but_edge),
        "edge_but_middle": _round(two.edge_but_middle),
        "audible": height_document(two.audible) | {"thirds": _shares(two.thirds.tolist())},
        "parts": [
            {
                "name": player.name,
                "grid": _grid(player.lying.grid.tolist()),
                "middle_but_edge": _round(player.lying.middle_but_edge),
                "edge_but_middle": _round(player.lying.edge_but_middle),
            }
            for player in c.players.parts
            if player.lying
        ],
        "stays": [_still(each, c.bars) for each in two.stays],
        "unmatched": list(two.unmatched),
    }


def height_document(found: Height) -> dict[str, Any]:
    """A height: mean, and the edges of the weight."""
    return {"mean": _round(found.mean), "low": _round(found.low), "high": _round(found.high)}


def beyond_document(each: Beyond, bars: PlayedBars) -> dict[str, Any]:
    """Notes of one pitch outside the range."""
    return {
        "note": note_name(each.pitch),
        "side": each.side,
        "notes": each.notes,
        "first_bar": bars.labels[each.bar],
    }


def _part(player: Player, bars: PlayedBars) -> dict[str, Any]:
    lies = player.lying
    return {
        "name": player.name,
        "instrument": lies.instrument.id if lies else None,
        "lowest": note_name(player.lowest),
        "highest": note_name(player.highest),
        "audible": height_document(player.audible),
        "height": _lying(lies, bars) if lies else None,
        "out_of_range": [beyond_document(each, bars) for each in lies.out_of_range]
        if lies
        else [],
        "staves": [
            {
                "staff": staff.number,
                "lowest": note_name(staff.lowest),
                "highest": note_name(staff.highest),
                "height": height_document(staff.height) if staff.height else None,
            }
            for staff in player.staves
        ],
    }


def _lying(lies: Lying, bars: PlayedBars) -> dict[str, Any]:
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
        "reach": reach_document(lies.reach, bars) if lies.reach else None,
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


def reach_document(reach: Reach, bars: PlayedBars) -> dict[str, Any]:
    """Where a part lies high or low for its instrument."""
    return {
        "side": reach.side,
        "bars": _labels(bars, reach.first, reach.last),
        "lowest": note_name(reach.low),
        "highest": note_name(reach.high),
        "share": _round(reach.share),
        "beyond": None if reach.beyond is None else _round(reach.beyond),
        "zone": reach.zone or None,
        "under": list(reach.under),
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
