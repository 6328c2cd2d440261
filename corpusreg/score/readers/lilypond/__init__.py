"""Reads LilyPond sources (.ly) by LilyPond itself, in a sandbox.

A source is a program in LilyPond's language and in Scheme; only LilyPond knows what
its notes are. `sources` gathers a piece, `box` runs a program where it can do no harm,
`program` has LilyPond interpret the piece with `listener.ly`, once; where LilyPond refuses
it, once more in words that it still knows, with a second reader (`mending`). `lines`, `bars`
and `score` make a `Score` of what it heard.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from corpusreg.score.notes import ReadResult, Score
from corpusreg.score.readers.lilypond.lines import parse
from corpusreg.score.readers.lilypond.program import make
from corpusreg.score.readers.lilypond.score import score_of
from corpusreg.score.readers.lilypond.sources import gather
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
        where = f" ({made.where})" if made.where else ""
        if sources.refused:
            where += f"; it wants {sources.refused[0]}, which lies outside the score's folder"
        raise ReadError(f"{path}: {made.error}{where}", reason=made.error)
    try:
        printed = [heard for heard in parse(made.lines) if heard.printed]
    except ReadError as error:
        raise ReadError(f"{path}: {error}", reason=str(error)) from error
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
            scores.append(_refusal(score, sources.refused, made.spared))
        except ReadError as error:
            failures.append((name, str(error)))
    return ReadResult(tuple(scores), tuple(failures))


def _refusal(score: Score, refused: tuple[str, ...], spared: str) -> Score:
    said = [f"{name} lies outside the score's folder: not read" for name in refused]
    if spared:
        said.append(spared)
    return replace(score, assumed=(*score.assumed, *said))
