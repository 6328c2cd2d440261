"""Kern files as a table: spines, tokens, and the columns that are one part.

Tokens: what one cell of **kern or **dynam says. Source of the syntax: the **kern and
**dynam representations of the Humdrum reference manual (value from memory).

Conventions
-----------
duration  quarter notes, `Fraction`; a reciprocal n is 4/n quarters, n%m is
          4*m/n, 0 a breve (8), 00 a long (16), 000 a maxima (32); each dot adds
          half of what went before.
pitch     MIDI number, middle C = 60 = 'c'; 'cc' is an octave up, 'C' an octave
          down. The number is what is written in the file; a transposition, if
          any, is applied by the caller.
tie       '[' begins, '_' goes on, ']' ends, each for its own note of a chord.
hidden    'yy' hides a note from the page; such a note still sounds (editors hide
          the written-out notes of tremolos, 'colla parte' and shorthand), a
          hidden rest stays a rest.
grace     'q' and 'qq' (groupettes and appoggiaturas) take no time.

Spines: the table whose columns split, join, swap and end. A file is read into rows; each
data row knows the layout (columns) in force. A *track* is a column as it began (one staff
of the page); *spines* are its strands: a split (*^) makes two strands of one track, a join
(*v) one of two.

Source: Humdrum reference manual, spine path interpretations (value from memory).

Players and staves
------------------
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
from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from math import lcm

from corpusreg.score.notes import Part
from corpusreg.system.errors import ReadError

__all__ = [
    "HairpinSign", "KernLayout", "KernPlace", "KernRow", "KernTable", "Spine", "Track",
    "changes_of_instrument", "denominators", "parse_dynamics", "parse_token", "place_tracks",
    "read_table", "ticks_for", "transposition",
]  # fmt: skip

_STEPS = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}
_DURATION = re.compile(r"(\d+)(?:%(\d+))?")
_LETTERS = re.compile(r"[A-Ga-g]+")
_LONG = {"0": 8, "00": 16, "000": 32}
_MAX_DIGITS = 6
_MAX_QUARTERS = 4096  # longer than any note on paper: a damaged number
_MAX_TICKS = 10**8  # finer than any tuplet on paper: a damaged number


@dataclass(frozen=True, slots=True)
class Note:
    """One note of a token; `duration` in quarters, 0 for a grace note."""

    duration: Fraction
    pitch: int
    grace: bool
    tie_in: bool
    tie_out: bool
    staccato: bool


@dataclass(frozen=True, slots=True)
class KernEvent:
    """A **kern token.

    advance  quarters until the spine's next token; None where it is not known.
    notes    its notes; empty for a rest.
    grace    the token takes no time of its own.
    lost     plain reasons, one for each thing in the token that was not understood.
    """

    advance: Fraction | None
    notes: tuple[Note, ...]
    grace: bool
    lost: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class HairpinSign:
    """What a **dynam token does to hairpins: 'start', 'end' or 'end_late'.

    'end_late' (a doubled bracket) ends at the end of the note, not at its beginning.
    """

    what: str
    kind: str  # 'cresc' or 'dim'


def _duration(text: str) -> Fraction | None:
    """Quarters of a note or rest; None where there is no number or a damaged one."""
    match = _DURATION.search(text)
    if match is None:
        return None
    number, divisor = match.groups()
    if len(number) > _MAX_DIGITS or (divisor is not None and len(divisor) > _MAX_DIGITS):
        return None
    if not number.strip("0"):
        quarters = Fraction(_LONG.get(number, 0)) if divisor is None else Fraction(0)
    else:
        quarters = Fraction(4 * int(divisor or 1), int(number))
    dots = text.count(".")
    if dots > 8:
        return None
    quarters = quarters * 2 - quarters / 2**dots
    return quarters if 0 < quarters <= _MAX_QUARTERS else None


def _pitch(text: str) -> int | None:
    """MIDI number of the pitch letters; None where they are none or name two pitches.

    Another sign may stand between doubled letters ('8fyyf' is 8ff, hidden).
    """
    letters = "".join(_LETTERS.findall(text))
    if not letters or letters != letters[0] * len(letters):
        return None
    octave = 3 + len(letters) if letters[0].islower() else 4 - len(letters)
    alter = text.count("#") - text.count("-")
    return 12 * (octave + 1) + _STEPS[letters[0].lower()] + alter


def _note(text: str, duration: Fraction, grace: bool, staccato: bool) -> Note | str:
    """The note, or the reason why there is none."""
    pitch = _pitch(text)
    if pitch is None:
        return "note without a readable pitch"
    if not 0 <= pitch <= 127:
        return "note outside MIDI 0-127"
    going_on = "_" in text
    return Note(
        duration=duration,
        pitch=pitch,
        grace=grace,
        tie_in=going_on or "]" in text,
        tie_out=going_on or "[" in text,
        staccato=staccato,
    )


@lru_cache(maxsize=1 << 16)
def parse_token(token: str) -> KernEvent:
    """Read one **kern data token (not the null token '.').

    Notes of a chord without a number of their own take the first one's; a dot is the whole
    chord's, whichever note has it (common practice, no source).

    >>> event = parse_token("8.cc#' 8.e[")
    >>> event.advance, [(note.pitch, note.staccato, note.tie_out) for note in event.notes]
    (Fraction(3, 4), [(73, True, False), (64, True, True)])
    """
    pieces = token.split()
    if not pieces:
        return KernEvent(None, (), False, ("empty token",))
    grace, dotted = "q" in token, "'" in token or "`" in token
    first = None if grace else _duration(pieces[0])
    notes: list[Note] = []
    lost: list[str] = []
    for piece in pieces:
        if "r" in piece:
            continue
        duration = Fraction(0) if grace else (_duration(piece) or first)
        if duration is None:
            lost.append("note without a readable duration")
            continue
        note = _note(piece, duration, grace, dotted)
        if isinstance(note, Note):
            notes.append(note)
        else:
            lost.append(note)
    if first is None and not grace and not lost:
        lost.append("rest without a readable duration")
    return KernEvent(Fraction(0) if grace else first, tuple(notes), grace, tuple(lost))


@lru_cache(maxsize=1 << 16)
def denominators(token: str) -> frozenset[int]:
    """Denominators of the durations in a token, in quarters."""
    event = parse_token(token)
    return frozenset(
        duration.denominator
        for duration in (event.advance or Fraction(1), *(note.duration for note in event.notes))
    )


def ticks_for(denominators: Iterable[int]) -> tuple[int, frozenset[int]]:
    """Ticks per quarter that make every duration whole, and denominators refused.

    Denominators that would make a tick finer than a hundred-millionth of a
    quarter are refused, rarest shape (largest) first: they are damaged numbers.

    >>> ticks_for([3, 4])
    (12, frozenset())
    """
    ticks = 1
    refused = set()
    for denominator in sorted(set(denominators)):
        finer = lcm(ticks, denominator)
        if finer > _MAX_TICKS:
            refused.add(denominator)
        else:
            ticks = finer
    return ticks, frozenset(refused)


_DYNAMIC = re.compile(
    r"(?P<mark>m[fp]|sf+z?p*|r?fz?p*(?:f*)|f+z?p*|p+)|(?P<pin>\[\[|\]\]|[<>\[\]()])|(?P<pass>[xXyYijk\s:;.`'|@]+)"
    r"|(?P<word>decresc|cresc|dim)"
)


def parse_dynamics(token: str) -> tuple[list[str | HairpinSign], int]:
    """Marks and hairpin signs of a **dynam token in order, and how many signs were
    not understood.

    '<' begins a crescendo and '[' ends it, '>' a diminuendo and ']' ends it; '('
    and ')' say that one goes on. 'yy' (not on the page) and editorial signs are
    passed over: the mark is still in force.

    >>> parse_dynamics("sf >")
    (['sf', HairpinSign(what='start', kind='dim')], 0)
    """
    found: list[str | HairpinSign] = []
    strange = 0
    place = understood = 0  # up to where the token is looked at, and read
    while place < len(token):
        match = _DYNAMIC.match(token, place)
        if match is None:
            strange += place == understood  # a run of strange signs counts once
            place += 1
            continue
        place = understood = match.end()
        sign = match.group()
        if match.lastgroup == "mark":
            found.append(sign)
        elif match.lastgroup == "word":
            found.append(HairpinSign("start", "cresc" if sign == "cresc" else "dim"))
        elif match.lastgroup == "pin" and sign not in "()":
            kind = "cresc" if sign[0] in "<[" else "dim"
            what = "start" if sign in "<>" else "end" if len(sign) == 1 else "end_late"
            found.append(HairpinSign(what, kind))
    return found, strange


_PATHS = frozenset({"*^", "*v", "*x", "*-", "*+"})


@dataclass(eq=False, slots=True)
class Track:
    """One column as it began, with the records in its header."""

    number: int
    kind: str  # exclusive interpretation, such as '**kern'
    records: list[str] = field(default_factory=list)


@dataclass(eq=False, slots=True)
class Spine:
    """One strand of a track. `clock` is the tick at which its last token ends."""

    track: Track
    parents: tuple[Spine, ...] = ()
    clock: int = 0
    fresh: bool = False  # just split off: may begin before its parent's note ends
    cue: bool = False


@dataclass(eq=False, slots=True)
class KernLayout:
    """Columns in force: kern holds (column, spine, strand number in track), dynam and text
    (column, spine)."""

    spines: list[Spine]
    born: list[Spine]  # strands that are new in this layout
    kern: list[tuple[int, Spine, int]] = field(default_factory=list)
    dynam: list[tuple[int, Spine]] = field(default_factory=list)
    text: list[tuple[int, Spine]] = field(default_factory=list)

    def __post_init__(self) -> None:
        strands: dict[Track, int] = {}
        for column, spine in enumerate(self.spines):
            if spine.track.kind == "**kern":
                strand = strands.get(spine.track, 0)
                strands[spine.track] = strand + 1
                self.kern.append((column, spine, strand))
            elif spine.track.kind in ("**dynam", "**dyn"):
                self.dynam.append((column, spine))
            elif spine.track.kind == "**text":
                self.text.append((column, spine))


@dataclass(slots=True)
class KernRow:
    """One line: kind is 'data', 'bar', 'record' (interpretations), 'text' or 'layout'."""

    line: int
    kind: str
    fields: list[str]
    layout: KernLayout


@dataclass
class KernTable:
    """Rows in file order, tracks in column order, and reference records."""

    rows: list[KernRow] = field(default_factory=list)
    tracks: list[Track] = field(default_factory=list)
    references: list[tuple[str, str]] = field(default_factory=list)
    ended: bool = True  # every spine was terminated by *-


def _fail(name: str, line: int, what: str) -> ReadError:
    return ReadError(f"{name}, line {line}: {what}; repair the line or export the score again")


def _joined(
    fields: list[str], spines: list[Spine], where: tuple[str, int]
) -> list[list[Spine]]:
    """Groups of neighbouring strands that *v makes one; others stand alone."""
    groups: list[list[Spine]] = []
    run: list[Spine] = []
    for column, (text, spine) in enumerate(zip(fields, spines, strict=True)):
        if text == "*v":
            run.append(spine)
        if run and (text != "*v" or column == len(fields) - 1):
            by_track: dict[Track, list[Spine]] = {}
            for member in run:
                by_track.setdefault(member.track, []).append(member)
            if all(len(members) > 1 for members in by_track.values()):
                groups.extend(by_track.values())
            elif len(run) > 1:
                groups.append(run)
            else:
                raise _fail(*where, "a join (*v) of one spine alone")
            run = []
        if text != "*v":
            groups.append([spine])
    return groups


def _swapped(fields: list[str], spines: list[Spine], where: tuple[str, int]) -> list[Spine]:
    """Strands after exchanging the two columns that hold *x."""
    places = [column for column, text in enumerate(fields) if text == "*x"]
    if len(places) % 2:
        raise _fail(*where, "an exchange (*x) needs two spines")
    out = list(spines)
    for left, right in zip(places[::2], places[1::2], strict=True):
        out[left], out[right] = out[right], out[left]
    return out


class _Columns:
    """The columns while a file is read."""

    def __init__(self, name: str, table: KernTable) -> None:
        self.name = name
        self.table = table
        self.layout = KernLayout([], [])

    def begin(self, line: int, fields: list[str]) -> KernRow:
        if not all(kind.startswith("**") for kind in fields):
            raise _fail(self.name, line, "a column begins without its ** interpretation")
        tracks = self.table.tracks[: len(fields)]
        if [track.kind for track in tracks] != fields:  # else the same columns go on
            count = len(self.table.tracks)
            tracks = [Track(count + i, kind) for i, kind in enumerate(fields)]
            self.table.tracks.extend(tracks)
        spines = [Spine(track) for track in tracks]
        self.layout = KernLayout(spines, list(spines))
        return KernRow(line, "layout", fields, self.layout)

    def retype(self, line: int, fields: list[str]) -> KernRow:
        """Exclusive interpretations in mid-file: a column changes its kind."""
        spines, born = [], []
        for text, spine in zip(fields, self.layout.spines, strict=True):
            if text.startswith("**") and text != spine.track.kind:
                track = Track(len(self.table.tracks), text)
                self.table.tracks.append(track)
                spine = Spine(track, (spine,))
                born.append(spine)
            spines.append(spine)
        self.layout = KernLayout(spines, born)
        return KernRow(line, "layout", fields, self.layout)

    def manipulate(self, line: int, fields: list[str]) -> KernRow:
        where = (self.name, line)
        swapped = _swapped(fields, self.layout.spines, where)
        groups = _joined(fields, swapped, where)
        column = 0
        spines: list[Spine] = []
        born: list[Spine] = []
        for group in groups:
            made = self._after(fields[column], group)
            column += len(group)
            born.extend(spine for spine in made if spine not in group)
            spines.extend(made)
        self.layout = KernLayout(spines, born)
        return KernRow(line, "layout", fields, self.layout)

    def _after(self, text: str, group: list[Spine]) -> list[Spine]:
        first = group[0]
        if text == "*-":
            return []
        if len(group) > 1:
            return [Spine(first.track, tuple(group))]
        if text == "*^":
            return [Spine(first.track, (first,), fresh=True) for _ in range(2)]
        if text == "*+":
            added = Track(len(self.table.tracks), "**")
            self.table.tracks.append(added)
            return [first, Spine(added, (first,), fresh=True)]
        return [first]


def _reference(table: KernTable, text: str) -> None:
    key, colon, value = text.lstrip("!").partition(":")
    if colon and key and " " not in key:
        table.references.append((key, value.strip()))


def read_table(lines: list[tuple[int, str]], name: str) -> KernTable:
    """Rows of one segment.

    Parameters: numbered lines without line ends, and the file's name for errors.
    Raises ReadError with file and line where a row has another number of tokens
    than there are spines, or spine paths do not add up.
    """
    table = KernTable()
    columns = _Columns(name, table)
    rows = table.rows
    for line, text in lines:
        if not text or text.isspace():
            continue
        if text[0] == "!":
            if text.startswith("!!!"):
                _reference(table, text)
            elif "!LO:TX" in text:
                rows.append(KernRow(line, "text", text.split("\t"), columns.layout))
            continue
        fields = text.split("\t")
        layout = columns.layout
        if len(fields) != len(layout.spines):
            if not layout.spines and text.startswith("**"):
                rows.append(columns.begin(line, fields))
                continue
            fields = [field for field in fields if field]  # doubled or trailing tabs
            if len(fields) != len(layout.spines) or not fields:
                found, expected = len(fields), len(layout.spines)
                raise _fail(name, line, f"{found} tokens where {expected} spines are open")
        if text[0] == "*":
            rows.append(_interpretations(columns, line, fields))
        elif text[0] == "=":
            rows.append(KernRow(line, "bar", fields, layout))
        else:
            rows.append(KernRow(line, "data", fields, layout))
    table.ended = not columns.layout.spines
    return table


def _interpretations(columns: _Columns, line: int, fields: list[str]) -> KernRow:
    if not _PATHS.isdisjoint(fields):
        return columns.manipulate(line, fields)
    if any(text.startswith("**") for text in fields):
        return columns.retype(line, fields)
    for text, spine in zip(fields, columns.layout.spines, strict=True):
        if len(text) > 1:
            spine.track.records.append(text)
    return KernRow(line, "record", fields, columns.layout)


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
class KernPlace:
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


def changes_of_instrument(table: KernTable) -> int:
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
    table: KernTable, instruments: str, decoration: str = ""
) -> tuple[tuple[Part, ...], dict[Track, KernPlace]]:
    """Parts, top first, and the place of each **kern track.

    instruments, decoration: text of the records !!!AIN and !!!system-decoration, or ''.
    """
    tracks = [track for track in table.tracks if track.kind == "**kern"]
    groups = _groups(tracks, instruments, decoration)[::-1]
    places = {
        track: KernPlace(part, staff, transposition(track.records))
        for part, group in enumerate(groups)
        for staff, track in enumerate(group[::-1], 1)
    }
    return tuple(_part(group) for group in groups), places
