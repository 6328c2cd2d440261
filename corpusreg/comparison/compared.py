"""Pieces placed among the reference."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.drafts import Drafts, drafts
from corpusreg.comparison.examples import Example, study
from corpusreg.comparison.placing import Asked, measure, numbers_words, place, same_number
from corpusreg.corpus.files import folder
from corpusreg.corpus.registry import own_and_others
from corpusreg.instruments import Instruments, load
from corpusreg.score.readers import existing, sniff
from corpusreg.store import Reference, pointed, ships
from corpusreg.system import settings
from corpusreg.system.errors import CorpusregError, ReadError, UsageError
from corpusreg.system.isolate import Outcome, Pool, as_stopped, named

__all__ = [
    "Compared", "Depth", "compare_paths", "one_draft", "score_files", "some_readable",
    "studied",
]  # fmt: skip

# What the first screen tells, every number, or with passages to study as well.
Depth = Literal["first", "numbers", "all"]


@dataclass(frozen=True)
class Compared:
    """Comparisons of all works that could be read, and the failures, one line each.

    studied: for each comparison the passages that share its most unusual habit, and those
    that do otherwise, as `corpusreg.comparison.examples` finds them; () where not
    asked for. drafts: for each comparison what changed since its earlier draft; () without one.
    """

    comparisons: tuple[Comparison, ...]
    failures: tuple[str, ...]
    reference_id: str
    studied: tuple[tuple[list[Example], list[Example]], ...] = ()
    drafts: tuple[Drafts, ...] = ()

    def only(self, number: str) -> Compared:
        """The works of that number alone. Raises UsageError where there is none."""
        every = [c.piece.number for c in self.comparisons]
        kept = [k for k, each in enumerate(every) if same_number(each, number)]
        if not kept and self.comparisons:
            known = numbers_words(every)
            there = f"; there are {known}" if known else "; the file holds a single one"
            raise UsageError(f"no work of number {number}{there}")
        return replace(
            self,
            comparisons=tuple(self.comparisons[k] for k in kept),
            studied=tuple(self.studied[k] for k in kept if self.studied),
            drafts=tuple(self.drafts[k] for k in kept if self.drafts),
        )


def score_files(paths: Sequence[Path], problems: list[str] | None = None) -> list[Path]:
    """The files themselves, and the scores in the folders among them.

    What cannot be entered in these folders is appended to `problems`, one line each.
    Raises ReadError for a folder in which no score can be found.
    """
    files: list[Path] = []
    for path in map(existing, paths):
        # Path.is_dir raises an error inside a folder that may not be entered.
        if not os.path.isdir(path):  # noqa: PTH112
            files.append(path)
            continue
        faults: list[str] = []
        inside = [file.path for file in folder(path, "pieces", faults)]
        if not inside:
            nothing = f"{path}: no scores in this folder; give a score or another folder"
            raise ReadError(faults[0] if faults else nothing)
        files += inside
        if problems is not None:
            problems += faults
    return files


def some_readable(paths: Sequence[Path]) -> None:
    """Raise before a reference is built for nothing: where no file can even be opened."""
    files = score_files(paths)
    if ships() or pointed(settings.reference_folder()) is not None:
        return
    problems: list[CorpusregError] = []
    for file in files:
        try:
            sniff(file)
        except CorpusregError as error:
            problems.append(error)
    if len(problems) == len(files):
        raise problems[0]


def compare_paths(
    opened: Callable[[], Reference],
    paths: Sequence[Path],
    *,
    cohort: str | None = None,
    as_written: bool = False,
    ranges: Path | None = None,
    depth: Depth = "numbers",
    against: Path | None = None,
) -> Compared:
    """Place every work in some files among a reference.

    opened: gives the reference, which is open, or is opened while a child measures. ranges:
    a user's table of instruments, as `corpusreg.instruments.load` takes it.
    against: an earlier draft of the one file that is given.
    A file that cannot be read is a failure and stops nothing. Raises UsageError for a cohort
    that does not exist and where drafts cannot be paired, ReadError where the earlier draft
    cannot be read.
    """
    one_draft(paths, against)
    table = load(ranges)
    comparisons: list[Comparison] = []
    failures: list[str] = []
    asked = [Asked(path, as_written) for path in score_files(paths, failures)]
    before = [Asked(existing(against), as_written)] if against is not None else []
    # The child measures while the reference is opened here.
    with Pool(measure, 1, near=True) as pool:
        answers = pool.in_turn([*asked, *before])
        reference = opened()
        for _, answer in zip(asked, answers, strict=False):
            try:
                found, failed = _placed(reference, answer, cohort, table, depth == "first")
            except UsageError:
                raise
            except CorpusregError as error:
                failures.append(str(error))
            else:
                comparisons += found
                failures += failed
        changed: tuple[Drafts, ...] = ()
        if against is not None:
            earlier, failed = _placed(reference, next(answers), cohort, table, depth == "first")
            failures += failed
            changed = _drafts(earlier, comparisons, against, paths)
        to_study = studied(reference, comparisons) if depth == "all" else ()
        made = reference.reference_id
    return Compared(tuple(comparisons), tuple(failures), made, to_study, changed)


def _placed(
    reference: Reference, answer: Outcome, cohort: str | None, table: Instruments, brief: bool
) -> tuple[list[Comparison], list[str]]:
    """What a child measured of a file, placed. Raises CorpusregError, whatever is wrong."""
    path: Path = answer.item.path
    if answer.error is not None:
        raise named(answer.error, path)
    try:
        return place(reference, path, answer.result, cohort, table, brief=brief)
    except CorpusregError:
        raise
    except Exception as error:
        raise named(as_stopped(error), path) from error


def one_draft(paths: Sequence[Path], against: Path | None) -> None:
    """Raise UsageError, before anything is measured, where drafts are not one file each."""
    if against is None:
        return
    # Path.is_dir raises an error inside a folder that may not be entered.
    folder = next((path for path in (*paths, against) if os.path.isdir(path)), None)  # noqa: PTH112
    if len(paths) != 1 or folder is not None:
        what = f"{folder} is a folder" if folder else f"here are {len(paths)} pieces"
        raise UsageError(f"--against sets one piece beside its earlier draft; {what}")


def _drafts(
    earlier: Sequence[Comparison],
    later: Sequence[Comparison],
    against: Path,
    paths: Sequence[Path],
) -> tuple[Drafts, ...]:
    """Works paired in the order of the files; nothing where the later could not be read."""
    if later and len(earlier) != len(later):
        raise UsageError(
            f"{against} holds {len(earlier)} pieces that can be read and {paths[0]} "
            f"{len(later)}; save the one you mean by itself"
        )
    return tuple(drafts(*pair) for pair in zip(earlier, later, strict=False))


def studied(
    reference: Reference, comparisons: Sequence[Comparison]
) -> tuple[tuple[list[Example], list[Example]], ...]:
    """What to study beside each, as `compare_paths` finds it where all is asked."""
    public = own_and_others()[1]
    return tuple(study(reference, each, public) for each in comparisons)
