"""One file of the class: read, placed, drawn and told, as plain data.

This runs in a worker process; what comes back holds words, numbers and finished
pictures, nothing that is measured again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.drafts import drafts
from corpusreg.comparison.placing import part_names, place_file
from corpusreg.documents.engraving import Engraved, engrave_all, standalone
from corpusreg.documents.engraving import Passage as Bars
from corpusreg.documents.handout.roster import without_names
from corpusreg.documents.handout.sentences import Said, passages, question, said
from corpusreg.documents.pictures.register_map import register_map
from corpusreg.documents.pictures.svg import Picture
from corpusreg.documents.pictures.view import view_of
from corpusreg.documents.report.content import content
from corpusreg.documents.report.model import Content
from corpusreg.score.played import segments
from corpusreg.store import Reference, open_reference
from corpusreg.system.errors import CorpusregError
from corpusreg.system.phrases import capital
from corpusreg.system.plaintext import plain
from corpusreg.text.bars import bar_range
from corpusreg.text.drafts import in_short
from corpusreg.text.sentences import (
    shift_words,
    stay_words,
)

__all__ = ["TOPICS", "Example", "Piece", "PlaceOne", "ShownPassage"]

UNTITLED = "Untitled"

# Pixels: the least and greatest width of a map, the room beside its bars, and a close-up.
_MAP, _WIDE_MAP, _BESIDE, _CLOSE = 650.0, 900.0, 70.0, 320.0
_SHAPE = 0.55  # height of a map to its width: it fills the line and half a sheet
_SYSTEM = 60  # bars that still are told apart
_LONG = 4  # bars of a stay or a hollow passage that is worth showing to others
# What one person could show to the others, and how it is said.
TOPICS = {
    "withheld_bass": "a bass withheld, then brought in",
    "withheld_top": "a top withheld, then brought in",
    "cleared": "a place emptied, and filled again",
    "pedal_point": "a pedal point",
    "climb": "a climb",
    "descent": "a descent",
    "wedge": "a texture that opens out or closes in",
    "shift": "a clear shift",
    "narrow": "a long stay in a narrow space",
    "wide": "a long stay in a wide space",
    "gap": "a gap between the voices",
}


@dataclass(frozen=True)
class Example:
    """A passage that shows a topic. strength: larger is clearer, within a topic only."""

    topic: str
    words: str
    strength: float


@dataclass(frozen=True)
class ShownPassage:
    """Bars to look at. pictures: SVG, one for each run of bars; the map of the passage
    where it cannot be engraved. aside: what belongs under them in small letters. why:
    what they show where no sentence says it."""

    heading: str
    why: str
    pictures: tuple[str, ...]
    aside: tuple[str, ...]


@dataclass(frozen=True)
class Piece:
    """One work of the class.

    file: relative to the class folder. number: of the work in a file of many, else ''.
    changed: since the earlier draft, a sentence or two, '' without one. ranks: by measure,
    its percentile (0 to 100) where placed, and whether many works share its very value, so
    that it says nothing about the side it lies on.
    """

    file: str
    number: str
    content: Content
    said: tuple[Said, ...]
    question: str
    map: Picture
    passages: tuple[ShownPassage, ...]
    examples: tuple[Example, ...]
    changed: str
    ranks: Mapping[str, tuple[float, bool]]

    @property
    def title(self) -> str:
        """Its title, or what stands for it."""
        return self.content.title


@dataclass(frozen=True)
class PlaceOne:
    """The call made in a worker: a file relative to `folder` -> its pieces and failures.

    chosen: the measures of the sheets. cohort: as `placing.place_file` takes it; cohorts:
    the same for some files. hidden:
    names that stay out, each with its code. earlier: later drafts, each with the file of
    the draft before.
    """

    folder: Path
    chosen: tuple[str, ...]
    cohort: str | None = None
    cohorts: tuple[tuple[str, str], ...] = ()
    hidden: tuple[tuple[str, str], ...] = ()
    earlier: tuple[tuple[str, str], ...] = ()

    def __call__(self, file: str) -> tuple[list[Piece], list[str]]:
        """All pieces in a file, and one line for each that cannot be read."""
        path = self.folder / file
        cohort = dict(self.cohorts).get(file, self.cohort)
        with open_reference() as reference:
            found, failures = place_file(reference, path, cohort, as_written=False)
            changed = self._changed(reference, file, found, failures)
            made = reference.reference_id
        pieces = [
            self._told(file, path, self._titled(c, path), made, said)
            for c, said in zip(found, changed, strict=True)
        ]
        return pieces, failures

    def _changed(
        self, reference: Reference, file: str, found: list[Comparison], failures: list[str]
    ) -> list[str]:
        """What changed in each piece since the earlier draft; what fails is a failure."""
        name = dict(self.earlier).get(file)
        if name is None:
            return [""] * len(found)
        # The earlier file may bear a name that stays out: it is not mentioned.
        fault = f"{self.folder / file}: its earlier draft cannot be set beside it"
        try:
            before, _ = place_file(reference, self.folder / name, self.cohort, as_written=False)
        except CorpusregError as error:
            failures.append(f"{fault}: {str(error).replace(str(self.folder / name), 'it')}")
            return [""] * len(found)
        if len(before) != len(found):
            failures.append(f"{fault}: they hold {len(before)} and {len(found)} pieces")
            return [""] * len(found)
        return [in_short(drafts(*pair)) for pair in zip(before, found, strict=True)]

    def _titled(self, c: Comparison, path: Path) -> Comparison:
        """Without names in the title, and without a title that is only the file's name."""
        if not self.hidden:
            return c
        own = c.piece.title != path.stem
        title = without_names(c.piece.title, dict(self.hidden), any_case=True)
        return replace(c, piece=replace(c.piece, title=title if own else UNTITLED))

    def _told(
        self, file: str, path: Path, c: Comparison, reference_id: str, changed: str
    ) -> Piece:
        report = content(c, reference_id)
        told = said(c, report, self.chosen)
        return Piece(
            file=file,
            number=c.piece.number,
            content=report,
            said=told,
            question=question(told),
            map=_map(c),
            passages=_shown(passages(told, report), path, c),
            examples=_examples(c),
            changed=changed,
            ranks={
                each.measure.name: (each.placement.percentile, each.placement.tied >= 0.2)
                for each in c.measures
                if each.placement.percentile is not None
            },
        )


