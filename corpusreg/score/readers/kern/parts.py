"""Players and staves of a kern file: which columns belong together.

Conventions
-----------
Columns stand lowest first in kern; parts come out top first, as on the page, and
staff 1 of a part is its right-most (top) column. Columns are one part when

1. they carry the same *part number, or
2. they are neighbours with keyboard codes (*Ipiano, *Iorgan, ...) or the same harp
   code, not numbered differently in their names (I and II), and no *part number
   gives the second a partner: pairs of staves, for an organ as many as stand
   together (pedal, or a score in parts), or
3. they are neighbours with the same printed name (*I"...) that is not the name of
   a single-staff instrument or voice (its code is absent or a keyboard's), or
4. there are just two and !!!AIN names one keyboard instrument alone ('empty', which
   says that a column names none, aside), or
5. !!!system-decoration puts just these two staves in one brace ('{(s1,s2)}'), and
   neither is said to be for anything but a keyboard.

Two spines with the same name and the code of a voice or of an orchestral
instrument are two players.

Transposition: kern pitches are *sounding* (concert) pitch whatever the part is
written in. *ITrd1c2 only says how the instrument is notated (here a major second
higher than it sounds), so it changes nothing here. *Trd1c2 says that the encoding
itself was moved by that interval and no longer holds the original pitch; it is
taken back. Source: Humdrum user guide, transposing-instrument and transposition
interpretations (value from memory); for *ITr also measured on real scores, see
tests/benchmarks/results/readers_kern.md.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from corpusreg.score.notes import Part
from corpusreg.score.readers.kern.spines import Table, Track

__all__ = ["Place", "changes_of_instrument", "place_tracks", "transposition"]

# Instrument codes of the Humdrum tables (value from memory) that use two staves.
_KEYBOARDS = frozenset(
    f"I{code}"
    for code in (
        *("piano", "forte", "fortp", "clavi", "cemba", "hpschd", "keybd", "celest"),
        *("organ", "porgn", "reedo", "hrmon", "accor", "harp", "arpa"),
    )
)
_HARPS = frozenset({"Iharp", "Iarpa"})
_NUMERAL = re.compile(r"\b(i{1,3}|\d+|primo|sec[ou]ndo|1mo|2do)\b")
_AIN_KEYBOARDS = frozenset(
    ("piano", "forte", "organ", "cemba", "hpschd", "harp", "arpa", "clavi", "pf", "keyb")
)
_TRANSPOSED = re.compile(r"\*Trd([+-]?\d+)c([+-]?\d+)")
_CODE = re.compile(r"\*I[a-z#][\w&#-]*")
_BRACED = re.compile(r"\{\(?s(\d+),s(\d+)\)?\}")
_NUMBERED = re.compile(r"\*(?:part|staff)(\d+)")


@dataclass(frozen=True, slots=True)
class Place:
    """Where a kern track stands: part index, staff in the part (1 = top)."""

    part: int
    staff: int
    shift: int  # semitones to add to the encoded pitch


def transposition(records: list[str]) -> int:
    """Semitones to add to encoded pitches to get sounding ones (see the module text).

    >>> transposition(["*ITrd1c2"]), transposition(["*Trd1c2"])
    (0, -2)
    """
    for record in records:
        match = _TRANSPOSED.fullmatch(record)
        if match:
            return -int(match.group(2))
    return 0


def _number(track: Track, what: str) -> str:
    start = f"*{what}"
    for record in track.records:
        if record.startswith(start) and _NUMBERED.fullmatch(record):
            return record
    return ""


def _text(track: Track, *starts: str) -> str:
    for start in starts:
        for record in track.records:
            if record.startswith(start):
                words = record[len(start) :].lstrip('"').replace("\\n", " ").split()
                if words:
                    return " ".join(words)
    return ""


def _codes(track: Track) -> list[str]:
    """Instrument codes of a column in file order."""
    return [record[1:] for record in track.records if _CODE.fullmatch(record)]


def _code(track: Track) -> str:
    return next(iter(_codes(track)), "")


def changes_of_instrument(table: Table) -> int:
    """How many kern columns name a second instrument; a part keeps its first one."""
    kern = [track for track in table.tracks if track.kind == "**kern"]
    return sum(len(set(_codes(track)) - {"Iempty"}) > 1 for track in kern)


def _numerals(name: str) -> set[str]:
    return set(_NUMERAL.findall(name.lower()))


def _together(left: Track, right: Track) -> bool:
    """Whether two neighbours without a common *part number are one instrument."""
    codes = {_code(left), _code(right)} - {""}
    names = [_text(left, '*I"'), _text(right, '*I"')]
    numerals = [_numerals(name) for name in names]
    if not codes <= _KEYBOARDS or (all(numerals) and numerals[0] != numerals[1]):
        return False
    if _code(left) and _code(right):
        return len(codes) == 1 or not codes & _HARPS
    return names[0] != "" and names[0] == names[1]


def _one_brace(left: Track, right: Track, decoration: str) -> bool:
    """Whether a brace on the page joins two staves, and nothing else is said of them."""
    codes = {_code(left), _code(right)} - {"", "Iempty"}
    staves = {_number(left, "staff"), _number(right, "staff")}
    braces = [{f"*staff{one}", f"*staff{two}"} for one, two in _BRACED.findall(decoration)]
    return staves in braces and codes <= _KEYBOARDS and len(codes) < 2


def _groups(tracks: list[Track], instruments: str, decoration: str) -> list[list[Track]]:
    """Tracks by player, in column order."""
    numbered: dict[str, list[Track]] = {}
    for track in tracks:
        numbered.setdefault(_number(track, "part") or f"column {track.number}", []).append(
            track
        )
    groups: list[list[Track]] = []
    for group in numbered.values():
        last = groups[-1] if groups else []
        full = len(last) > 1 and _code(last[-1]) != "Iorgan"
        alone = bool(last) and len(group) == 1
        if (alone and not full and _together(last[-1], group[0])) or (
            alone and len(last) == 1 and _one_brace(last[0], group[0], decoration)
        ):
            last.extend(group)
        else:
            groups.append(group)
    if len(groups) == 2 == len(tracks) and _one_keyboard(instruments, tracks):
        return [tracks]
    return groups


def _one_keyboard(instruments: str, tracks: list[Track]) -> bool:
    words = set(re.findall(r"[a-z]+", instruments.lower())) - {"empty"}
    codes = {_code(track) for track in tracks} - {"", "Iempty"}
    names = {_text(track, '*I"') for track in tracks} - {""}
    named = len(names) > len(codes) or len(codes) > 1 or not codes <= {f"I{w}" for w in words}
    return not named and len(words) == 1 and words <= _AIN_KEYBOARDS


def _part(group: list[Track]) -> Part:
    top_first = group[::-1]
    first = max(top_first, key=lambda track: bool(_text(track, '*I"', '*mI"', "*I:")))
    codes = [code for code in map(_code, top_first) if code]
    known = [code for code in codes if code != "Iempty"]
    return Part(
        name=_text(first, '*I"', '*mI"', "*I:"),
        abbreviation=_text(first, "*I'", "*mI'"),
        staves=len(group),
        code=(known or codes or [""])[0],
    )


def place_tracks(
    table: Table, instruments: str, decoration: str = ""
) -> tuple[tuple[Part, ...], dict[Track, Place]]:
    """Parts, top first, and the place of each **kern track.

    instruments: text of the !!!AIN record, or ''. decoration: likewise of
    !!!system-decoration.
    """
    tracks = [track for track in table.tracks if track.kind == "**kern"]
    groups = _groups(tracks, instruments, decoration)[::-1]
    places = {
        track: Place(part, staff, transposition(track.records))
        for part, group in enumerate(groups)
        for staff, track in enumerate(group[::-1], 1)
    }
    return tuple(_part(group) for group in groups), places
