"""Instruments and voices: sounding ranges, registers, and which one a part is for.

Aim: say how high a pitch lies for the instrument that plays it. The values are
in `data/instruments.csv`, one row an instrument, with their source; printed
names in `data/instrument_names.csv`. Users override rows with a file of the
same columns.

Conventions
-----------
pitch        sounding, MIDI number; ranges include both ends.
level        'student' or 'professional': which limits of the table are used.
height       (pitch - low) / (high - low): 0 at the lowest note, 1 at the
             highest, below 0 or above 1 outside the range (never clipped).
register     a named part of the range, at least 7 semitones wide; registers
             follow each other without gap. The throat notes of clarinets are
             narrower and so are a dull zone at the top of the chalumeau.
generic      stands for several kinds ('voice' where no type is named); its
             range covers them all, so heights on it are coarse.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache, partial
from importlib import resources
from pathlib import Path

import numpy as np

from corpusreg.instruments.names import is_generic, plain, read_name, says_which
from corpusreg.instruments.table import (
    DECAYS,
    FAMILIES,
    LEVELS,
    Instrument,
    read_rows,
)
from corpusreg.score.notes import Part
from corpusreg.score.played import Played
from corpusreg.system.errors import DataError, UsageError
from corpusreg.system.phrases import did_you_mean

__all__ = [
    "DECAYS", "FAMILIES", "LEVELS", "SUNG_SYLLABLES", "Instrument", "Instruments", "find",
    "height", "load", "register_name",
]  # fmt: skip

# Syllables under a part from which it is taken to be sung: more than a cue's.
SUNG_SYLLABLES = 10
# From so many on they are a song's words, and no remarks under the notes of an instrument.
_SONG_SYLLABLES = 30

# Families whose parts can carry words without the name being wrong.
_TEXTED = frozenset(("voice", "keyboard", "plucked"))
_OCTAVE = 12
_UNPITCHED = "unpitched"
_UNPITCHED_CODES = frozenset(
    ("trngl", "tambn", "gong", "tamtm", "piatt", "crshc", "drump", "drums", "sdrum", "bdrum")
)


def height(pitch: float, instrument: Instrument, level: str = "professional") -> float:
    """Position of a pitch in the instrument's range at a level; not clipped.

    >>> flute = load()["flute"]
    >>> round(height(69, flute), 2), height(59, flute) < 0
    (0.24, True)
    """
    low, high = instrument.limits(level)
    return (pitch - low) / (high - low)


def register_name(pitch: float, instrument: Instrument) -> str:
    """Name of the register a pitch lies in, or that it lies outside all of them.

    >>> register_name(58, load()["clarinet"])
    'chalumeau'
    """
    for register in instrument.registers:
        if pitch <= register.high:
            return register.name if pitch >= register.low else "below the range"
    return "above the range"


class Instruments(Mapping[str, Instrument]):
    """The table, by id, and the matching of parts to its rows."""

    def __init__(
        self,
        rows: Iterable[Instrument],
        names: Mapping[str, tuple[str, ...]],
        plurals: frozenset[str],
    ) -> None:
        self._rows = {row.id: row for row in rows}
        self._names = dict(names)
        # Most scores have the same few names, and each name is asked for several times.
        self._read = lru_cache(maxsize=1024)(partial(read_name, known=self._names))
        self._plurals = plurals
        self._sounds = {sound: row.id for row in self._rows.values() for sound in row.sound_ids}
        self._codes = {
            code.casefold(): row.id for row in self._rows.values() for code in row.kern_codes
        }
        self._programs = {byte: row.id for row in self._rows.values() for byte in row.programs}

    def __getitem__(self, key: str) -> Instrument:
        return self._rows[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)

    height = staticmethod(height)
    register_name = staticmethod(register_name)

    def named(self, name: str) -> tuple[Instrument, ...]:
        """Instruments that a printed name may mean, the likeliest first; () if unknown.

        A part shared by several ('Violone e Organo') is the first one's; a name
        given in two languages is what both mean.
        """
        return tuple(self._rows[i] for i in self._ids(name) if i != _UNPITCHED)

    def printed_names(self, key: str) -> tuple[str, ...]:
        """Names as scores print them, in plain text, that may mean the row with this id."""
        return tuple(name for name, meanings in self._names.items() if key in meanings)

    def match(self, part: Part) -> Instrument | None:
        """The instrument of a part, or None where nothing names one: never a guess.

        The printed name decides; the MusicXML sound id or kern code chooses between
        its meanings or makes it narrower ('Clarinet' with the sound of one in A),
        and says which voice type is meant. One that contradicts the name loses:
        songs printed 'Singstimme' are often played back by an oboe. For names
        unknown to the table sound id, code and abbreviation decide in this
        order; for names that say nothing, the General MIDI program, except
        0, the default of most software, unless the part has two staves, and
        except the sound of a melody instrument under the export default 'MusicXML
        Part' (vocal trecento parts are played by saxophones there). A part
        with many syllables is sung where neither its name nor its kern code is that of
        an instrument: letters under a violin's notes are an analyst's, and a playback
        sound says nothing of who sings.
        """
        choices = self._choices(part)
        return choices[0] if choices else None

    def match_all(self, parts: Sequence[Part]) -> list[Instrument | None]:
        """`match` for the parts of one score, where the others decide unclear names.

        'Basso', 'Alto' or 'Bass' is a voice by itself; it is the string instrument
        where some part is certainly a string and none certainly a voice. One staff with a
        song's words beside keyboards or plucked instruments alone is the singer's, even if it
        bears the name of the instrument that plays it back. Names that
        only count ('S1', 'S2', 'S3') are no names. A staff that is named '2do', and one
        without a name beside a keyboard's only staff or under 'Violini', is the same
        instrument's: one name stands for two staves. What has two staves and no name beside
        singers alone is the keyboard that accompanies them.
        """
        if _numbered([part.name for part in parts]):
            parts = [replace(part, name="", abbreviation="") for part in parts]
        choices = [self._choices(part) for part in parts]
        if (singer := _singer(parts, choices)) is not None:
            choices[singer] = (self._rows["voice"],)
        certain = {found[0].family for found in choices if len(found) == 1}
        found = self._continued(parts, [_fitting(found, certain) for found in choices])
        return self._accompanied(parts, found)

    def _continued(
        self, parts: Sequence[Part], instruments: list[Instrument | None]
    ) -> list[Instrument | None]:
        named = list(instruments)
        for n, part in enumerate(parts):
            if named[n] or part.lyrics >= SUNG_SYLLABLES or self.is_unpitched(part):
                continue
            over = instruments[n - 1] if n else None
            if over and over.family != "voice" and says_which(part.name):
                instruments[n] = over
            elif not part.name.strip() and part.staves == 1:
                instruments[n] = next(
                    (
                        named[k]
                        for k in (n - 1, n + 1)
                        if 0 <= k < len(parts)
                        and (self._half(parts, named, k) or (k < n and self._pair(parts, k)))
                    ),
                    None,
                )
        return instruments

    def _accompanied(
        self, parts: Sequence[Part], instruments: list[Instrument | None]
    ) -> list[Instrument | None]:
        without = [n for n, row in enumerate(instruments) if row is None]
        if (
            len(without) == 1 < len(parts)
            and all(row.family == "voice" for row in instruments if row is not None)
            and parts[without[0]].staves == 2
            and parts[without[0]].lyrics < SUNG_SYLLABLES
            and is_generic(parts[without[0]].name)
        ):
            instruments[without[0]] = self._rows["keyboard"]
        return instruments

    def _half(self, parts: Sequence[Part], named: Sequence[Instrument | None], at: int) -> bool:
        """A keyboard that has one staff here, and elsewhere none."""
        own = named[at]
        return (
            own is not None
            and own.family == "keyboard"
            and parts[at].staves == 1
            and sum(each is own for each in named) == 1
        )

    def _pair(self, parts: Sequence[Part], at: int) -> bool:
        """A staff that is named for several players of one instrument."""
        rows = self.named(parts[at].name)
        return bool(rows) and rows[0].family != "voice" and self.is_section(parts[at])

    def as_sounding(self, played: Played) -> Played:
        """Played notes, with parts an octave lower that are encoded as they are read.

        A double bass sounds an octave below its page, and four in five encodings give the
        page. A part of such an instrument is taken as read where its mean pitch lies above
        the instrument's comfortable range, where no part has its mean that is encoded as it
        sounds: of 635 double basses, means lie round D2 or round D3. What is moved is said
        in `assumed`.
        """
        notes, moved = played.notes, []
        for number, row in enumerate(self.match_all(played.parts)):
            if row is None or row.transposition != -_OCTAVE:
                continue
            own = notes.part == number
            weight = notes.duration[own]
            if own.any() and notes.pitch[own] @ weight > row.comfortable[1] * weight.sum():
                moved.append(number)
        if not moved:
            return played
        pitch = notes.pitch - _OCTAVE * np.isin(notes.part, moved)
        order = np.lexsort((notes.duration, notes.part, pitch, notes.onset))
        names = ", ".join(dict.fromkeys(played.parts[n].name or f"part {n + 1}" for n in moved))
        remark = f"{names}: given as it is read, and taken an octave lower, as it sounds"
        return replace(
            played,
            notes=replace(notes, pitch=pitch).take(order),
            assumed=(*played.assumed, remark),
        )

    def is_section(self, part: Part) -> bool:
        """The printed name is a plural or a group's: 'Violini', 'Corni in F', 'Choir'."""
        return bool(set(self._read(part.name).phrases) & self._plurals)

    def is_unpitched(self, part: Part) -> bool:
        """The printed name is that of percussion without pitch, which has no range."""
        ids = self._ids(part.name)
        return ids[:1] == (_UNPITCHED,) or (
            not ids and _plain_code(part.code) in _UNPITCHED_CODES
        )

    def _ids(self, name: str) -> tuple[str, ...]:
        """Ids that a name may mean, the key taken into account."""
        phrases, key = self._read(name)
        if not phrases:
            return ()
        meanings = [self._names[phrase] for phrase in phrases]
        shared = [i for i in meanings[0] if all(i in other for other in meanings)]
        chosen = tuple(shared) or meanings[0]
        if not key:
            return chosen
        in_key = (i for i in chosen if i == _UNPITCHED or self._rows[i].family != "voice")
        return tuple(self._in_key(i, key) for i in in_key)

    def _in_key(self, base: str, key: str) -> str:
        for row in self._rows.values():
            if row.kind_of == base and row.key == key:
                return row.id
        return base

    def _choices(self, part: Part) -> tuple[Instrument, ...]:
        """What a part may be: one instrument where something is certain of it."""
        found = self._instruments(part)
        sung = part.lyrics >= SUNG_SYLLABLES and part.staves == 1
        said = self.named(part.name) or self._coded(part.code)
        if sung and not said and not any(one.family in _TEXTED for one in found):
            return (self._rows["voice"],)
        return found

    def _instruments(self, part: Part) -> tuple[Instrument, ...]:
        named = self.named(part.name)
        code, sound = self._coded(part.code), self._sounding(part.sound_id)
        machine = code or sound
        if named and machine:
            agreed = _narrower(machine, named)
            if agreed is None and self._better(machine, part, named, coded=code is not None):
                agreed = machine
            return (agreed,) if agreed else named
        if named:
            return named
        if self.is_unpitched(part):
            return ()
        if machine is not None:
            return (machine,)
        return self.named(part.abbreviation) or self._programmed(part)

    def _better(
        self, machine: Instrument, part: Part, named: Sequence[Instrument], *, coded: bool
    ) -> bool:
        """Whether code or sound id tells more than a name that says something else.

        Names of voices in old music tell the function and not the range (of 28
        trecento and other parts with two voice types the sound id's was nearer to
        the notes in 25). An unclear name gives way to a code, not to a sound.
        """
        if machine.family == named[0].family == "voice":
            lists_several = len(self._read(part.name).phrases) > 1
            return not machine.generic and not lists_several
        return coded and len(named) > 1

    def _coded(self, code: str) -> Instrument | None:
        """Kern codes; of codes joined by '&' or '|' the first that is known."""
        for one in re.split(r"[&|]", code):
            found = self._codes.get(_plain_code(one))
            if found:
                return self._rows[found]
        return None

    def _sounding(self, sound: str) -> Instrument | None:
        """MusicXML sound ids; 'brass.trumpet.tenor' falls back on 'brass.trumpet'."""
        while sound:
            if sound in self._sounds:
                return self._rows[self._sounds[sound]]
            sound = sound.rpartition(".")[0]
        return None

    def _programmed(self, part: Part) -> tuple[Instrument, ...]:
        found = self._programs.get(-1 if part.program is None else part.program)
        if found is None or not is_generic(part.name):
            return ()
        row = self._rows[found]
        if part.program == 0 and part.staves < 2:
            return ()
        if "MusicXML" in part.name and row.family not in ("voice", "keyboard"):
            return ()
        return (row,)


