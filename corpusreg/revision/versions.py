"""A piece in other registers: one version on purpose, or options toward an intention."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.examples import Example, at
from corpusreg.comparison.heights import find_bars
from corpusreg.comparison.placing import one_work, place_score
from corpusreg.instruments import Instruments, load
from corpusreg.measures.analysis import Analysis, analyse
from corpusreg.revision import contrast as ways
from corpusreg.revision.intentions import LIKE, Intention, intention
from corpusreg.revision.limits import MoveLimits
from corpusreg.revision.search import Option, goals, options
from corpusreg.revision.units import LazyAnalysis, Moved, Music, moved, music, strained
from corpusreg.score.notes import Score
from corpusreg.score.played import perform
from corpusreg.score.rewrite import Change, changed, check_target, slurs, write
from corpusreg.store import Reference, open_reference
from corpusreg.system.errors import UsageError
from corpusreg.system.isolate import bounded
from corpusreg.text.options import bars_words, option_words

__all__ = ["Contrast", "Revised", "contrast", "revise"]


@dataclass(frozen=True)
class Contrast:
    """A piece and a version of it. bars: printed, in words; moved: what moves, in order.

    notes_moved: tied notes counted once. strained: hands whose notes leave what is
    comfortable. written: the files.
    """

    title: str
    path: Path
    way: str
    bars: str
    labels: tuple[str, ...]
    moved: tuple[Moved, ...]
    notes_moved: int
    strained: tuple[str, ...]
    before: Analysis
    after: Analysis
    written: tuple[Path, ...]


@dataclass(frozen=True)
class Revision:
    """An option: its kind, printed bars, sentences, and the piece with it, placed.

    file: where it is written, None where that was not asked for.
    """

    kind: str
    bars: str
    notes_moved: int
    words: tuple[str, ...]
    comparison: Comparison
    file: Path | None = None


@dataclass(frozen=True)
class Revised:
    """Options toward an intention, the piece as it is, and the reference they use.

    model: the passage of an 'as in'.
    """

    piece: Comparison
    toward: str
    revisions: tuple[Revision, ...]
    reference_id: str
    model: Example | None = None


def contrast(
    path: Path,
    way: str = "settled",
    *,
    bars: str | None = None,
    to: Sequence[Path] = (),
    ranges: Path | None = None,
    number: str | None = None,
) -> Contrast:
    """A version of a piece in other registers; see `corpusreg.revision.contrast`.

    way: 'settled', 'narrow' or 'open'. bars: printed, as in '5-8', else all. to: files
    to write it to (.musicxml, .mid). number: which work of a file of several. Raises
    UsageError where nothing can be moved, and for works, bars or files that cannot be;
    ReadError where the piece cannot be read.
    """
    return bounded(_contrast, path, way, bars=bars, to=tuple(to), ranges=ranges, number=number)


def _contrast(
    path: Path,
    way: str,
    *,
    bars: str | None,
    to: tuple[Path, ...],
    ranges: Path | None,
    number: str | None,
) -> Contrast:
    if way not in ways.WAYS:
        raise UsageError(f"--how {way}: not known; choose {', '.join(ways.WAYS)}")
    score = one_work(path, number)
    for target in to:
        check_target(path, score.format, target)
    labels = score.bars.labels
    first, last = find_bars(labels, bars, path.name) if bars else (0, len(labels))
    music = _music(path, score, load(ranges))
    limits = MoveLimits(music, melody=True)
    page = LazyAnalysis(perform(score, as_written=True))
    change = ways.contrast(music, limits, page, way, first, last)
    where = bars_words(labels, first, last)
    if not change.octaves.any():
        raise UsageError(f"{path}: {_still(way)} ({where})")
    for target in to:
        _write(path, score, change, target, load(ranges))
    return Contrast(
        title=score.metadata.get("title") or path.stem,
        path=path,
        way=way,
        bars=where,
        labels=labels,
        moved=tuple(moved(music, change)),
        notes_moved=music.attacks(change.touched),
        strained=tuple(strained(music, change)),
        before=analyse(limits.played),
        after=analyse(perform(changed(score, change))),
        written=tuple(to),
    )


def _still(way: str) -> str:
    """Why nothing moves."""
    limits = "within the ranges, with bass and melody where they are"
    if way == "settled":
        return f"every entry keeps the register before it already, or cannot {limits}"
    which = "nearer to the middle" if way == "narrow" else "further out"
    return f"no phrase can move {which} by an octave {limits}"


def revise(
    path: Path,
    toward: str,
    *,
    to: Path | None = None,
    cohort: str | None = None,
    ranges: Path | None = None,
    number: str | None = None,
) -> Revised:
    """Options toward an intention; see `corpusreg.revision.intentions` for its words.

    to: a folder for the options, written as MusicXML (MIDI where the piece is MIDI).
    number: which work of a file of several. Raises UsageError for an intention, work, bar or
    cohort that is not there and where no change within the limits serves, ReadError where
    the piece cannot be read or written back, StoreError without a usable reference.
    """
    return bounded(_revise, path, toward, to=to, cohort=cohort, ranges=ranges, number=number)


def _revise(path: Path, toward: str, **given: Any) -> Revised:
    with open_reference() as reference:
        return _revised(reference, path, toward, **given)


def _revised(
    reference: Reference,
    path: Path,
    toward: str,
    *,
    to: Path | None,
    cohort: str | None,
    ranges: Path | None,
    number: str | None,
) -> Revised:
    wanted = intention(toward)
    score = one_work(path, number)
    suffix = ".mid" if score.format == "midi" else ".musicxml"
    if to is not None:
        check_target(path, score.format, to / f"option{suffix}")
        if wanted.kind == "give" and score.format == "midi":
            raise UsageError(
                f"{path}: a line of a MIDI file cannot be given to another part; export the "
                "piece as MusicXML, or leave --to out"
            )
    table = load(ranges)
    model = _model(reference, wanted)
    music, before, found = _options(path, score, wanted, model, table)
    revisions = []
    for place, option in enumerate(found, 1):
        file = to / f"{path.stem}-option-{place}{suffix}" if to is not None else None
        later = changed(score, option.move.change, music.chain)
        revisions.append(
            Revision(
                kind=option.move.key,
                bars=bars_words(score.bars.labels, option.move.first, option.move.last),
                notes_moved=option.notes,
                words=tuple(option_words(music, option, before)),
                comparison=place_score(reference, path, later, cohort, table),
                file=file,
            )
        )
    piece = place_score(reference, path, score, cohort, table)
    for option, revision in zip(found, revisions, strict=True):
        if revision.file is not None:
            revision.file.parent.mkdir(parents=True, exist_ok=True)
            _write(path, score, option.move.change, revision.file, table)
    return Revised(piece, toward, tuple(revisions), reference.reference_id, model)


def _model(reference: Reference, wanted: Intention) -> Example | None:
    """The passage that an intention names."""
    if wanted.kind != "as in":
        return None
    return at(reference, wanted.work, wanted.there, [wanted.like] if wanted.like else LIKE)


def _options(
    path: Path, score: Score, wanted: Intention, model: Example | None, table: Instruments
) -> tuple[Music, LazyAnalysis, list[Option]]:
    """Options that keep slurs whole; where there are none, such as divide one."""
    for divided in (False, True):
        music = _music(path, score, table, divided=divided)
        limits = MoveLimits(music, melody=False)
        before = LazyAnalysis(limits.played)
        aims = goals(wanted, music, before, path.name, model)
        found = options(music, limits, before, aims)
        if found:
            return music, before, found
    if wanted.kind == "give":
        raise UsageError(
            f"{path}: nobody else has an easier place for that line there ('{wanted.text}'); "
            "name other bars"
        )
    raise UsageError(
        f"{path}: no small change within ranges, hand spans and the harmony heard leads "
        f"to '{wanted.text}'; try another {'passage' if model else 'bar or intention'}"
    )


def _music(path: Path, score: Score, table: Instruments, *, divided: bool = False) -> Music:
    return music(score, table, slurs(path, score), divided=divided)


def _write(
    path: Path, score: Score, change: Change, target: Path, table: Instruments
) -> None:  # fmt: skip

    matched = table.match_all(score.parts)
    programs = [min(row.programs, default=None) if row else None for row in matched]
    write(path, score, change, target, programs)
