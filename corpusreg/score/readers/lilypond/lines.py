"""The lines of `listener.ly` as data, one `Heard` for each \\score.

Conventions: moments and lengths are `Fraction`s of a whole note. A score is a program
that can write lines too: what does not have exactly the form of the listener's is an
error, and no error repeats what was written.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from corpusreg.system.errors import ReadError

__all__ = ["ScoreReport", "Step", "parse"]

PRINTED = "layout"


@dataclass
class Context:
    """A LilyPond context; names are those in force when its first note sounds."""

    parent: int
    kind: str
    given: str = ""
    name: str = ""
    short: str = ""
    program: int | None = None


@dataclass(frozen=True)
class Head:
    """A note head with a pitch; `semitones` above middle C, sounding."""

    moment: Fraction
    grace: bool
    length: Fraction
    semitones: Fraction
    context: int


@dataclass(frozen=True)
class Step:
    """A moment at which something happens: where in which bar, in which metre."""

    moment: Fraction
    position: Fraction
    number: str
    length: Fraction
    metre: str


@dataclass
class ScoreReport:
    """What the listener heard of one \\score."""

    header: dict[str, str]
    printed: bool
    contexts: dict[int, Context] = field(default_factory=dict)
    heads: list[Head] = field(default_factory=list)
    steps: list[Step] = field(default_factory=list)
    ties: list[tuple[int, int]] = field(default_factory=list)
    signs: dict[Fraction, set[str]] = field(default_factory=lambda: defaultdict(set))
    endings: list[tuple[Fraction, bool, tuple[int, ...]]] = field(default_factory=list)
    again: dict[Fraction, int] = field(default_factory=dict)
    tempos: dict[Fraction, Fraction] = field(default_factory=dict)  # quarters a minute
    words: list[tuple[Fraction, str, str]] = field(default_factory=list)
    dots: set[tuple[Fraction, int]] = field(default_factory=set)
    dynamics: list[tuple[Fraction, int, str]] = field(default_factory=list)
    hairpins: dict[int, tuple[Fraction, int, str]] = field(default_factory=dict)
    hairpin_ends: dict[int, Fraction] = field(default_factory=dict)
    pedals: list[tuple[Fraction, int, bool]] = field(default_factory=list)
    syllables: dict[int, int] = field(default_factory=lambda: defaultdict(int))
    unpitched: int = 0

    def above(self, context: int) -> Iterator[int]:
        """A context and those it lies in, from the inside."""
        while context in self.contexts:
            yield context
            context = self.contexts[context].parent


def parse(lines: str) -> list[ScoreReport]:
    """Everything the listener wrote; raises ReadError for lines it does not write."""
    found: list[ScoreReport] = []
    open_score = False
    number = 0
    try:
        for line in lines.split("\n"):
            number += 1
            kind, *fields = line.split("\t")
            if kind == "score" and not open_score:
                found.append(_begun(fields))
                open_score = True
            elif kind == "end" and not fields and open_score:
                open_score = False
            elif kind in _LINES and open_score:
                form, take = _LINES[kind]
                if len(fields) != len(form):
                    raise _OtherFormError
                values = [read(text) for read, text in zip(form, fields, strict=True)]
                take(found[-1], *values)
            elif line:
                raise _OtherFormError
        if open_score:
            raise _OtherFormError
    except (_OtherFormError, KeyError) as error:
        raise ReadError(
            f"LilyPond's account of it cannot be read (line {number}); "
            "leave out what the source writes to the standard output"
        ) from error
    return found


class _OtherFormError(Exception):
    """A line or field does not have the form it should have."""


def _begun(fields: list[str]) -> ScoreReport:
    if not fields or len(fields) > _MOST_FIELDS or fields[-1] not in (PRINTED, "midi"):
        raise _OtherFormError
    pairs = [_text(text).partition("=") for text in fields[:-1]]
    # The innermost header comes first, and counts.
    header = {name: text.strip() for name, _, text in reversed(pairs) if text.strip()}
    return ScoreReport(header, fields[-1] == PRINTED)


def _whole(text: str) -> int:
    if not _WHOLE.fullmatch(text):
        raise _OtherFormError
    return int(text)


def _fraction(text: str) -> Fraction:
    # Checked first: an exponent of some digits would fill the memory.
    if not _NUMBER.fullmatch(text):
        raise _OtherFormError
    try:
        return Fraction(text)
    except ZeroDivisionError as error:
        raise _OtherFormError from error


def _text(text: str) -> str:
    if len(text) > _MOST_LETTERS:
        raise _OtherFormError
    return text


def _maybe(read: Callable[[str], Any]) -> Callable[[str], Any]:
    """A field that may be empty, then None."""
    return lambda text: read(text) if text else None


def _numbers(text: str) -> tuple[int, ...]:
    return tuple(_whole(each) for each in text.split())


def _flag(text: str) -> bool:
    if text not in ("0", "1"):
        raise _OtherFormError
    return text == "1"


def _sign(text: str) -> bool:
    """True for 1, False for -1."""
    if text not in ("1", "-1"):
        raise _OtherFormError
    return text == "1"


def _metre(text: str) -> str:
    if not _METRE.fullmatch(text):
        raise _OtherFormError
    return text


def _context(heard: ScoreReport, number: int, parent: int, kind: str, given: str) -> None:
    # Contexts are told from the outside in, so that none can lie in itself.
    if number != len(heard.contexts) or not -1 <= parent < number:
        raise _OtherFormError
    heard.contexts[number] = Context(parent, kind, given)


def _name(
    heard: ScoreReport,
    number: int,
    moment: Fraction,
    name: str,
    short: str,
    program: int | None,
) -> None:
    context = heard.contexts[number]
    context.name = context.name or " ".join(name.split())
    context.short = context.short or " ".join(short.split())
    if context.program is None:
        context.program = program


def _note(
    heard: ScoreReport,
    number: int,
    moment: Fraction,
    grace: bool,
    length: Fraction,
    semitones: Fraction,
    context: int,
) -> None:
    if number != len(heard.heads) or length < 0 or context not in heard.contexts:
        raise _OtherFormError
    heard.heads.append(Head(moment, grace, length, semitones, context))


def _step(
    heard: ScoreReport,
    moment: Fraction,
    position: Fraction,
    number: int,
    length: Fraction,
    metre: str,
) -> None:
    heard.steps.append(Step(moment, position, str(number), length, metre))


def _tempo(heard: ScoreReport, moment: Fraction, count: Fraction, unit: Fraction) -> None:
    if count * unit > 0:
        heard.tempos.setdefault(moment, count * unit * 4)


def _again(heard: ScoreReport, moment: Fraction, count: int | None) -> None:
    if count is not None:
        heard.again[moment] = count


def _unpitched(heard: ScoreReport, context: int) -> None:
    heard.unpitched += 1


def _syllable(heard: ScoreReport, context: int) -> None:
    heard.syllables[context] += 1


def _tie(heard: ScoreReport, left: int, right: int) -> None:
    if not (0 <= left < len(heard.heads) and 0 <= right < len(heard.heads)):
        raise _OtherFormError
    heard.ties.append((left, right))


def _ending(heard: ScoreReport, moment: Fraction, ends: bool, passes: tuple[int, ...]) -> None:
    heard.endings.append((moment, not ends, passes))


def _hairpin(
    heard: ScoreReport, moment: Fraction, context: int, number: int, kind: str
) -> None:
    if kind not in ("cresc", "dim"):
        raise _OtherFormError
    heard.hairpins[number] = (moment, context, kind)


def _hairpin_end(heard: ScoreReport, moment: Fraction, number: int) -> None:
    heard.hairpin_ends[number] = moment


_MOST_LETTERS = 10_000  # of one text
_MOST_FIELDS = 500  # of a header
_WHOLE = re.compile(r"-?\d{1,15}", re.ASCII)
_NUMBER = re.compile(r"-?\d{1,40}(/\d{1,40}|\.\d{1,40})?", re.ASCII)
_METRE = re.compile(r"(\d{1,9}/\d{1,9})?", re.ASCII)
# What each kind of line holds, and what becomes of it.
_LINES: dict[str, tuple[tuple[Callable[[str], Any], ...], Callable[..., None]]] = {
    "context": ((_whole, _whole, _text, _text), _context),
    "name": ((_whole, _fraction, _text, _text, _maybe(_whole)), _name),
    "note": ((_whole, _fraction, _flag, _fraction, _fraction, _whole), _note),
    "other": ((_whole,), _unpitched),
    "tie": ((_whole, _whole), _tie),
    "syllable": ((_whole,), _syllable),
    "step": ((_fraction, _fraction, _whole, _fraction, _metre), _step),
    "bar": ((_fraction, _text), lambda heard, at, sign: heard.signs[at].add(sign)),
    "ending": ((_fraction, _sign, _numbers), _ending),
    "again": ((_fraction, _maybe(_whole)), _again),
    "tempo": ((_fraction, _fraction, _fraction), _tempo),
    "word": ((_fraction, _text, _text), lambda heard, *word: heard.words.append(word)),
    "dot": ((_fraction, _whole), lambda heard, *dot: heard.dots.add(dot)),
    "dynamic": ((_fraction, _whole, _text), lambda heard, *sign: heard.dynamics.append(sign)),
    "hairpin": ((_fraction, _whole, _whole, _text), _hairpin),
    "hairpin-end": ((_fraction, _whole), _hairpin_end),
    "pedal": ((_fraction, _whole, _sign), lambda heard, *pedal: heard.pedals.append(pedal)),
}
