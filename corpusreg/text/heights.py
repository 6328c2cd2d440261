"""A passage on many instruments as text for a terminal and as JSON."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from corpusreg.comparison.heights import Far, OnInstrument, Passage, Strings
from corpusreg.instruments import Instrument
from corpusreg.instruments.ensembles import kinds
from corpusreg.instruments.limits import open_strings, passaggio
from corpusreg.score.pitch import USUAL, note_name
from corpusreg.system.phrases import joined, plural
from corpusreg.system.plaintext import plain
from corpusreg.text.players import (
    beyond_document,
    far_words,
    height_document,
    of_hundred,
    passage_reach_words,
    reach_document,
    written_document,
)
from corpusreg.text.tabular import text_table, wrap
from corpusreg.text.wording import bar_range, interval, note, register

__all__ = [
    "moved_words", "passage_document", "passage_heading", "passage_rows", "passage_text",
    "transposed",
]  # fmt: skip

_PEAK = 0.95  # of the notes written, beyond which an outermost note is told
_MOVED = 3  # of 100 notes by which periods differ for the difference to be told
_KEY = (
    "Height: 0 is the lowest note of the range, 1 the highest; below 0 or above 1 is outside "
    "it. 'mostly' is the register where it spends most of its time. Ranges differ from player "
    "to player: the table is a guide ('corpusreg ranges INSTRUMENT' has sources, and published "
    "levels; what it says of students is mostly from memory); ask the player."
)


def transposed(semitones: int) -> str:
    """A transposition in words.

    >>> transposed(-12), transposed(0), transposed(7)
    ('an octave lower', 'as it stands', 'a fifth higher')
    """
    if not semitones:
        return "as it stands"
    return f"{interval(abs(semitones))} {'higher' if semitones > 0 else 'lower'}"


def passage_heading(found: Passage) -> str:
    """Part, bars, notes and instrument in one line."""
    where = bar_range(found.bars, found.first, found.last)
    if found.own:
        own = f"written for {found.own.name}"
    else:
        own = f"instrument not known, compared with {found.home.name}"
    notes = register(found.lowest, found.highest, found.spelling)
    read = _as_read(found)
    if read:
        notes += f" ({register(*read, USUAL)} on the page)"
    return f"{plain(found.part)}, {where}: {notes}, {own}"


def _as_read(found: Passage) -> tuple[int, int] | None:
    """Lowest and highest note as the player reads them, None where that is no other.

    Brass is left out: horns and trumpets are written in many keys, which names need not tell.
    """
    if not found.own or not found.own.transposition or found.own.family == "brass":
        return None
    by = found.own.transposition
    return found.lowest - by, found.highest - by


def passage_words(found: Passage) -> str:
    """Where the passage lies among what is written for its instrument."""
    far, reach = found.far, found.reach
    if reach is None and far is None:
        return ""
    up = reach.side == "high" if reach else far is not None and far.lower >= far.higher
    side = "high" if up else "low"
    if reach is not None:
        text = passage_reach_words(reach, found.spelling)
    elif far is not None:
        share = far.lower if up else far.higher
        among = far.written.ensemble, far.written.composers
        text = f"It lies {far_words(share, side, far.written.name, *among)}"
        text += _outermost(found, far)
    if reach is not None and far is not None:
        outer, by_period = (found.highest, far.top) if up else (found.lowest, far.bottom)
        spread = [int(100 * each) for each in by_period.values()]
        if max(spread, default=0) - min(spread, default=0) >= _MOVED:
            shares = [f"{int(100 * each)} ({name})" for name, each in by_period.items()]
            name = note(outer, found.spelling)
            medium = (
                kinds()[far.written.ensemble].works if far.written.by_medium else "all works"
            )
            text += f". Of 100 notes in {medium} its {name} is {side}er than {joined(shares)}"
    return f"{text}."


def _outermost(found: Passage, far: Far) -> str:
    """How far out single notes of a passage lie that does not lie so on the whole."""
    ends = [
        (float(far.written.lower[found.highest]), "highest", found.highest, "higher"),
        (float(far.written.higher[found.lowest]), "lowest", found.lowest, "lower"),
    ]
    share, which, pitch, way = max(ends)
    if share < _PEAK:
        return ""
    return (
        f"; its {which} note, {note(pitch, found.spelling)}, is {way} than {of_hundred(share)}"
    )


def string_words(found: Passage) -> str:
    """On which strings a passage lies; '' where that is not known."""
    on = found.strings
    if on is None:
        return ""
    if not on.alone:
        deepest = on.lowest == open_strings(found.home.id)[0]
        lowest = "Its lowest note needs" if deepest else "It goes no lower than"
        return f"{lowest} the {_letter(on.lowest)} string; it is too wide for one string."
    # Where it lies nearest, and where it is darkest: strings in between go without saying.
    ways = [_way(each, found) for each in dict.fromkeys((on.alone[-1], on.alone[0]))]
    return f"All of it can be played {' or '.join(ways)}."


def _way(string: int, found: Passage) -> str:
    """On one string, how far up, and how composers ask for it where another is nearer."""
    up = found.highest - string
    far = f"up to {interval(up)} above the open string" if up else "the open string"
    letter = _letter(string)
    nearer = any(string < each < found.highest for each in open_strings(found.home.id))
    asked = f"sul {letter}; " if nearer else ""
    return f"on the {letter} string ({asked}{far})"


def _letter(string: int) -> str:
    return note_name(string)[0]


def change_words(found: Passage) -> str:
    """How much of a passage lies above the second change of a voice; '' for nothing."""
    changes = passaggio(found.home.id)
    if changes is None:
        return ""
    first, second = (note(pitch, found.spelling) for pitch in changes)
    above = round(100 * float(found.time[changes[1] + 1 :].sum() / found.time.sum()))
    if not above:
        return ""
    return (
        f"Many voices of this type change near {first} and again near {second} (from memory; "
        f"schools differ): {above} % of its time is above the second."
    )


def moved_words(each: OnInstrument) -> str:
    """The transposition that makes the passage equally high, and what it puts out of range."""
    text = transposed(each.semitones)
    if each.moved_out:
        text += f", then {plural(each.moved_out, 'note')} beyond the range"
    return text


def passage_text(found: Passage) -> str:
    """The whole answer, without a trailing newline."""
    names = ["instrument", "level", "height", "mostly", "tires", "dull", "beyond"]
    rows = [_row(each) for each in found.rows]
    said = passage_words(found), change_words(found), string_words(found)
    lines = [
        *wrap(passage_heading(found)),
        *wrap(" ".join(filter(None, said))),
        "",
        text_table(names, rows),
        "",
        *wrap(_KEY),
    ]
    wishes = list(_wishes(found))
    if wishes:
        lines += ["", *wrap(f"To lie as high as for the {found.home.name} (mean height):")]
    return "\n".join([*lines, *wishes])


def passage_document(found: Passage) -> dict[str, Any]:
    """The JSON document."""
    labels, reach, read = found.bars.labels, found.reach, _as_read(found)
    return {
        "path": found.path,
        "part": found.part,
        "instrument": found.own.id if found.own else None,
        "compared_with": found.home.id,
        "bars": [labels[found.first], labels[found.last - 1]],
        "lowest": note_name(found.lowest, found.spelling),
        "highest": note_name(found.highest, found.spelling),
        "as_read": [note_name(each) for each in read] if read else None,
        "among": _among(found.far) if found.far else None,
        "reach": reach_document(reach, found.bars, found.spelling) if reach else None,
        "strings": _string_document(found.strings) if found.strings else None,
        "rows": [_document(each, found) for each in found.rows],
    }


def passage_rows(found: Passage) -> list[dict[str, Any]]:
    """The rows of the table, one an instrument and level, with numbers as numbers."""
    return [
        {
            "instrument": each.instrument.id,
            "level": each.level,
            **_span(each.instrument, each.level),
            "height": round(each.height.mean, 4),
            "height_from": round(each.height.low, 4),
            "height_to": round(each.height.high, 4),
            "mostly": _mostly(each),
            "tires": round(each.tiring, 4),
            "dull": round(each.dull, 4),
            "beyond": sum(one.notes for one in each.out_of_range),
            "semitones": each.semitones,
            "equally_high": moved_words(each),
        }
        for each in found.rows
    ]


def _mostly(each: OnInstrument) -> str:
    """The register with most of its time."""
    return max(each.registers, key=lambda name: each.registers[name], default="-")


def _string_document(on: Strings) -> dict[str, Any]:
    """The highest string that reaches the lowest note, and those that hold all of it."""
    return {"lowest": note_name(on.lowest), "alone": [note_name(each) for each in on.alone]}


def _row(each: OnInstrument) -> tuple[str, ...]:
    beyond = sum(one.notes for one in each.out_of_range)
    return (
        each.instrument.name,
        each.level,
        f"{each.height.mean:.2f} ({each.height.low:.2f} to {each.height.high:.2f})",
        _mostly(each),
        _percent(each.tiring),
        _percent(each.dull),
        plural(beyond, "note") if beyond else "-",
    )


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %" if share >= 0.005 else "-"


def _wishes(found: Passage) -> Iterable[str]:
    """One item an instrument: the transposition, at each level where they differ."""
    for row in {each.instrument.id: each.instrument for each in found.rows}.values():
        if row.id != found.home.id:
            levels = [each for each in found.rows if each.instrument.id == row.id]
            yield from wrap(f"{row.name}: {_wish(levels)}", "    ", "  - ")


def _wish(levels: list[OnInstrument]) -> str:
    said = {each.level: moved_words(each) for each in levels}
    if len(set(said.values())) == 1:
        return next(iter(said.values()))
    return joined([f"{text} ({level})" for level, text in said.items()])


def _document(each: OnInstrument, found: Passage) -> dict[str, Any]:
    return {
        "instrument": each.instrument.id,
        "name": each.instrument.name,
        "level": each.level,
        "range": _span(each.instrument, each.level),
        "height": height_document(each.height),
        "registers": {name: round(share, 4) for name, share in each.registers.items()},
        "tiring": round(each.tiring, 4),
        "dull": round(each.dull, 4),
        "out_of_range": [
            beyond_document(one, found.bars, found.spelling) for one in each.out_of_range
        ],
        "equally_high": {
            "semitones": each.semitones,
            "exact": round(each.exact, 2) + 0.0,
            "words": transposed(each.semitones),
            "height": height_document(each.moved),
            "out_of_range": each.moved_out,
        },
    }


def _among(far: Far) -> dict[str, Any]:
    """The passage among the notes written for its instrument, shares 0 to 1."""
    return {
        "written": written_document(far.written),
        "higher_than": round(far.lower, 4),
        "lower_than": round(far.higher, 4),
        "highest_by_period": {name: round(share, 4) for name, share in far.top.items()},
        "lowest_by_period": {name: round(share, 4) for name, share in far.bottom.items()},
    }


def _span(row: Instrument, level: str) -> dict[str, str]:
    low, high = row.limits(level)
    return {"lowest": note_name(low), "highest": note_name(high)}
