"""A reading in words: the first screen, the details behind it, and the table of a class.

The first screen is a heading and five lines: what the piece does first; what is unusual
among works of its medium, or its high point; where it stays and shifts most clearly; one
thing to try; with whom it was compared. No sentence of it has more than 25 words.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from corpusreg.comparison.findings import (
    APART,
    Company,
    Finding,
    Rank,
    Reading,
    Suggestion,
)
from corpusreg.system.phrases import capital, joined, plural
from corpusreg.system.plaintext import plain
from corpusreg.text.findings import (
    MOST,
    event_lines,
    section_lines,
    sentence,
    short,
    throughout,
)
from corpusreg.text.measures import (
    compared,
    measure_sentence,
    measure_short,
    rank_cell,
    rank_range,
    title,
    value_words,
)
from corpusreg.text.players import beyond_words, practical_words, singing_lines
from corpusreg.text.wording import (
    bar_words,
    note,
    number,
    place_words,
    player,
    register,
)

__all__ = [
    "CLASS_COLUMNS", "CLASS_NAMES", "MEASURE_COLUMNS", "MISFITS", "by_period", "certainty",
    "class_row", "company_sentence", "details", "event_sentence", "first_screen", "happenings",
    "heading", "length_words", "measure_rows", "suggestion_sentence", "unranked",
]  # fmt: skip


def heading(r: Reading) -> str:
    """Title, forces, length and range in one line."""
    piece = r.piece
    facts = (
        plain(piece.title), piece.ensemble, length_words(r),
        register(piece.lowest, piece.highest, piece.spelling),
    )  # fmt: skip
    return ", ".join(facts)


def length_words(r: Reading) -> str:
    """How many bars there are, and how many are heard where that differs."""
    piece = r.piece
    words = plural(piece.numbered, "bar")
    return words + (f" ({piece.heard} as played)" if piece.heard != piece.numbered else "")


def first_screen(r: Reading) -> list[str]:
    """The five lines below the heading; a line that has nothing to say is left out."""
    return [line for line in (_first(r), _second(r), _third(r), _try(r), _company(r)) if line]


def _first(r: Reading) -> str:
    return event_sentence(r.first, r) if r.first else ""


def _second(r: Reading) -> str:
    """What is unusual; else the high point, and whose part lies high or low."""
    if r.unusual:
        return " ".join(
            measure_sentence(each, r.piece, r.company)
            for each in r.unusual
            if not _is_stay(each, r)
        )
    shown = [r.high_point, *r.reaching[:1]]
    return " ".join(sentence(each, r.piece) for each in shown if each and each is not r.first)


def _third(r: Reading) -> str:
    """Where it stays, and where it shifts most clearly; not where it goes back to repeat."""
    told = r.first.bar if r.first and r.first.kind == "event" else None
    shifts = (each for each in r.of_whole("shift") if each.bar and each.bar.time == 1)
    shift = next((each for each in shifts if each.bar != told), None)
    shown = [each for each in (r.stay, shift) if each is not None and each is not r.first]
    return " ".join(event_sentence(each, r) for each in shown)


def event_sentence(found: Finding, r: Reading) -> str:
    """An event or a stay; how unusual a stay throughout is comes with it."""
    said = sentence(found, r.piece)
    kept = [each for each in r.unusual if found is r.stay and _is_stay(each, r)]
    return f"{said[:-1]}: {compared(kept[0], r.company)}." if kept else said


def _is_stay(found: Finding, r: Reading) -> bool:
    """Whether a measure says no more than that the piece keeps one register throughout."""
    dwells = ("longest_dwell", "expected_dwell")
    return found.name in dwells and r.stay is not None and throughout(r.stay, r.piece)


def _try(r: Reading) -> str:
    return suggestion_sentence(r.suggestion, r) if r.suggestion else ""


def suggestion_sentence(s: Suggestion, r: Reading) -> str:
    """One thing to try, as a question or an offer."""
    where = bar_words(s.serves.bar) if s.serves.bar else place_words(s.place)
    who = player(r.piece, s.part) if s.part and len(r.piece.parts) > 1 else ""
    tone = "" if s.note is None else note(s.note, r.piece.spelling)
    if s.kind in ("keep_above", "keep_below") and tone:
        side, way = ("above", "higher") if s.kind == "keep_above" else ("below", "lower")
        stays = f"{who} stays {way} still until then" if who else ""
        stays = stays or f"everything before it stays {way} still"
        return f"Listen: what changes at {where} if {stays}, {side} {tone}?"
    if s.kind == "keep_clear":
        return (
            f"Try: leave this register empty for {number(s.bars)} more bars and enter it "
            f"later than {where}; what does the entry gain?"
        )
    if s.kind == "hold_arrival" and tone:
        return (
            f"Try: let the line rest on {tone} for a bar when it arrives in {where}; "
            "what does the arrival gain?"
        )
    if s.kind == "hold_longer" and tone:
        return (
            f"Try: hold the {tone} for {number(s.bars)} bars beyond {where}, "
            "and let go of it later; what does its end gain?"
        )
    if s.kind == "settle_before":
        return (
            f"Try: stay in the old register for one more bar before the shift in {where}; is "
            "it clearer?"
        )
    if s.kind == "save_the_top" and tone:
        return f"Listen: what changes at {where} if nothing before it goes as high as {tone}?"
    place = s.serves.place
    whole = place is not None and place.bars == r.piece.played_bars
    if place:
        where = place_words(place)
    if s.serves.kind == "player":
        there = "" if whole else f" in {where}"
        return (
            f"Listen to {who}{there}: is the colour of its {s.serves.direction} register "
            "what you want?"
        )
    if whole:
        where = ""
    elif not where.startswith("from "):
        where = f"to {where}"
    return f"Listen {where}".rstrip() + f": {_LISTEN.get(s.serves.name, _ELSE)}"


_ELSE = "what else changes there: dynamics, rhythm, harmony?"
_LISTEN = {
    "climb": "what carries you up to its last note?",
    "descent": "where does the line breathe on its way down?",
    "wedge": "what holds the outer lines together?",
    "withheld_bass": "do you miss the bass before it comes?",
    "withheld_top": "do you wait for the high notes before they come?",
    "cleared": "do you notice that the middle was empty?",
    "entry": "what did the empty register leave room for?",
    "voice_entry": "what lets a listener notice the new voice?",
    "crossing": "which of the two is heard as the top?",
    "in_octaves": "what would one octave alone leave open?",
    "dialogue": "which register has the last word, and why?",
    "octave_return": "what is new in it besides the octave?",
    "gap": "what does the empty space let through?",
    "pedal_point": "what moves against what is held?",
    "isolated": "does anything answer it?",
    "high_point": "what else leads up to the high point?",
    "stay": "what keeps the music alive while the register stays?",
}


# Why works do not fit a piece; see `corpusreg.norms.cohorts.misfit`.
MISFITS = {
    "medium": "these works are for other players than the piece",
    "mixed": "these works are for all kinds of players",
    "texture": "the piece and these works differ in texture: one line, or several voices",
    "few": "too few of these works are about as long as the piece to place it",
    "broad": "works for other players too, since the reference holds few like the piece",
}
_UNFIT = ("medium", "mixed", "texture")  # so that a place among them says little


def company_sentence(company: Company) -> str:
    """With how many works of which kind, by how many composers, and whether they fit."""
    if not company.placed:
        return f"Not placed among other works: {_reason(company)}."
    people = [plural(company.composers, "composer")] if company.composers else []
    if company.sources:
        people.append(plural(company.sources, "source") + " of anonymous music")
    by = f" by {joined(people)}" if people else ""
    what = company.title
    wider = " (its wider family)" if company.family else ""
    words = f"Compared with {company.works:,} {what}{wider}{by}"
    if company.misfit in _UNFIT:
        words += f"; but {MISFITS[company.misfit]}, so a rank among them says little about it"
    return f"{words}."


def _reason(company: Company) -> str:
    if not company.medium:
        return "the score does not say what plays its parts; name them to have it placed"
    if not company.works:
        return f"the reference has no {company.title}"
    held = f"{company.works:,} {company.title} by {plural(company.composers, 'composer')}"
    return f"the reference has {held}, too few of about this length"


def _company(r: Reading) -> str:
    words = company_sentence(r.company)
    fits = r.company.misfit not in _UNFIT
    if r.company.placed and not r.unusual and r.unusual_known and fits:
        return f"{words[:-1]}; nothing unusual among them."
    return words


# The columns of a table of several pieces, as headings and as names.
CLASS_COLUMNS = ("piece", "medium", "what it does first", "bars", "what is unusual")


CLASS_NAMES = ("piece", "medium", "does_first", "bars", "unusual")


def class_row(r: Reading) -> tuple[str, str, str, int, str]:
    """One piece of several in the columns of CLASS_COLUMNS."""
    if r.unusual:
        unusual = joined([measure_short(each) for each in r.unusual])
    else:
        unusual = "nothing" if r.unusual_known else "no rank"
    return (
        plain(r.piece.title),
        r.piece.ensemble,
        short(r.first, r.piece) if r.first else "",
        r.piece.numbered,
        unusual,
    )


MEASURE_COLUMNS = ("measure", "value", "rank", "by collection")


def measure_rows(r: Reading) -> list[tuple[str, ...]]:
    """All measures in the columns of MEASURE_COLUMNS."""
    return [
        (
            title(each.name),
            value_words(each.size, each.unit),
            rank_cell(each.rank),
            rank_range(each.rank),
        )
        for each in r.measures
    ]


def by_period(r: Reading) -> list[tuple[Finding, Rank]]:
    """The range and what is unusual, where they are placed among works of several periods."""
    unusual = {each.name for each in r.unusual}
    return [
        (each, each.rank)
        for each in r.headlines()
        if each.name == "span" or each.name in unusual
        if each.rank and len(each.rank.periods) > 1 and each.rank.side != "tied"
    ]


@dataclass(frozen=True)
class Section:
    """A heading with lines below it."""

    heading: str
    lines: tuple[str, ...]


def happenings(r: Reading) -> list[tuple[str, Finding | None]]:
    """The events as lines, in the order in which they are heard."""
    return event_lines(r.of_whole(), r.piece)


def details(r: Reading) -> list[Section]:
    """What stands behind the first screen, section by section; empty ones are left out."""
    stays = r.long_stays()[:MOST]
    found = [
        Section("What happens", tuple(line for line, _ in happenings(r))),
        Section("Section by section", tuple(section_lines(r.sections, r.piece))),
        Section("Where it stays", tuple(sentence(each, r.piece) for each in stays)),
        Section("In other company", tuple(_others(r))),
        Section(
            "Worth knowing",
            (
                *(practical_words(each, r.piece) for each in r.practical),
                *singing_lines(r.singing, r.piece),
                *(beyond_words(each, r.piece) for each in r.beyond),
                *map(plain, r.piece.notes),
            ),
        ),
        Section(
            "Taken for granted", tuple(capital(plain(text)) + "." for text in r.piece.assumed)
        ),
    ]
    return [each for each in found if each.lines]


def certainty(r: Reading) -> list[str]:
    """What the ranks depend on: collections, and where the barlines stand."""
    ranks = [each for each in r.headlines() if each.rank]
    if not ranks:
        return []
    vague = [title(each.name) for each in r.measures if each.rank and each.name in r.vague]
    unsure = [f"In music for these forces the two halves of a work often differ in "
              f"{joined(vague)}: a rank there says little about the whole."
              ] if vague else []  # fmt: skip
    return [*_by_collection(ranks), *_by_barline(ranks), *unsure]


def _by_collection(ranks: list[Finding]) -> Iterator[str]:
    if not any(each.rank and each.rank.by_collection for each in ranks):
        yield (
            "The intervals hold among these works. Nearly all of them come from one "
            "collection, so how much a rank depends on that choice cannot be said."
        )
        return
    yield (
        "By collection: the lowest and the highest rank among the works of a single "
        "collection. An interval holds among all these works together and says nothing of "
        "other music."
    )
    said = [
        f"{title(each.name)} P{each.rank.elsewhere[0]:.0f} to P{each.rank.elsewhere[1]:.0f}"
        for each in ranks
        if each.rank and each.rank.elsewhere and each.rank.side != "tied"
    ]
    if said:
        yield f"Among the works of another collection, 9 times in 10: {joined(said)}."


def _by_barline(ranks: list[Finding]) -> Iterator[str]:
    moved = [
        f"{title(each.name)} P{each.rank.barred:.0f} instead of P{each.rank.percentile:.0f}"
        for each in ranks
        if each.rank
        and each.rank.barred is not None
        and abs(each.rank.barred - each.rank.percentile) >= APART
    ]
    bars = {each.rank.other_bars for each in ranks if each.rank and each.rank.other_bars}
    if moved:
        long = "twice" if "double" in bars else "half"
        yield (
            f"Written in bars {long} as long, as its metre often is, it would have "
            f"{joined(moved)}."
        )


def unranked(r: Reading) -> list[str]:
    """Why some measures have no rank, or no value where none has a rank: a line a reason."""
    placed = r.company.placed
    said: dict[str, list[str]] = {}
    for each in r.measures:
        if each.rank is None and (placed or each.size is None):
            said.setdefault(each.reason, []).append(title(each.name))
    lacking = "rank" if placed else "value"
    return [f"No {lacking} for {joined(names)}: {reason}." for reason, names in said.items()]


def _others(r: Reading) -> list[str]:
    said: dict[str, list[str]] = {}
    for group, name, percentile in r.company.others:
        said.setdefault(group, []).append(f"{title(name)} P{percentile:.0f}")
    return [f"Among {group}: {joined(texts)}." for group, texts in said.items()]
