"""ABC files as text: encoding, tunes, and what the library must not see or leaves out.

The library (lytk) reads the notes. What it passes over is read here, from the
text of one tune: header fields, voices and their programs, octave marks and
playback transposition, parts (`P:`), jumps (`!segno!`, `"D.C."`), lists of
endings (`[1,3`) and where each line of music begins. Whatever belongs to a
moment is put into the text as a numbered annotation, `"^~cr12"`, which the
library hands back at its place; `Source.markers[12]` says what it stood for.

Conventions: ABC standard 2.1 (abcnotation.com), and of 1.6 the octave marks
`-8va`; `%%MIDI` lines after the documentation of abc2midi (from memory).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from corpusreg.system.errors import ReadError

__all__ = ["MARK", "Marker", "Source", "Voice", "decode", "read_source", "split_tunes"]

# 1,000 nested braces still pass the library, 20,000 end the process (measured).
_MOST_BRACES = 64
_MOST_LINE = 1_000_000  # characters


def decode(data: bytes) -> str:
    """Text of a file: UTF-8, otherwise Windows-1252, in which any byte has a letter.

    Tunes that came by mail can be quoted-printable ('=3D' for '='): undone too.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if "=3D" in text or "=20\n" in text:
        text = re.sub(r"(?m)^([^%\n].*[^=\n])=\n", r"\1", text)
        text = text.replace("=20\n", "\n").replace("=3D", "=")
    return text


def split_tunes(text: str) -> tuple[str, list[tuple[str, str]]]:
    """File header, and (number, text) of each tune; a tune begins with `X:`.

    A text without `X:` is one tune if it has a key field, otherwise none.
    """
    starts = [m.start() for m in re.finditer(r"(?m)^[ \t]*X:", text)]
    if not starts:
        return "", [("", "X:1\n" + text)] if re.search(r"(?m)^K:", text) else []
    tunes = []
    for begin, end in zip(starts, [*starts[1:], len(text)], strict=True):
        tune = text[begin:end].lstrip(" \t")
        number = tune[2:].split("\n", 1)[0].split("%", 1)[0].strip()
        tunes.append((number, tune))
    return text[: starts[0]], tunes


def guard(tune: str) -> None:
    """Raise ReadError where nesting or length could crash the library."""
    depth = 0
    for sign in re.findall(r"[{}]", tune):
        depth = depth + 1 if sign == "{" else max(0, depth - 1)
        if depth > _MOST_BRACES:
            raise ReadError(f"more than {_MOST_BRACES} nested braces; close the grace notes")
    if any(len(line) > _MOST_LINE for line in tune.split("\n")):
        raise ReadError(f"a line is longer than {_MOST_LINE:,} characters; is this music?")


MARK = "~cr"
_FIELD = re.compile(r"([A-Za-z+]):(.*)", re.DOTALL)
# A note with a repeat sign after it, at the start of a line, looks like a field.
_NOTE_NOT_FIELD = re.compile(r"[A-Ga-gxz]:[|:\[]")
_TOKEN = re.compile(
    r'"[^"]*"?'  # chord symbol or annotation
    r"|![^!|\s]*!|\+[^+\s|]+\+"  # decoration, or a chord of version 1
    r"|\[[A-Za-z]:[^\[\]]*\]"  # inline field
    r"|(?:\[|\|)(?:\d[\d,\-]*)"  # ending
    r"|%.*"  # remark
)
_NOTE = re.compile(r"[\^_=]*(?:\d*/\d*)?[A-Ga-g]")
_PIECE = re.compile(
    r'"[^"]*"?|![^!|\s]*!|\[[A-Za-z]:[^\[\]]*\]'  # as above: no notes in these
    r"|\{[^{}]*\}"  # what holds for a grace note holds in its own octave only
    r"|(?P<bar>[|:]+)|(?P<sign>\^{1,2}|_{1,2}|=)?(?P<note>[A-Ga-g])"
)
_SYLLABLE = re.compile(r"[^\s\-|*_]+")  # '~' joins two words under one note
_OPTION = re.compile(r'\b(\w{1,30})=\s*("[^"]*"|\S+)')
_CLOSES = re.compile(r'(?:\s|"[^"]*"|![^!]*!){0,20}(?:[|:\]]|\\?$)')
_OLD_CHORD = re.compile(r"\+(?!f{2,4}\+)((?:[\^_=]*[A-Ga-g][,']*\d*(?:/+\d*)?){2,})\+")
_MIDI = re.compile(r"(?:%%|I:\s*)MIDI\s+(\w+)\s*(.*)", re.IGNORECASE)
_JUMPS = {"segno": "segno", "coda": "coda", "fine": "fine", "tocoda": "tocoda"}