def _singer(parts: Sequence[Part], choices: Sequence[Sequence[Instrument]]) -> int | None:
    """Which part is a song's singer under another name, where one is."""
    others = [
        n
        for n, found in enumerate(choices)
        if not found or found[0].family not in ("keyboard", "plucked")
    ]
    if len(others) != 1 or len(parts) == 1:
        return None
    (only,) = others
    own = parts[only]
    if any(row.family == "voice" for row in choices[only]):
        return None
    return only if own.staves == 1 and own.lyrics >= _SONG_SYLLABLES else None


def _narrower(instrument: Instrument, named: Sequence[Instrument]) -> Instrument | None:
    """The narrower of an instrument and an equal or related meaning of the name."""
    for meaning in named:
        if meaning.kind_of == instrument.id:
            return meaning
        if instrument.id == meaning.id or instrument.kind_of == meaning.id:
            return instrument
    return None


def _plain_code(code: str) -> str:
    """'*Ivioln' -> 'violn'."""
    return code.strip().removeprefix("*").removeprefix("I").casefold()


def _numbered(names: Sequence[str]) -> bool:
    """Names are one letter with the numbers 1, 2, … ('P1', 'P2')."""
    return len(names) > 1 and all(
        re.fullmatch(rf"{re.escape(names[0][:1])}{i}", name) for i, name in enumerate(names, 1)
    )


