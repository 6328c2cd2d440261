"""One file of the class: read, placed, drawn and told, as plain data.

This runs in a worker process; what comes back holds words, numbers and finished
pictures, nothing that is measured again.

Files of one folder are drafts of one piece where their names differ only in a
number after the word 'draft', 'version' or 'v', or in a date, at the end of the name:

    stairs draft 1.musicxml, stairs draft 2.mxl       numbers, in any formats
    stairs_v1.mid, stairs_v2.mid                      the same
    stairs 2026-03-01.mxl, stairs 2026-04-15.mxl      dates (year, month, day)

A bare number is none, since it may be that of a movement or of another piece. The roster's
column `earlier` names the draft before, whatever the files are called, and goes before the
rule. The last draft has a sheet, and is set beside the one before it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

from corpusreg.comparison.class_piece import ClassPiece, Correction, Sentence
from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.drafts import drafts
from corpusreg.comparison.placing import part_names, place_file
from corpusreg.documents.engraving import Engraved, engrave_all, standalone
from corpusreg.documents.engraving import NotatedPassage as Bars
from corpusreg.documents.handout.roster import Roster
from corpusreg.documents.pictures.register_map import register_map
from corpusreg.documents.pictures.view import view_of
from corpusreg.score.played import segments
from corpusreg.store import Reference, kept_reference
from corpusreg.system.errors import CorpusregError, DataError
from corpusreg.system.phrases import capital
from corpusreg.system.plaintext import plain
from corpusreg.text.classroom import class_piece, corrected, draft_of, passages, sheet_sentences
from corpusreg.text.drafts import in_short
from corpusreg.text.wording import bar_range

__all__ = [
    "DrawnPiece", "PlaceOne", "PlacedFile", "ShownPassage", "chain", "drawn", "earlier_drafts",
    "place_class_file",
]  # fmt: skip

# Pixels: the least and greatest width of a map, the room beside its bars, and a close-up.
_MAP, _WIDE_MAP, _BESIDE, _CLOSE = 650.0, 900.0, 70.0, 320.0
_SHAPE = 0.55  # height of a map to its width: it fills the line and half a sheet
_SYSTEM = 60  # bars that still are told apart


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
class DrawnPiece:
    """What a sheet shows of one work beside its words. map: SVG, and map_alt the same in
    words; sentences: its sentences."""

    map: str
    map_alt: str
    sentences: tuple[Sentence, ...]
    passages: tuple[ShownPassage, ...]


@dataclass(frozen=True)
class PlacedFile:
    """The works of a file, as they were found; drawn: a sheet of each, () where none is
    wanted; failures: one line for each that cannot be read."""

    pieces: tuple[ClassPiece, ...]
    failures: tuple[str, ...]
    reference_id: str
    drawn: tuple[DrawnPiece, ...] = ()


@dataclass(frozen=True)
class PlaceOne:
    """The call made in a worker: a file relative to `folder` -> its works.

    chosen: the measures of the sheets, None where none are drawn. cohort: as
    `placing.place_file` takes it; cohorts: the same for some files. earlier: later drafts,
    each with the file of the draft before. corrections: the teacher's, which the sheets
    follow.
    """

    folder: Path
    chosen: tuple[str, ...] | None = None
    cohort: str | None = None
    cohorts: tuple[tuple[str, str], ...] = ()
    earlier: tuple[tuple[str, str], ...] = ()
    corrections: tuple[Correction, ...] = ()

    def __call__(self, file: str) -> PlacedFile:
        """The works of a file. Raises CorpusregError where none can be read."""
        cohort = dict(self.cohorts).get(file, self.cohort)
        reference = kept_reference()
        before = chain(file, dict(self.earlier))
        found, pieces, failures = place_class_file(reference, self.folder, file, before, cohort)
        shown: tuple[DrawnPiece, ...] = ()
        if self.chosen is not None:
            shown = drawn(found, pieces, self.corrections, self.chosen, self.folder / file)
        return PlacedFile(tuple(pieces), tuple(failures), reference.reference_id, shown)


def place_class_file(
    reference: Reference,
    folder: Path,
    file: str,
    before: Sequence[str],
    cohort: str | None,
) -> tuple[list[Comparison], list[ClassPiece], list[str]]:
    """The works of a file as a class keeps them, with their comparisons and failures.

    before: files of earlier drafts, the oldest first. For a process that is bounded itself.
    Raises CorpusregError where nothing in `file` can be read.
    """
    found, failures = place_file(reference, folder / file, cohort, as_written=False)
    earlier: list[list[Comparison]] = []
    for name in before:
        # The earlier file may bear a name that stays out: it is not mentioned.
        fault = f"{folder / file}: an earlier draft of it cannot be set beside it"
        try:
            works, _ = place_file(reference, folder / name, cohort, as_written=False)
        except CorpusregError as error:
            failures.append(f"{fault}: {str(error).replace(str(folder / name), 'it')}")
            continue
        if len(works) != len(found):
            failures.append(f"{fault}: they hold {len(works)} and {len(found)} pieces")
        else:
            earlier.append(works)
    pieces = []
    for n, c in enumerate(found):
        changed = in_short(drafts(earlier[-1][n], c)) if earlier else ""
        pieces.append(class_piece(c, file, changed, [draft_of(works[n]) for works in earlier]))
    return found, pieces, failures


def drawn(
    found: Sequence[Comparison],
    pieces: Sequence[ClassPiece],
    corrections: Sequence[Correction],
    chosen: Sequence[str],
    path: Path,
) -> tuple[DrawnPiece, ...]:
    """What the sheets show of the works of a file.

    pieces: as they were found, one for each comparison. chosen: names of measures. path: of
    the score, from which passages are engraved.
    """
    return tuple(
        _drawn(c, piece, corrected(piece, corrections), chosen, path)
        for c, piece in zip(found, pieces, strict=True)
    )


def _drawn(
    c: Comparison, found: ClassPiece, own: ClassPiece, chosen: Sequence[str], path: Path
) -> DrawnPiece:
    # The title stands on the sheet, where names may have to stay out.
    c = replace(c, piece=replace(c.piece, title=""))
    sentences = sheet_sentences(own, chosen)
    left = {(each.device, each.run) for each in own.happenings if not each.own}
    struck = {(h.device, h.run) for h in found.happenings} - left
    c = _without(c, {run for _, run in struck})
    alt = f"Register map: time from left to right, pitch upwards, {own.length}."
    shown = passages(sentences, own)
    said = {each.said for each in sentences}
    return DrawnPiece(_map(c), alt, sentences, _shown(shown, said, path, c))


def _without(c: Comparison, runs: set[tuple[int, int]]) -> Comparison:
    """The piece without the events that its teacher has struck, for the map."""
    kept = tuple(each for each in c.whole.events if (each.first, each.last) not in runs)
    return replace(c, whole=replace(c.whole, events=kept)) if runs else c


def _map(c: Comparison) -> str:
    """In few systems, so that it is as wide as the sheet and stays legible."""
    bars = len(c.bars)
    bars_of_system = -(-bars // -(-bars // _SYSTEM))
    width = min(max(_BESIDE + 20.0 * bars_of_system, _MAP), _WIDE_MAP)
    return register_map(
        view_of(c), prefix="map", width=width, height=_SHAPE * width, heading=False,
        compact=_SYSTEM,
    ).svg  # fmt: skip


def _shown(
    chosen: Sequence[Sentence], said: set[str], path: Path, c: Comparison
) -> tuple[ShownPassage, ...]:
    """The passages with their notation, or with the reason why there is none."""
    positions = {name: index for index, name in part_names(c.whole.played).items()}
    bars = [
        [
            Bars(
                path,
                *run,
                number=c.piece.number,
                parts=() if each.part not in positions else (positions[each.part],),
            )
            for run in segments(c.bars, *(each.shown or (0, 1)))
        ]
        for each in chosen
    ]
    engraved = iter(engrave_all([passage for runs in bars for passage in runs]))
    found: list[ShownPassage] = []
    for each, runs in zip(chosen, bars, strict=True):
        one = _passage(each, said, c, [_reason(next(engraved), path) for _ in runs])
        known = {remark for other in found for remark in other.aside}
        aside = tuple(remark for remark in one.aside if remark not in known)
        found.append(replace(one, aside=aside))
    return tuple(found)


def _reason(found: Engraved | str, path: Path) -> Engraved | str:
    """Why nothing is drawn, without the file, which the sheet is about."""
    return found.removeprefix(f"{path.name}: ") if isinstance(found, str) else found


def _passage(
    each: Sentence, said: set[str], c: Comparison, engraved: Sequence[Engraved | str]
) -> ShownPassage:
    run = each.shown or (0, 1)
    alone = f", {plain(each.part)} only" if each.part else ""
    pictures = [standalone(one) for one in engraved if isinstance(one, Engraved)]
    remarks = [
        remark
        for one in engraved
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
        heading=f"{capital(bar_range(c.bars, *run))}{alone}",
        why="" if each.said in said else each.said,
        pictures=tuple(pictures),
        aside=tuple(dict.fromkeys(map(capital, remarks))),
    )


_MARK = re.compile(
    r"(?P<piece>.+?)[\s_.-]+(?:(?:draft|version|v)[\s_.-]*(?P<number>\d{1,4})"
    r"|(?P<date>\d{4}-\d{2}-\d{2}))",
    re.IGNORECASE,
)


def earlier_drafts(files: Sequence[str], roster: Roster) -> dict[str, str]:
    """For each file that is a later draft, the file of the draft before.

    files: relative to the class folder, with '/'. Raises DataError where the roster names
    as earlier a file that is not there, or drafts that go round in a circle.
    """
    drafts: dict[tuple[str, bool], list[tuple[str, str]]] = {}
    for file in files:
        folder, _, name = file.rpartition("/")
        found = _MARK.fullmatch(name.rpartition(".")[0])
        if found:
            piece = f"{folder}/{found['piece']}".casefold()
            order = found["date"] or found["number"].zfill(4)
            drafts.setdefault((piece, found["date"] is None), []).append((order, file))
    before = {
        later: earlier
        for several in drafts.values()
        for (one, earlier), (other, later) in pairwise(sorted(several))
        if one != other
    }
    before |= _of_roster(files, roster)
    for file in before:
        seen = {file}
        while (file := before.get(file, "")) and file not in seen:
            seen.add(file)
        if file:
            raise DataError(
                f"the roster makes '{file}' its own earlier draft; correct it there"
            )
    return before


def chain(file: str, before: Mapping[str, str]) -> list[str]:
    """All drafts before a file, the oldest first. before: as `earlier_drafts` gives it."""
    found: list[str] = []
    while file in before:
        file = before[file]
        found.insert(0, file)
    return found


def _of_roster(files: Sequence[str], roster: Roster) -> dict[str, str]:
    known = {file.rpartition("/")[2].casefold(): file for file in files}
    known |= {file.casefold(): file for file in files}
    found = {}
    for file in files:
        row = roster.row(file)
        if row and row.earlier:
            if row.earlier.casefold() not in known:
                raise DataError(
                    f"the roster names '{row.earlier}' as the draft before '{row.file}', and "
                    "it is not in the folder"
                )
            found[file] = known[row.earlier.casefold()]
    return found
