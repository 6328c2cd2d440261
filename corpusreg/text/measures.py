"""Measures in words: a value, its place among other works, a sentence, a cell of a table.

A sentence says the musical fact, then how it compares: 'The register shifts 4 times in
100 bars, less often than in about 78 of 100 piano works.' A table has 'P22 (15 to 30)'.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from corpusreg.comparison.findings import NEARLY_ALL, Company, Finding, PieceFacts, Rank
from corpusreg.measures.definitions import BY_NAME
from corpusreg.system.phrases import capital, plural
from corpusreg.text.wording import (
    company_title,
    interval,
    note,
    number,
    place_words,
)

__all__ = [
    "compared", "compared_rank", "end_words", "measure_sentence", "measure_short", "rank_cell",
    "rank_range", "rank_words", "title", "value_words",
]  # fmt: skip

_TOO_FEW = "too few works like it to compare"


@dataclass(frozen=True)
class _Words:
    """fact: the value in a sentence, with {v}. more, less: before 'than in about 78 of 100'.
    much, little: in a few words. none: the fact where the value is zero."""

    fact: str
    more: str
    less: str
    much: str
    little: str
    none: str = ""


_WORDS: Mapping[str, _Words] = {
    "span": _Words(
        "It ranges from {v}", "wider", "narrower", "wide range", "narrow range"
    ),
    "core_span": _Words(
        "Most of the sound lies from {v}", "wider", "narrower",
        "wide main range", "narrow main range",
    ),
    "octaves_in_use": _Words(
        "The sound spreads over {v}", "more", "fewer",
        "spread over many octaves", "gathered in few octaves",
    ),
    "movement_beat": _Words(
        "From beat to beat the texture moves {v} on average", "more",
        "less", "active from beat to beat", "calm from beat to beat",
    ),
    "movement_bar": _Words(
        "From bar to bar the texture moves {v} on average", "more", "less",
        "active from bar to bar", "calm from bar to bar",
    ),
    "movement_phrase": _Words(
        "From phrase to phrase the texture moves {v} on average",
        "more", "less", "active from phrase to phrase", "calm from phrase to phrase",
    ),
    "travel": _Words(
        "Within the bar the texture moves {v} on average", "more",
        "less", "active within the bar", "calm within the bar",
    ),
    "shift_rate": _Words(
        "The register shifts {v}, small shifts included", "more often", "less often",
        "shifts often",
        "seldom shifts", "The register never shifts",
    ),
    "longest_dwell": _Words(
        "It stays in one register for up to {v}", "longer",
        "shorter", "long in one register", "never long in one register",
    ),
    "expected_dwell": _Words(
        "It typically stays in one register for {v}",
        "longer", "shorter", "long in one register", "never long in one register",
    ),
    "narrow_dwell": _Words(
        "It spends {v} in a narrow register", "more", "less",
        "narrow for long", "hardly ever narrow", "It never stays in a narrow register",
    ),
    "hollow_share": _Words(
        "There is a gap inside the texture {v}", "more", "less",
        "gaps inside the texture", "hardly a gap", "No gap opens inside the texture",
    ),
    "entries": _Words(
        "A silent register is entered {v}", "more often",
        "less often", "many entries after silence", "few entries after silence",
        "No register is entered after a long silence",
    ),
    "pedal_points": _Words(
        "There are pedal points {v}", "more often", "less often",
        "many pedal points", "few pedal points", "There is no pedal point",
    ),
}  # fmt: skip


def _words(name: str) -> _Words:
    known = _WORDS.get(name)
    if known is not None:
        return known
    measure = BY_NAME[name]
    return _Words(
        f"{capital(measure.title)}: {{v}}", "more", "less",
        f"much: {measure.title}", f"little: {measure.title}",
    )  # fmt: skip


def title(name: str) -> str:
    """What a measure is called in tables and headings."""
    return BY_NAME[name].title


def value_words(value: float | None, unit: str) -> str:
    """The value of a measure with its unit, for a table; '–' where it has none.

    >>> value_words(0.256, "share of bars"), value_words(1.0, "semitones")
    ('26 %', '1 semitone')
    """
    if value is None:
        return "–"
    if unit.startswith("share"):
        return f"{100 * value:.0f} %"
    digits = 0 if value == int(value) or value >= 100 else 1
    if value == 1 and unit.endswith("s"):
        unit = unit[:-1]
    return f"{value:.{digits}f} {unit}"


def _value(found: Finding, piece: PieceFacts) -> str:
    """The value inside a sentence."""
    value, unit = found.size or 0.0, found.unit
    if found.low is not None and found.high is not None:
        low, high = (note(pitch, piece.spelling) for pitch in (found.low, found.high))
        if found.shown_in:  # of the span: where its two ends sound
            at_low, at_high = map(place_words, found.shown_in)
            low, high = f"{low} ({at_low})", f"{high} ({at_high})"
        return f"{low} to {high}, {interval(value)}"
    if unit.startswith("share"):
        if value == 1:
            return "the whole time"
        share = f"{100 * value:.0f} % of the {'bars' if 'bars' in unit else 'time'}"
        return f"for {share}" if found.name == "hollow_share" else share
    if unit == "per 100 bars":
        return _times(value * piece.played_bars / 100, piece.played_bars)
    if unit == "bars":
        return f"{value:.0f} bar{'' if round(value) == 1 else 's'}"
    # Everything else is an average: '10.4 semitones', '2 semitones', '1 semitone a beat'.
    unit = unit.replace("semitones", "semitone") if f"{value:.1f}" == "1.0" else unit
    return f"{value:.1f}".removesuffix(".0") + f" {unit}"


def _times(count: float, bars: int) -> str:
    """How often something happens in a piece: 'twice in 28 bars', 'once in 40 bars'."""
    whole = round(count)
    often = {1: "once", 2: "twice"}.get(whole, f"{number(whole)} times")
    return f"{often} in {plural(bars, 'bar')}"


def rank_cell(rank: Rank | None) -> str:
    """A rank as a table shows it.

    'P22 (15 to 30)', or 'as in 70 of 100' where many works share the value.
    """
    if rank is None:
        return ""
    if rank.side == "tied":
        return f"as in {_hundreds(100 * rank.tied)} of 100"
    if rank.uncertain:
        return "uncertain"
    low, high = rank.interval
    return f"P{rank.percentile:.0f} ({low:.0f} to {high:.0f})"


def rank_words(rank: Rank) -> str:
    """A rank in words: 'more than 22 of 100 (15 to 30)', 'as in 70 of 100 works'."""
    if rank.side == "tied":
        return f"as in {_hundreds(100 * rank.tied)} of 100 works"
    if rank.uncertain:
        return _TOO_FEW
    low, high = rank.interval
    return f"more than {_hundreds(rank.percentile)} of 100 ({low:.0f} to {high:.0f})"


def rank_range(rank: Rank | None) -> str:
    """The range over collections, '' where it is not known."""
    if rank is None or rank.by_collection is None or rank.side == "tied":
        return ""
    low, high = rank.by_collection
    return f"{low:.0f} to {high:.0f}"


def compared(found: Finding, company: Company | None = None) -> str:
    """How a measure compares, '' where it has no rank: 'less than in about 78 of 100'."""
    if found.rank is None:
        return ""
    return compared_rank(
        found.name, found.rank, f" {company_title(company)}" if company else ""
    )


def compared_rank(name: str, rank: Rank, works: str = "") -> str:
    """How a measure with a rank compares; works: what follows 'than in about 78 of 100'."""
    words = _words(name)
    if rank.side == "tied":
        return f"as in about {_hundreds(100 * rank.tied)} of 100{works}"
    if rank.uncertain:
        return _TOO_FEW
    if rank.side == "middle":
        return "about as in most"
    side = words.more if rank.side == "more" else words.less
    if min(rank.percentile, 100 - rank.percentile) < NEARLY_ALL:
        return f"{side} than in nearly all{works}"
    share = rank.percentile if rank.side == "more" else 100 - rank.percentile
    return f"{side} than in about {_hundreds(share)} of 100{works}"


def measure_sentence(found: Finding, piece: PieceFacts, company: Company | None = None) -> str:
    """A measure as a sentence: the fact, then how it compares."""
    words = _words(found.name)
    if found.size is None:
        return f"{capital(title(found.name))}: {found.reason}."
    none = words.none if found.size == 0 else ""
    fact = none or words.fact.format(v=_value(found, piece))
    said = compared(found, company)
    return f"{fact}: {said}." if said else f"{fact}."


def measure_short(found: Finding) -> str:
    """A measure that is unusual, in a few words."""
    return end_words(found.name, more=bool(found.rank and found.rank.percentile > 50))


def end_words(name: str, *, more: bool) -> str:
    """What lies at one end of a measure, in a few words: 'narrow range'."""
    words = _words(name)
    return words.much if more else words.little


def _hundreds(share: float) -> int:
    return min(max(round(share), 1), 99)