_JUMPS |= dict.fromkeys(("dc", "dacapo", "dcalfine", "dcalcoda"), "dacapo")


_JUMPS |= dict.fromkeys(("ds", "dalsegno", "dsalfine", "dsalcoda"), "dalsegno")


@dataclass(frozen=True)
class Marker:
    """Something that belongs to a moment.

    kind: 'line' (a line of music begins), 'part' (value: its label), 'jump'
    (value as in `Bars.marks`), 'ending' (value: '1,3') or 'transpose' (value:
    semitones). closes: no note follows in its bar, so it ends the bar before.
    """

    kind: str
    value: str
    voice: str
    closes: bool = False


@dataclass
class Voice:
    """A voice as its `V:` field and `%%MIDI` lines describe it."""

    name: str = ""
    abbreviation: str = ""
    program: int | None = None
    transpose: int = 0
    percussion: bool = False
    syllables: int = 0  # under its notes, in the first verse


@dataclass
class Source:
    """One tune: text for the library, and what was read beside it."""

    text: str = ""
    fields: dict[str, list[str]] = field(default_factory=dict)
    voices: dict[str, Voice] = field(default_factory=dict)
    markers: list[Marker] = field(default_factory=list)
    staves: list[tuple[list[list[str]], bool]] = field(default_factory=list)
    notes: int = 0
    octave_marked: bool = False
    assumed: list[str] = field(default_factory=list)
    lost: dict[str, int] = field(default_factory=dict)


def read_source(head: str, tune: str) -> Source:
    """Read one tune beside the library. Raises ReadError where it could crash the library."""
    guard(tune)
    reader = _Reader()
    for line in head.split("\n"):
        reader.file_header(line.rstrip())
    lines = tune.split("\n")
    for number, line in enumerate(lines):
        if line.strip() or not reader.body:
            reader.line(line.rstrip())
        elif not reader.reads_on(lines[number + 1 :]):
            break
    return reader.finish()


