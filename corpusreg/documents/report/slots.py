"""What stands in the slots of a report: pictures from `pictures`, notation from `engraving`.

A slot that is not filled is left out of the page; a passage that cannot be engraved keeps
its words and says why.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.drafts import Drafts
from corpusreg.comparison.placing import part_names
from corpusreg.documents import engraving
from corpusreg.documents.engraving import Engraved
from corpusreg.documents.engraving.writing import GUESSED
from corpusreg.documents.pictures.levels import level_grid
from corpusreg.documents.pictures.nearest import nearest_works
from corpusreg.documents.pictures.octaves import octave_chart
from corpusreg.documents.pictures.register_map import pages, register_map
from corpusreg.documents.pictures.strips import bare_strip, strips_key
from corpusreg.documents.pictures.svg import Picture
from corpusreg.documents.pictures.view import view_of
from corpusreg.documents.report.model import Content, Passage
from corpusreg.norms.profiles.model import PlacedProfile

__all__ = ["NARROW", "WIDE", "Notation", "Slot", "draw", "engrave"]

WIDE, NARROW = 720.0, 340.0  # pixels: the text column of a page, a phone
LONG = 300  # bars
MANY = 4  # works
LONG_DRAFT = 100  # bars: longer drafts are drawn once, for any width


@dataclass(frozen=True)
class Slot:
    """SVG pictures, one below the other. narrow: the same for a phone, () where these serve."""

    pictures: tuple[str, ...]
    narrow: tuple[str, ...] = ()


@dataclass(frozen=True)
class Notation:
    """A passage in notation. remarks: what must be known beside it, or why there is none."""

    drawn: tuple[Engraved, ...]
    remarks: tuple[str, ...]


def draw(
    c: Comparison,
    content: Content,
    prefix: str,
    drafts: Drafts | None = None,
    works: int = 1,
) -> dict[str, Slot]:
    """Pictures by slot; prefix begins every id in them.

    drafts: with an earlier draft. works: how many are on the page.
    """
    # A long work, or one of many, is drawn once, and a phone moves along it, so that pages
    # stay small.
    once = len(c.bars) > LONG or works > MANY
    slim = () if once else _maps(c, f"{prefix}-slim", NARROW)
    found = {"map": Slot(_maps(c, prefix, WIDE), slim)}
    if drafts and content.drafted and content.drafted.picture:
        found["drafts"] = _both_drafts(drafts, f"{prefix}-drafts")
    for row in content.measures.rows:
        drawn = bare_strip(c, row.name, prefix=f"{prefix}-strip-{row.name.replace('_', '-')}")
        if drawn and row.picture:
            found[row.picture.slot] = Slot((drawn.svg,))
    found["strips-key"] = _both(strips_key, prefix, "key")
    found["octaves"] = _both(partial(octave_chart, c), prefix, "octaves")
    grid = level_grid(c.players, prefix=f"{prefix}-levels", width=WIDE)
    if grid:
        narrow = level_grid(c.players, prefix=f"{prefix}-slim-levels", width=NARROW)
        found["levels"] = Slot((grid.svg,), (narrow.svg,) if narrow else ())
    if isinstance(c.profile, PlacedProfile):
        near = nearest_works(c.profile, prefix=f"{prefix}-nearest")
        if near:
            found["nearest"] = Slot((near.svg,))
    return found


def _both(picture: Callable[..., Picture], prefix: str, name: str) -> Slot:
    """One picture for a page and for a phone."""
    wide = picture(prefix=f"{prefix}-{name}", width=WIDE)
    slim = picture(prefix=f"{prefix}-slim-{name}", width=NARROW)
    return Slot((wide.svg,), (slim.svg,))


def _maps(c: Comparison, prefix: str, width: float) -> tuple[str, ...]:
    view = view_of(c)
    return tuple(
        register_map(
            view, prefix=f"{prefix}-map-{number}", bars=bars, width=width, heading=False
        ).svg
        for number, bars in enumerate(pages(view, width=width), start=1)
    )


def _both_drafts(d: Drafts, prefix: str) -> Slot:
    before, now = view_of(d.earlier), view_of(d.later)
    drawn = [
        tuple(
            register_map(
                before, now, prefix=f"{prefix}-{name}-{number}", bars=bars, width=width,
                heading=False, words=("before", "now"),
            ).svg
            for number, bars in enumerate(pages(before, now, width), start=1)
        )
        for name, width in (("wide", WIDE), ("slim", NARROW))
        if name == "wide" or len(d.later.bars) <= LONG_DRAFT
    ]  # fmt: skip
    return Slot(*drawn)


def engrave(works: Sequence[tuple[Comparison, Content]]) -> list[dict[str, Notation]]:
    """The passages of each work by slot; all are drawn in one go."""
    asked = [
        (work, passage, run)
        for work, (_, content) in enumerate(works)
        for passage in content.passages.shown
        for run in passage.written
    ]
    numbers = [
        {name: index for index, name in part_names(c.whole.played).items()} for c, _ in works
    ]
    drawn = engraving.engrave_all(
        [_passage(works[w][1], passage, run, numbers[w]) for w, passage, run in asked]
    )
    found: list[dict[str, list[Engraved | str]]] = [{} for _ in works]
    for (work, passage, _), picture in zip(asked, drawn, strict=True):
        found[work].setdefault(passage.picture.slot, []).append(picture)
    return [
        _said_once({slot: _notation(runs) for slot, runs in each.items()}) for each in found
    ]


def _said_once(found: dict[str, Notation]) -> dict[str, Notation]:
    """What is guessed of a whole file is said below its first passage only."""
    first = next((slot for slot, each in found.items() if GUESSED in each.remarks), "")
    return {
        slot: each
        if slot == first
        else replace(each, remarks=tuple(r for r in each.remarks if r != GUESSED))
        for slot, each in found.items()
    }


def _passage(
    content: Content, passage: Passage, run: tuple[int, int], numbers: Mapping[str, int]
) -> engraving.Passage:
    return engraving.Passage(
        path=Path(content.passages.path),
        first=run[0],
        last=run[1],
        number=content.passages.tune,
        parts=() if passage.part is None else (numbers[passage.part],),
    )


def _notation(runs: Sequence[Engraved | str]) -> Notation:
    def remarks() -> Iterator[str]:
        for each in runs:
            if isinstance(each, str):
                yield each
            else:
                yield from each.remarks

    drawn = tuple(each for each in runs if isinstance(each, Engraved))
    return Notation(drawn, tuple(dict.fromkeys(remarks())))
