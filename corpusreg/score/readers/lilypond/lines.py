"""The lines of `listener.ly` as data, one `Heard` for each \\score.

Conventions: moments and lengths are `Fraction`s of a whole note.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction

__all__ = ["Context", "Head", "Heard", "Step", "parse"]

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
class Heard:
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


def parse(lines: str) -> list[Heard]:
    """Everything the listener wrote; raises ValueError for lines it does not write."""
    found: list[Heard] = []
    for line in lines.splitlines():
        kind, *fields = line.split("\t")
        if kind == "score":
            pairs = [text.partition("=") for text in fields[:-1]]
            # The innermost header comes first, and counts.
            header = {name: text.strip() for name, _, text in reversed(pairs) if text.strip()}
            found.append(Heard(header, fields[-1] == PRINTED))
        elif kind in ("context", "name"):
            _take_context(found[-1], kind, fields)
        elif kind in _TIMED:
            _TIMED[kind](found[-1], Fraction(fields[0]), fields[1:])
        elif kind in _PLAIN:
            _PLAIN[kind](found[-1], fields)
        elif kind != "end":
            raise ValueError(f"unknown line {line[:60]!r}")
    return found


def _take_context(heard: Heard, kind: str, fields: list[str]) -> None:
    number = int(fields[0])
    if kind == "context":
        heard.contexts[number] = Context(int(fields[1]), fields[2], fields[3])
        return
    context = heard.contexts[number]
    _, name, short, program = fields[1:]
    context.name = context.name or " ".join(name.split())
    context.short = context.short or " ".join(short.split())
    if context.program is None and program:
        context.program = int(program)


def _note(heard: Heard, fields: list[str]) -> None:
    _, moment, grace, length, semitones, context = fields
    heard.heads.append(
        Head(
            Fraction(moment), grace == "1", Fraction(length), Fraction(semitones), int(context)
        )
    )


def _step(heard: Heard, moment: Fraction, fields: list[str]) -> None:
    position, number, length, metre = fields
    heard.steps.append(Step(moment, Fraction(position), number, Fraction(length), metre))


def _ending(heard: Heard, moment: Fraction, fields: list[str]) -> None:
    passes = tuple(int(text) for text in fields[1].split())
    heard.endings.append((moment, fields[0] == "-1", passes))


def _again(heard: Heard, moment: Fraction, fields: list[str]) -> None:
    if fields[0]:
        heard.again[moment] = int(fields[0])


def _tempo(heard: Heard, moment: Fraction, fields: list[str]) -> None:
    quarters = Fraction(fields[0]) * Fraction(fields[1]) * 4
    if quarters > 0:
        heard.tempos.setdefault(moment, quarters)


def _unpitched(heard: Heard, fields: list[str]) -> None:
    heard.unpitched += 1


def _hairpin(heard: Heard, moment: Fraction, fields: list[str]) -> None:
    heard.hairpins[int(fields[1])] = (moment, int(fields[0]), fields[2])


def _hairpin_end(heard: Heard, moment: Fraction, fields: list[str]) -> None:
    heard.hairpin_ends[int(fields[0])] = moment


def _pedal(heard: Heard, moment: Fraction, fields: list[str]) -> None:
    heard.pedals.append((moment, int(fields[0]), fields[1] == "1"))


def _syllable(heard: Heard, fields: list[str]) -> None:
    heard.syllables[int(fields[0])] += 1


_TIMED = {
    "step": _step,
    "bar": lambda heard, moment, fields: heard.signs[moment].add(fields[0]),
    "ending": _ending,
    "again": _again,
    "tempo": _tempo,
    "word": lambda heard, moment, fields: heard.words.append((moment, *fields)),
    "dot": lambda heard, moment, fields: heard.dots.add((moment, int(fields[0]))),
    "dynamic": lambda heard, moment, fields: heard.dynamics.append(
        (moment, int(fields[0]), fields[1])
    ),
    "hairpin": _hairpin,
    "hairpin-end": _hairpin_end,
    "pedal": _pedal,
}
_PLAIN = {
    "note": _note,
    "other": _unpitched,
    "tie": lambda heard, fields: heard.ties.append((int(fields[0]), int(fields[1]))),
    "syllable": _syllable,
}