class _Reader:
    """Goes through the lines of one tune once."""

    def __init__(self) -> None:
        self.source = Source()
        self.out: list[str] = []
        self.voice = ""
        self.body = False
        self.key_seen = False
        self.pending: list[tuple[str, str]] = []
        self.gap = False  # an empty line has been passed
        self.carry = True  # accidentals hold in all octaves, see _carried
        self.carried: dict[str, dict[str, str]] = {}
        self.signed: set[str] = set()  # voices with a segno so far
        self.barred: set[str] = set()  # voices with a bar line so far
        self.last: dict[str, int] = {}  # where in `out` a voice's last line is
        self.verse = False  # words have been read since the last line of music

    def file_header(self, line: str) -> None:
        """A line before the first tune: fields hold for all tunes, the rest is free text."""
        remark = re.fullmatch(r"%([A-Z]{3,})\s+(\S.*)", line)
        if remark:
            self.source.fields.setdefault("%" + remark[1], []).append(remark[2].strip())
        elif re.match(r"[A-Za-z]:", line) and line[0] in "LMUImABCDFGHNORSZ":
            self._field(line[0], line[2:])
            self.out.append(line)

    def line(self, line: str) -> None:
        """Take one line of the tune."""
        if not line.strip() or (self.gap and not _looks_musical(line)):
            return
        if line.startswith("%%"):
            self._directive(line)
        elif line.startswith("%"):
            return
        elif (found := _FIELD.match(line)) and not (
            self.key_seen and _NOTE_NOT_FIELD.match(line)
        ):
            self._field_line(found[1], found[2])
        elif self.key_seen:
            self.body = True
            self._music(line)

    def reads_on(self, lines: list[str]) -> bool:
        """Whether a tune goes on behind an empty line, which should have ended it."""
        if self.gap:
            return True
        self.gap = any(_looks_musical(line) and not _FIELD.match(line) for line in lines)
        if self.gap:
            self.source.assumed.append("an empty line inside the tune: read on after it")
        return self.gap

    def finish(self) -> Source:
        """The whole tune."""
        moved = any(v.transpose for v in self.source.voices.values())
        moved |= any(m.kind == "transpose" for m in self.source.markers)
        if self.source.octave_marked and moved:
            self.source.assumed.append("octave marks (8va) outweigh MIDI transposition")
        # The library cuts an unfinished last bar by the metre; a bar line keeps it whole.
        for voice in self.barred:
            if not re.search(r"[|\]:]\s*\\?\s*$", self.out[self.last[voice]]):
                self.out[self.last[voice]] = self.out[self.last[voice]].rstrip(" \t\\") + " |"
        self.source.text = "\n".join(self.out) + "\n"
        return self.source

    def _field(self, letter: str, value: str) -> None:
        value = re.split(r"(?<!\\)%", value, maxsplit=1)[0].strip()
        if value:
            self.source.fields.setdefault(letter, []).append(value)

    def _field_line(self, letter: str, value: str) -> None:
        if letter in "wWr+":  # words; the library takes remarks (r:) for notes
            if letter == "W":
                self._field(letter, value)
            elif letter == "w" and not self.verse:
                self._named(self.voice).syllables += len(_SYLLABLE.findall(value))
                self.verse = True
            return
        if letter == "V":
            value = self._voice(value)
        elif letter == "K":
            if not self.key_seen:
                self._field(letter, value)
            self.key_seen = True
            value = self._key(value)
        elif letter == "P" and self.key_seen:
            self.pending.append(("part", value.split("%", 1)[0].strip()))
            return
        elif letter == "I" and re.match(r"\s*(?:MIDI|propagate)", value):
            self._directive("I:" + value)
            return
        elif not self.key_seen:
            self._field(letter, value)
        self.out.append(f"{letter}:{value}")

    def _key(self, value: str) -> str:
        value = value.split("%", 1)[0].rstrip()
        # Pipe tunes have two sharps whether the signature is printed or not (2.1).
        value = re.sub(r"^\s*H[Pp]\b", "D", value)
        value = re.sub(r"^(\s*[A-G][#b]?[A-Za-z]*)(?=[=^_])", r"\1 ", value)
        return self._octave(value)

    def _octave(self, value: str) -> str:
        """Octave marks in the one form that the library follows."""
        if re.search(r"[+-]8(?:va)?\b|octave=", value):
            self.source.octave_marked = True
        value = re.sub(r"([+-]8)va\b", r"\1", value)
        return re.sub(r"(?:^|(?<=\s))([+-])8(?=\s|$)", r" octave=\g<1>1", value)

    def _voice(self, value: str) -> str:
        value = value.split("%", 1)[0].strip()
        ident = value.split(None, 1)[0] if value else ""
        voice = self._named(ident)
        options = {k.lower(): v.strip('"') for k, v in _OPTION.findall(value)}
        voice.name = options.get("name", options.get("nm", voice.name))
        voice.abbreviation = options.get("snm", options.get("subname", voice.abbreviation))
        self.voice = ident
        return self._octave(value)

    def _named(self, ident: str) -> Voice:
        if ident not in self.source.voices:
            first = self.source.voices.get("", Voice())
            self.source.voices[ident] = Voice(
                program=first.program, transpose=first.transpose, percussion=first.percussion
            )
        return self.source.voices[ident]

    def _directive(self, line: str) -> None:
        if midi := _MIDI.match(line):
            self._midi(midi[1].lower(), _numbers(midi[2].split("%")[0]))
        elif staves := re.match(r"%%(?:score|staves)\s+(.*)", line):
            self.source.staves = _staves(staves[1])
        elif re.match(r"(?:%%|I:\s*)propagate-accidentals\s+(?:octave|not)", line):
            self.carry = False
        self.out.append(line)

    def _midi(self, what: str, numbers: list[int]) -> None:
        if not numbers or what not in ("program", "transpose", "channel"):
            return
        value = numbers[-1]
        voice = self._named(self.voice)
        if what == "program" and 0 <= value < 128:
            named = [v for ident, v in self.source.voices.items() if ident]
            channel = numbers[0] - 1 if len(numbers) > 1 else -1
            (named[channel] if 0 <= channel < len(named) else voice).program = value
        elif what == "channel":
            voice.percussion = value == 10
        elif what == "transpose":
            if self.body:
                self.pending.append(("transpose", str(value)))
            else:
                voice.transpose = value

    def _mark(self, kind: str, value: str, closes: bool = False) -> str:
        self.source.markers.append(Marker(kind, value, self.voice, closes))
        return f'"^{MARK}{len(self.source.markers) - 1}"'

    def _line_start(self) -> str:
        marks = self._mark("line", "") + "".join(self._mark(*p) for p in self.pending)
        self.pending = []
        return marks

    def _music(self, line: str) -> None:
        lead = re.match(r"\s*\[V:([^\]]*)\]", line)
        if lead:
            value = self._voice(lead[1])
            line = line[lead.end() :]
        line = _OLD_CHORD.sub(r"[\1]", line)
        start = self._line_start()
        marked = _TOKEN.sub(self._token, self._carried(line) if self.carry else line)
        self.source.notes += len(_NOTE.findall(_TOKEN.sub(" ", line)))
        self.verse = False
        self._put((f"[V:{value}]" if lead else "") + start + marked)

    def _put(self, line: str) -> None:
        """Add a line of music; one that waits for a note (`A>`) is joined to it."""
        last = self.last.get(self.voice, -1)
        if last >= 0 and re.match(r'("[^"]*")+\s*-', line):  # a tie from the line before
            self.out[last] = re.sub(r"(\s*[|:\]]*\s*\\?)$", r"-\1", self.out[last], count=1)
        waits = last == len(self.out) - 1 and re.search(r"[<>]\s*\\?\s*$", self.out[last])
        if waits and not line.startswith("["):
            self.out[last] = self.out[last].rstrip(" \t\\") + line
        else:
            self.out.append(line)
        self.last[self.voice] = len(self.out) - 1
        self.barred |= {self.voice} if "|" in line else set()

    def _carried(self, line: str) -> str:
        """Write out accidentals that hold to the bar line.

        They hold in every octave (2.1, I:propagate-accidentals, whose default is
        'pitch', from memory); the library carries them in their own octave only.
        """
        signs = self.carried.setdefault(self.voice, {})

        def piece(found: re.Match[str]) -> str:
            if found["bar"]:
                signs.clear()
            elif found["note"]:
                letter = found["note"].upper()
                if found["sign"]:
                    signs[letter] = found["sign"]
                elif letter in signs:
                    return signs[letter] + found["note"]
            return found[0]

        return _PIECE.sub(piece, line)

    def _token(self, found: re.Match[str]) -> str:
        text = found[0]
        if text[0] == "%":
            return ""
        if text[:1] in "[|" and text[1].isdigit():
            return text + self._mark("ending", text[1:])
        if text[0] == "[":
            return self._inline(text[1], text[3:-1])
        jump = _JUMPS.get(re.sub(r"[^a-z]", "", text.lower()))
        if jump is None:
            return text
        closes = _CLOSES.match(found.string, found.end()) is not None
        if jump == "segno":
            if closes and self.voice in self.signed:  # behind the last note: back to the sign
                jump = "dalsegno"
            self.signed.add(self.voice)
        return self._mark("jump", jump, closes)

    def _inline(self, letter: str, value: str) -> str:
        if letter == "V":
            return f"[V:{self._voice(value)}]" + self._line_start()
        if letter == "K":
            return f"[K:{self._key(value)}]"
        if letter == "P":
            return self._mark("part", value.strip())
        if letter == "I" and (midi := _MIDI.match("I:" + value)):
            self._midi(midi[1].lower(), _numbers(midi[2]))
            return self._line_start() if self.pending else ""
        return "" if letter == "r" else f"[{letter}:{value}]"


