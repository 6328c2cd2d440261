"""Two levels: where the sound lies in the ensemble, and where in the instrument that plays it.

    level_grid(players, *, prefix, width=WIDTH) -> Picture, or None

Rows: low, middle and high third of the compass of the ensemble (of its instruments, not of
the piece); columns: thirds of the range of the instrument. A cell is the share of the
sound, darker where there is more. A large grid for all players together, then a small one
for each, all with the id '<prefix>-grid-<n>' (0 for all together).
"""

from __future__ import annotations

from collections.abc import Iterator

from corpusreg.comparison.players import Players
from corpusreg.documents.pictures.look import GAP, SIZES, WEIGHTS, paint
from corpusreg.documents.pictures.svg import (
    Markup,
    Picture,
    document,
    element,
    label,
    shortened,
)
from corpusreg.measures.height import Floats
from corpusreg.system.plaintext import plain
from corpusreg.text.sentences import (
    range_words,
)

__all__ = ["level_grid"]

WIDTH = 620.0
_LARGE, _SMALL = 62.0, 26.0  # sides of a cell
_LEFT = 118.0
_THIRDS = ("low", "middle", "high")
# From these shares on a cell is drawn in the four tones; below the first it stays paper.
_TONES = (0.005, 0.1, 0.25, 0.5)


def level_grid(players: Players, *, prefix: str, width: float = WIDTH) -> Picture | None:
    """The grids of all players and of each; None where no instrument is known."""
    two = players.two_level
    if two is None:
        return None
    small, text = SIZES["small"], SIZES["text"]
    top = GAP + text + 6
    side = 3 * _LARGE
    drawn = [
        label(
            "in its instrument", _LEFT + side / 2, GAP + text - 3, text, text_anchor="middle"
        ),
        label("in the ensemble", GAP, top + 10, text),
        label(range_words(*two.compass), GAP, top + 23, small, "quiet"),
        _grid(two.grid, _LEFT, top, _LARGE, f"{prefix}-grid-0"),
        *_names(_LEFT, top),
    ]
    foot = top + side + small + 2 * GAP
    several = [each for each in players.parts if each.lying] if len(players.parts) > 1 else []
    x, y, right = _LEFT + side + 3 * GAP, top, _LEFT + side
    if several:
        drawn.append(label("each player, in %", x, GAP + text - 3, small, "quiet"))
    for number, player in enumerate(several, start=1):
        if x + 3 * _SMALL + 2 * GAP > width:
            x, y = _LEFT + side + 3 * GAP, y + 3 * _SMALL + text + 2 * GAP
        if player.lying:
            name = shortened(plain(player.name), 3 * _SMALL + GAP, small)
            drawn.append(label(name, x, y + small - 1, small))
            drawn.append(
                _grid(player.lying.grid, x, y + small + 4, _SMALL, f"{prefix}-grid-{number}")
            )
        right = max(right, x + 3 * _SMALL)
        foot = max(foot, y + 3 * _SMALL + small + 2 * GAP)
        x += 3 * _SMALL + 2 * GAP
    left_out = ", ".join(map(plain, two.unmatched))
    if left_out:
        drawn.append(
            label(
                f"Left out, instrument not known: {left_out}", GAP, foot + small, small, "quiet"
            )
        )
        foot += small + GAP
    return document(
        drawn,
        size=(max(width, right + GAP), foot),
        prefix=prefix,
        title="Place in the ensemble and in the instrument",
        description=_description(two.grid),
    )


def _grid(shares: Floats, x: float, y: float, side: float, name: str) -> Markup:
    """Three rows, the high third above; percentages where cells have room for them."""
    drawn = []
    for row, line in enumerate(shares[::-1].tolist()):
        for column, share in enumerate(line):
            place = x + column * side, y + row * side
            drawn.append(_cell(share, *place, side))
    frame = {"x": x, "y": y, "width": 3 * side, "height": 3 * side}
    return element(
        "g", *drawn, element("rect", **frame, **paint("rule", width="thin")), id=name
    )


def _cell(share: float, x: float, y: float, side: float) -> Markup:
    tone = sum(share >= least for least in _TONES)
    box = {"x": x, "y": y, "width": side, "height": side}
    ground = WEIGHTS[tone - 1] if tone else "paper"
    size = SIZES["lead"] if side == _LARGE else SIZES["small"]
    ink = "onmark" if tone >= 3 else "ink"
    number = f"{100 * share:.0f}" if share >= _TONES[0] else ""
    said = f"{number} %" if number and side == _LARGE else number
    return element(
        "g",
        element("rect", **box, **paint(ground, "faint", width="thin")),
        label(said, x + side / 2, y + side / 2 + size / 3, size, ink, text_anchor="middle")
        if said
        else Markup(),
        class_="cell",
    )


def _names(x: float, y: float) -> Iterator[Markup]:
    """Names of the thirds beside and below the large grid."""
    size = SIZES["small"]
    for number, name in enumerate(_THIRDS):
        row = y + (2 - number + 0.5) * _LARGE + 3
        yield label(name, x - 6, row, size, text_anchor="end")
        column = x + (number + 0.5) * _LARGE
        yield label(name, column, y + 3 * _LARGE + size + 3, size, text_anchor="middle")


def _description(grid: Floats) -> str:
    said = [
        f"{_THIRDS[row]} in the ensemble and {_THIRDS[column]} in the instrument "
        f"{100 * share:.0f} %"
        for row, line in enumerate(grid.tolist())
        for column, share in enumerate(line)
        if share >= _TONES[0]
    ]
    return f"Shares of the sound: {'; '.join(said)}."