def _map(c: Comparison) -> Picture:
    """In few systems, so that it is as wide as the sheet and stays legible."""
    bars = len(c.bars)
    bars_of_system = -(-bars // -(-bars // _SYSTEM))
    width = min(max(_BESIDE + 20.0 * bars_of_system, _MAP), _WIDE_MAP)
    return register_map(
        view_of(c), prefix="map", width=width, height=_SHAPE * width, heading=False,
        compact=_SYSTEM,
    )  # fmt: skip


def _shown(chosen: Sequence[Said], path: Path, c: Comparison) -> tuple[ShownPassage, ...]:
    """The passages with their notation, or with the reason why there is none."""
    positions = {name: index for index, name in part_names(c.whole.played).items()}
    bars = [
        [
            Bars(
                path,
                *run,
                number=c.piece.number,
                parts=() if each.part is None else (positions[each.part],),
            )
            for run in segments(c.bars, *(each.show or (0, 1)))
        ]
        for each in chosen
    ]
    drawn = iter(engrave_all([passage for runs in bars for passage in runs]))
    return tuple(
        _passage(each, c, [_reason(next(drawn), path) for _ in runs])
        for each, runs in zip(chosen, bars, strict=True)
    )


def _reason(drawn: Engraved | str, path: Path) -> Engraved | str:
    """Why nothing is drawn, without the file, which the sheet is about."""
    return drawn.removeprefix(f"{path.name}: ") if isinstance(drawn, str) else drawn


def _passage(each: Said, c: Comparison, drawn: Sequence[Engraved | str]) -> ShownPassage:
    heading = bar_range(c.bars, *(each.show or (0, 1)))
    alone = f", {plain(each.part)} alone" if each.part else ""
    run = each.show or (0, 1)
    pictures = [standalone(one) for one in drawn if isinstance(one, Engraved)]
    remarks = [
        remark
        for one in drawn
        for remark in (one.remarks if isinstance(one, Engraved) else (one,))
    ]
    if not pictures:
        # The key stands under the map of the whole.
        close = register_map(
            view_of(c), prefix=f"close-{run[0]}", bars=run, width=_CLOSE, heading=False,
            keyed=False, compact=run[1] - run[0],
        )  # fmt: skip
        pictures = [close.svg]
    return ShownPassage(
        heading=f"{capital(heading)}{alone}",
        why=each.text if each.about == "passage" else "",
        pictures=tuple(pictures),
        aside=tuple(dict.fromkeys(map(capital, remarks))),
    )


def _examples(c: Comparison) -> tuple[Example, ...]:
    """The clearest passage of each topic that the piece has."""
    found: list[Example] = []
    for placed in c.events:
        event = placed.event
        if placed.part is None and event.kind in TOPICS and event.kind != "shift":
            if event.kind == "gap" and event.last - event.first < _LONG:
                continue
            words = bar_range(c.bars, event.first, event.last)
            found.append(Example(event.kind, words, event.strength))
    for shift in c.shifts:
        if shift.by != "part":
            words = shift_words(shift, c.bars)
            found.append(Example("shift", words, shift.mass))
    for each in c.stays:
        if each.part is None and each.stay.bars >= _LONG:
            topic = "narrow" if each.narrow else "wide"
            found.append(Example(topic, stay_words(each, c.bars), each.stay.bars))
    best: dict[str, Example] = {}
    for example in found:
        if example.topic not in best or best[example.topic].strength < example.strength:
            best[example.topic] = example
    return tuple(best[topic] for topic in TOPICS if topic in best)
