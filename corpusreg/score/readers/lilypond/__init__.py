"""Reads LilyPond sources (.ly) by LilyPond itself, in a sandbox.

A source is a program in LilyPond's language and in Scheme; only LilyPond knows what
its notes are. `sources` gathers a piece, `box` runs a program where it can do no harm,
`program` has LilyPond interpret the piece with `listener.ly`, once, and `lines`, `bars`
and `score` make a `Score` of what it heard.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from corpusreg.score.notes import Score
from corpusreg.score.readers.lilypond.lines import parse
from corpusreg.score.readers.lilypond.program import make
from corpusreg.score.readers.lilypond.score import score_of
from corpusreg.score.readers.lilypond.sources import gather
from corpusreg.score.readers.result import ReadResult
from corpusreg.system.errors import ReadError

__all__ = ["read_lilypond"]


def read_lilypond(path: Path) -> ReadResult:
    """Every \\score of a source that is printed, as works numbered from 1.

    Raises ReadError with the file's name where LilyPond is missing or may not run, finds
    an error, or prints no music (a fragment that other sources include).
    """
    sources = gather(path)
    try:
        made = make(sources)
    except ReadError as error:
        raise ReadError(f"{path}: {error}") from error
    if made.error:
        why = made.error
        if sources.refused:
            why += f"; it wants {sources.refused[0]}, which lies outside the score's folder"
        raise ReadError(f"{path}: {why}")
    printed = [heard for heard in parse(made.lines) if heard.printed]
    if not printed:
        raise ReadError(
            f"{path}: LilyPond prints no music from it by itself; give the source that "
            "includes it"
        )
    scores: list[Score] = []
    failures: list[tuple[str, str]] = []
    for number, heard in enumerate(printed, 1):
        name = str(number) if len(printed) > 1 else ""
        try:
            score = score_of(heard, name, made.bar_checks)
            scores.append(_told(score, sources.refused))
        except ReadError as error:
            failures.append((name, str(error)))
    return ReadResult(tuple(scores), tuple(failures))


def _told(score: Score, refused: tuple[str, ...]) -> Score:
    said = tuple(f"{name} lies outside the score's folder: not read" for name in refused)
    return replace(score, assumed=(*score.assumed, *said))
