"""A score file to comparisons: read, analyse, find the cohorts, compare.

What reads or measures a file that a user gives may take any time and memory, or end in
any error: `measure` runs in a bounded child (`isolate`), `place` beside the reference.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from corpusreg.comparison.comparison import Comparison, Piece, compare
from corpusreg.comparison.players import Player, Reach, players
from corpusreg.instruments import Instruments, load
from corpusreg.instruments.ensembles import Ensemble, ensemble_of, kinds
from corpusreg.measures.analysis import Analysis, analyse
from corpusreg.measures.space import curve
from corpusreg.norms import written
from corpusreg.norms.alike import alike
from corpusreg.norms.cohorts import (
    Copies,
    RowSource,
    fetch_cohort,
    fetch_names,
    fetch_octaves,
    own_copies,
    parse_cohort,
    with_unusualness,
)
from corpusreg.norms.profiles.stored import profiled
from corpusreg.norms.reference import (
    BASIC,
    MINIMUM_UNITS,
    MINIMUM_WORKS,
    Cohort,
    Rung,
    Size,
    ladder,
)
from corpusreg.norms.written import Written
from corpusreg.score.duplicates import fingerprint, shingles
from corpusreg.score.notes import Score
from corpusreg.score.played import Played, perform
from corpusreg.score.readers import read_file
from corpusreg.store import Reference
from corpusreg.system.errors import ReadError, UsageError
from corpusreg.system.phrases import plural

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


__all__ = [
    "Asked", "measure", "measured", "numbers_words", "one_work", "part_names", "place",
    "place_file", "place_score", "same_number", "with_examples",
]  # fmt: skip

_SHOWN = 20  # numbers of works that a message names


@dataclass(frozen=True)
class Asked:
    """A file to be measured; as_written: its notes as they stand on the page."""

    path: Path
    as_written: bool = False


@dataclass(frozen=True)
class _MeasuredWork:
    """A work, measured: the whole, each sounding part by name, marks by which copies show."""

    score: Score
    played: Played
    whole: Analysis
    parts: dict[str, Analysis]
    ensemble: Ensemble
    marks: tuple[str | None, NDArray[np.uint64]]


@dataclass(frozen=True)
class MeasuredFile:
    """The works of a file, and its failures, one line each."""

    works: tuple[_MeasuredWork, ...]
    failures: tuple[str, ...]


def measure(asked: Asked) -> MeasuredFile:
    """Read and measure all works of a file.

    Raises ReadError where nothing in the file can be read.
    """
    result = read_file(asked.path)
    failures = [_failure(asked.path, *failed) for failed in result.failures]
    works = []
    for score in result.scores:
        try:
            works.append(_work(score, as_written=asked.as_written))
        except ReadError as error:
            failures.append(_failure(asked.path, score.number, str(error)))
    return MeasuredFile(tuple(works), tuple(failures))


def _failure(path: Path, number: str, reason: str) -> str:
    return f"{path}: no. {number}: {reason}" if number else f"{path}: {reason}"


def _work(score: Score, *, as_written: bool = False) -> _MeasuredWork:
    played = load().as_sounding(perform(score, as_written=as_written))
    parts = _part_analyses(played)
    marks = fingerprint(score), shingles(score)
    return _MeasuredWork(
        score, played, analyse(played), parts, ensemble_of(score, played), marks
    )


def place(
    reference: Reference,
    path: Path,
    file: MeasuredFile,
    cohort: str | None,
    table: Instruments | None = None,
    *,
    brief: bool = False,
) -> tuple[list[Comparison], list[str]]:
    """Comparisons of all works in a measured file, and its failures, one line each.

    cohort: a user's choice such as 'ensemble=piano', or None for the ladder.
    table: ranges of the instruments, those that come with corpusreg where None.
    brief: leave out what the first screen does not tell: profile, octaves, music alike.
    """
    chosen = parse_cohort(reference, cohort) if cohort else None
    many = len(file.works) + len(file.failures) > 1
    found = [
        _placed(reference, path, work, chosen, table or load(), many=many, brief=brief)
        for work in file.works
    ]
    return found, list(file.failures)


def place_file(
    reference: Reference,
    path: Path,
    cohort: str | None,
    as_written: bool,
    table: Instruments | None = None,
) -> tuple[list[Comparison], list[str]]:
    """`measure` and `place` in this process, for one that is bounded itself.

    Raises ReadError where nothing in the file can be read.
    """
    return place(reference, path, measure(Asked(path, as_written)), cohort, table)


def place_score(
    reference: Reference,
    path: Path,
    score: Score,
    cohort: str | None = None,
    table: Instruments | None = None,
) -> Comparison:
    """A score at hand, placed as `place_file` places a file that holds it alone."""
    chosen = parse_cohort(reference, cohort) if cohort else None
    return _placed(reference, path, _work(score), chosen, table or load(), many=False)


def measured(
    path: Path, number: str | None = None, *, or_only: bool = False
) -> tuple[str, Analysis, dict[str, Analysis]]:
    """A work of a file, measured and not placed: title, the whole, the parts by name.

    Arguments and errors are those of `one_work`.
    """
    score = one_work(path, number, or_only=or_only)
    played = load().as_sounding(perform(score))
    title = _title(score, path, many=number is not None)
    return title, analyse(played), _part_analyses(played)


def one_work(path: Path, number: str | None = None, *, or_only: bool = False) -> Score:
    """The work of a file that has the number, or its only one where `number` is None.

    or_only: take the only work of a file whatever its number. Raises ReadError where it
    cannot be read, UsageError where it is not there and for several without a number.
    """
    result = read_file(path)
    works = len(result.scores) + len(result.failures)
    if or_only and works == 1:
        number = None
    for failed in result.failures:
        if same_number(failed[0], number) or (number is None and works == 1):
            raise ReadError(_failure(path, *failed))
    found = [
        each for each in result.scores if number is None or same_number(each.number, number)
    ]
    if found and (number is not None or works == 1):
        return found[0]
    there = numbers_words([each.number for each in result.scores])
    what = "holds several works" if number is None else f"has no work {number}"
    todo = f"choose with --number: {there}" if there else "leave --number out"
    raise UsageError(f"{path} {what}; {todo}")


def same_number(one: str, other: str | None) -> bool:
    """Whether two numbers name the same work of a file: '0005' is also found by '5'."""
    return other is not None and one.lstrip("0") == other.lstrip("0")


def numbers_words(numbers: Iterable[str]) -> str:
    """The numbers of the works of a file, at most so many; '' where they have none."""
    known = [each for each in numbers if each]
    return ", ".join(known[:_SHOWN]) + (" and others" if len(known) > _SHOWN else "")


def _placed(
    reference: Reference,
    path: Path,
    work: _MeasuredWork,
    chosen: Rung | None,
    table: Instruments,
    *,
    many: bool,
    brief: bool = False,
) -> Comparison:
    kind = kinds()[work.ensemble.kind]
    copies = own_copies(reference, *work.marks)
    rungs = ladder(kind.kind, kind.works, kind.family, medium=kind.placed)
    asked = [chosen] if chosen else rungs
    parts = work.parts
    size = Size(len(work.played.bars), work.whole.texture.voices)
    cohorts: list[Cohort] = []
    for rung in asked:
        cohort = fetch_cohort(reference, rung, leave_out=copies.counted)
        cohorts.append(with_unusualness(reference, cohort))
        # Places among wider works are no part of the first screen.
        if brief and cohort.near(size, BASIC) is not None:
            break
    if chosen:
        _wide_enough(cohorts[0], chosen)
    notes = [
        *_left_out(copies),
        *(_thin(cohorts[0], size) or _one_collection(cohorts[0])),
        *_lost(work.score),
    ]
    rows = [row for row in table.match_all(work.played.parts) if row]
    # A keyboard is nowhere at its edge, which is all that the first screen tells of heights.
    told = [row for row in rows if not (brief and row.family == "keyboard")]
    known = written.fetch(reference, told, kind.kind if kind.placed else "", copies.counted)
    everyone = players(work.whole, parts, table, known)
    heard = [_with_examples(reference, each, copies.counted) for each in everyone.parts]
    everyone = replace(everyone, parts=tuple(heard))
    piece = Piece(
        title=_title(work.score, path, many=many),
        path=str(path),
        parts=tuple(parts) or ("",),
        ensemble=work.ensemble.kind,
        assumed=work.played.assumed,
        notes=tuple(notes),
        number=work.score.number,
        unread=sum(work.score.lost.values()),
    )
    compared = compare(
        piece,
        work.whole,
        parts,
        cohorts,
        written_bars=len(work.score.bars),
        players=everyone,
    )
    if brief:
        return compared
    placeable = {n: None if v.reason else v.value for n, v in work.whole.values.items()}
    weights = work.whole.texture.total
    profile = profiled(reference, rungs, copies.counted, placeable, weights)
    octaves = fetch_octaves(reference, compared.cohort, copies.counted)
    names = fetch_names(reference, compared.cohort, copies.counted)
    rung = compared.cohort.rung
    shape = curve(work.whole.texture) if rung.medium else None
    near = alike(reference, rung, shape, copies.counted)
    return replace(compared, profile=profile, octaves=octaves, names=names, alike=near)


def with_examples(
    source: RowSource, reach: Reach, known: Written, leave_out: Sequence[str]
) -> Reach:
    """A passage high or low for its player with works that lie as high or as low."""
    up = reach.side == "high"
    works = written.examples(source, known, reach.middle, up=up, leave_out=leave_out)
    return replace(reach, examples=works)


def _with_examples(source: RowSource, player: Player, leave_out: Sequence[str]) -> Player:
    lies = player.use
    if lies is None or lies.reach is None or lies.written is None:
        return player
    reach = with_examples(source, lies.reach, lies.written, leave_out)
    return replace(player, use=replace(lies, reach=reach))


def _title(score: Score, path: Path, *, many: bool) -> str:
    meta = score.metadata
    title = meta.get("title") or path.stem
    movement = meta.get("movement", "")
    if movement and movement != title:
        title = f"{title}: {movement}" if meta.get("title") else movement
    numbered = many and score.number and not movement
    return f"{title} (no. {score.number})" if numbered else title


def part_names(played: Played) -> dict[int, str]:
    """Names of the sounding parts by index, each of them its part's alone."""
    found: dict[int, str] = {}
    for index, part in enumerate(played.parts):
        if (played.notes.part == index).any():
            name = part.name or part.abbreviation or f"Part {index + 1}"
            taken = name in found.values()
            found[index] = f"{name} ({index + 1})" if taken else name
    return found