def _numbers(text: str) -> list[int]:
    return [int(number) for number in re.findall(r"-?\d{1,6}", text)]


def _looks_musical(line: str) -> bool:
    """Whether a line behind an empty line is music or a field, not prose."""
    return bool(re.match(r"[A-Za-z]:|%%", line)) or (
        "|" in line
        and not re.search(r"[A-Za-z]{2}[h-tH-Y]|[i-tI-KN-RUVWY]", _TOKEN.sub(" ", line))
    )


def _staves(text: str) -> list[tuple[list[list[str]], bool]]:
    """Groups of `%%score`: (staves, each with its voices; whether a brace joins them)."""
    groups: list[tuple[list[list[str]], bool]] = []
    brace: list[list[str]] | None = None
    paren: list[str] | None = None
    for token in re.findall(r"[{}()]|[^\s{}()\[\]|*]+", text.split("%", 1)[0]):
        if token == "{":
            brace = []
            groups.append((brace, True))
        elif token == "}":
            brace = None
        elif token == ")":
            paren = None
        elif token != "(" and paren is not None:
            paren.append(token)
        else:
            staff = [] if token == "(" else [token]
            paren = staff if token == "(" else None
            if brace is None:
                groups.append(([staff], False))
            else:
                brace.append(staff)
    return groups