def _fitting(choices: tuple[Instrument, ...], certain: set[str]) -> Instrument | None:
    if not choices:
        return None
    if choices[0].family in certain:
        return choices[0]
    return next((one for one in choices if one.family in certain), choices[0])


def find(table: Instruments, name: str) -> Instrument:
    """An instrument by id or printed name; UsageError names the nearest ones."""
    key = "-".join(name.casefold().split())
    if key in table:
        return table[key]
    meanings = {row.id: row for row in table.named(name)}
    if len(meanings) == 1:
        return next(iter(meanings.values()))
    if meanings:
        raise UsageError(f"'{name}' may be {' or '.join(meanings)}; name one of them")
    hint = did_you_mean(key, table) or "; see 'corpusreg ranges'"
    raise UsageError(f"no instrument '{name}' in the table{hint}")


def load(path: Path | None = None) -> Instruments:
    """The table, with a user's rows replacing those of the same id or added to it.

    A user's file needs the columns id, student_low, student_high,
    professional_low, professional_high (note names, sounding); every other column
    of `data/instruments.csv` may be there, and `names` (printed names, separated by
    semicolons). What is left out is taken from the row replaced.
    Raises DataError, naming the row, for a missing column, an unknown note name, a
    low at or above its high, an id or name given twice, or an unknown word.
    """
    standard = _standard()
    if path is None:
        return standard
    rows = dict(standard)
    names = dict(standard._names)
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            added = read_rows(file, path.name, rows)
    except OSError as error:
        raise DataError(f"{path}: cannot be read ({error.strerror})") from error
    except (UnicodeDecodeError, csv.Error) as error:
        raise DataError(f"{path.name}: not a text table in UTF-8; save it as CSV") from error
    for row, own_names in added:
        rows[row.id] = row
        names.update({name: (row.id,) for name in (*own_names, plain(row.name)) if name})
    return Instruments(rows.values(), names, standard._plurals)


@lru_cache(maxsize=1)
def _standard() -> Instruments:
    data = resources.files("corpusreg") / "data"
    text = (data / "instruments.csv").read_text(encoding="utf-8")
    rows = [row for row, _ in read_rows(text.splitlines(), "instruments.csv", {})]
    text = (data / "instrument_names.csv").read_text(encoding="utf-8")
    names: dict[str, tuple[str, ...]] = {}
    plurals: dict[str, bool] = {}
    for line in csv.DictReader(text.splitlines()):
        phrase = plain(line["name"])
        meanings = names.get(phrase, ())
        if line["instrument"] not in meanings:
            names[phrase] = (*meanings, line["instrument"])
        plurals[phrase] = plurals.get(phrase, True) and line["form"] == "plural"
    return Instruments(rows, names, frozenset(p for p, always in plurals.items() if always))