def _part_analyses(played: Played) -> dict[str, Analysis]:
    """Analyses of the sounding parts by name."""
    part = played.notes.part
    return {
        name: analyse(played.only(part == index)) for index, name in part_names(played).items()
    }


def _left_out(copies: Copies) -> list[str]:
    if not copies.titles:
        return []
    more = f" and {len(copies.titles) - 1} more" if len(copies.titles) > 1 else ""
    return [
        f"This music is in the reference, whole or in part ({copies.titles[0]}{more}); "
        "it is left out of the comparison."
    ]


def _wide_enough(cohort: Cohort, chosen: Rung) -> None:
    """Raise where a user's own cohort could place no piece at all."""
    if cohort.works < MINIMUM_WORKS or cohort.units < MINIMUM_UNITS:
        raise UsageError(
            f"--cohort: {chosen.name} has {plural(cohort.works, 'work')} by "
            f"{plural(cohort.units, 'composer')}, too few to place a piece among "
            f"them ({MINIMUM_WORKS} by {MINIMUM_UNITS}); leave --cohort out, or choose a "
            "wider one"
        )


def _thin(first: Cohort, size: Size) -> list[str]:
    """Why the piece is not placed among works of its own ensemble."""
    if first.near(size, BASIC) is not None or not first.rung.medium:
        return []
    return [
        f"To place a piece among {first.rung.title}, {MINIMUM_WORKS} of about its length by "
        f"{MINIMUM_UNITS} composers are wanted: more scores would help, open ones or your own."
    ]


def _one_collection(first: Cohort) -> list[str]:
    where = first.rung.where
    if first.collections != 1 or "period" not in where or "collection" in where:
        return []
    return [
        "All the works compared with come from one collection: the comparison shows that "
        f"collection rather than the period ({first.rung.name})."
    ]


def _lost(score: Score) -> list[str]:
    return [
        f"{plural(count, 'place')} in this file could not be read: {reason}"
        for reason, count in sorted(score.lost.items())
    ]
