"""Scores that are well formed and odd, and what commands say of them.

`mutations.py` damages bytes, and most of what it makes is refused by a reader. A variant
is changed in the terms of its format, so that it is read, and what measures, places, draws
and tells it is tried: parts of unequal length, notes without duration, bars without number,
forty parts of one name, a tempo of nothing. A variant is named by (seed, number); the same
two give the same bytes.
"""

from __future__ import annotations

import contextlib
import io
import os
import random
import re
import tempfile
import zipfile
from collections.abc import Callable, Sequence
from copy import deepcopy
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import mido
from lxml import etree
from mutations import seeds

from corpusreg import cli
from corpusreg.score.readers.lilypond import box, program
from corpusreg.system import isolate
from corpusreg.system.errors import ReadError
from corpusreg.system.isolate import Limits, usage

__all__ = ["COMMANDS", "LIMITS", "Case", "families", "told", "tried", "variant", "wrong"]

FORMATS = {
    ".musicxml": "MusicXML", ".xml": "MusicXML", ".mxl": "MusicXML", ".krn": "kern",
    ".abc": "ABC", ".mid": "MIDI", ".mei": "MEI", ".ly": "LilyPond",
}  # fmt: skip
_NAMES = ("", " ", "Violin", "=1+1", "-x", "\u202etuba", "🎻" * 40, "n" * 5000, "<b>", "Piano")
_LONG = ("0", "1", "3", "7", "1000", "1000000", "2147483647", "0.5", "-4")
_COPIES = 40
_PASSAGE = 12  # bars that are kept of a seed
DAMAGE = 0.1  # share of variants of which a byte is changed as well


def families() -> dict[str, tuple[str, ...]]:
    """The seeds by format; LilyPond's only where it can be run in its box."""
    found: dict[str, list[str]] = {}
    for name in (*seeds(), *(LILYPOND if _runs_lilypond() else ())):
        found.setdefault(FORMATS[Path(name).suffix], []).append(name)
    return {kind: tuple(sorted(names)) for kind, names in found.items()}


@lru_cache
def _runs_lilypond() -> bool:
    try:
        program.executable()
    except ReadError:
        return False
    return not box.fault()


def variant(name: str, number: int) -> bytes:
    """A seed changed in one to four ways; the same number gives the same ways."""
    draw = random.Random(f"variant {name}:{number}")
    suffix, times = Path(name).suffix, draw.choice((1, 1, 2, 2, 3, 4))
    if suffix == ".ly":
        return _varied_source(LILYPOND[name], times, draw)
    content = seeds()[name]
    if suffix == ".krn":
        made = _varied_lines(content, times, draw)
    elif suffix == ".abc":
        made = _varied_tunes(content, times, draw)
    elif suffix == ".mid":
        made = _varied_midi(content, times, draw)
    elif suffix == ".mei":
        made = _varied_tree(content, times, draw, MEI)
    elif suffix == ".mxl":
        made = _packed(_varied_tree(_unpacked(content), times, draw, MUSICXML))
    else:
        made = _varied_tree(content, times, draw, MUSICXML)
    if made and draw.random() < DAMAGE:
        changed = bytearray(made)
        changed[draw.randrange(len(changed))] = draw.randrange(256)
        return bytes(changed)
    return made


# --- MusicXML and MEI -----------------------------------------------------------------------

_Root = etree._Element
_Way = Callable[[_Root, random.Random], None]


def _varied_tree(
    content: bytes, times: int, draw: random.Random, ways: Sequence[_Way]
) -> bytes:
    root = etree.fromstring(content, etree.XMLParser(resolve_entities=False, load_dtd=False))
    _shortened(root, draw)
    for _ in range(times):
        draw.choice(ways)(root, draw)
    return etree.tostring(root, xml_declaration=True, encoding="utf-8")


def _shortened(root: _Root, draw: random.Random) -> None:
    """Most variants are short, so that thousands can be tried."""
    if draw.random() < 0.1:
        return
    for part in _of(root, "part") or [root]:
        for bar in _of(part, "measure")[_PASSAGE:]:
            _out(bar)


def _of(root: _Root, tag: str) -> list[_Root]:
    return list(root.iter(f"{{*}}{tag}"))


def _some(found: Sequence[_Root], draw: random.Random) -> list[_Root]:
    """One of them, some, or all."""
    if not found:
        return []
    share = draw.choice((0.0, 0.1, 0.5, 1.0))
    return [each for each in found if draw.random() < share] or [draw.choice(found)]


def _out(element: _Root) -> None:
    parent = element.getparent()
    if parent is not None:
        parent.remove(element)


def _text(tag: str, values: Sequence[str]) -> _Way:
    """A way that gives elements of that name another text."""

    def way(root: _Root, draw: random.Random) -> None:
        for each in _some(_of(root, tag), draw):
            each.text = draw.choice(values)

    return way


def _attribute(tag: str, name: str, values: Sequence[str]) -> _Way:
    def way(root: _Root, draw: random.Random) -> None:
        for each in _some(_of(root, tag), draw):
            each.set(name, draw.choice(values))

    return way


def _added(tag: str, texts: Sequence[str], *, first: bool = False) -> _Way:
    """A way that puts elements of MusicXML into some of that name."""

    def way(root: _Root, draw: random.Random) -> None:
        for each in _some(_of(root, tag), draw):
            new = etree.fromstring(draw.choice(texts))
            each.insert(0 if first else draw.randrange(len(each) + 1), new)

    return way


def _gone(tag: str) -> _Way:
    def way(root: _Root, draw: random.Random) -> None:
        for each in _some(_of(root, tag), draw):
            _out(each)

    return way


def _twice(tag: str, most: int) -> _Way:
    def way(root: _Root, draw: random.Random) -> None:
        found = _of(root, tag)
        if found:
            each = draw.choice(found)
            for _ in range(draw.choice((1, most))):
                each.addnext(deepcopy(each))

    return way


def _exchanged(tag: str) -> _Way:
    def way(root: _Root, draw: random.Random) -> None:
        found = _of(root, tag)
        if len(found) > 1:
            one, other = draw.sample(found, 2)
            one[:], other[:] = deepcopy(other)[:], deepcopy(one)[:]

    return way


def _silent(root: _Root, draw: random.Random) -> None:
    """Notes become rests."""
    for pitch in _some(_of(root, "pitch"), draw):
        pitch.tag = "rest"
        pitch[:] = []


def _of_one_name(root: _Root, draw: random.Random) -> None:
    """Many parts, all of one name."""
    entries, parts = _of(root, "score-part"), _of(root, "part")
    if not entries or not parts:
        return
    for number in range(draw.choice((1, _COPIES))):
        for each, id_ in ((entries[-1], "id"), (parts[-1], "id")):
            new = deepcopy(each)
            new.set(id_, f"Q{number}")
            each.addnext(new)


MUSICXML: tuple[_Way, ...] = (
    _text("duration", _LONG),
    _text("octave", ("-1", "0", "4", "9", "10")),
    _text("alter", ("-3", "-2", "0", "2", "3", "0.5")),
    _text("divisions", ("1", "7", "480", "0", "16384")),
    _text("voice", ("1", "2", "9", "", "x")),
    _text("staff", ("1", "2", "3", "0")),
    _text("beats", ("0", "1", "3+2", "99", "")),
    _text("beat-type", ("1", "64", "0", "4")),
    _text("part-name", _NAMES),
    _text("work-title", _NAMES),
    _text("fifths", ("-7", "7", "99")),
    _attribute("measure", "number", ("", "0", "X1", "1", "99999999999", "1a", "-3")),
    _attribute("measure", "implicit", ("yes",)),
    _attribute("sound", "tempo", ("0", "0.0001", "1e9", "nan", "")),
    _gone("note"), _gone("measure"), _gone("attributes"), _gone("duration"), _gone("part"),
    _gone("pitch"), _gone("part-name"),
    _twice("measure", 30), _twice("note", 60), _twice("attributes", 2),
    _exchanged("measure"), _exchanged("note"), _silent, _of_one_name,
    _added("note", ("<grace/>", "<chord/>", '<tie type="start"/>', '<tie type="stop"/>',
                    "<cue/>", '<grace slash="yes"/>'), first=True),
    _added("measure", (
        '<barline location="right"><repeat direction="backward" times="3"/></barline>',
        '<barline location="left"><repeat direction="forward"/></barline>',
        '<barline location="left"><ending number="1" type="start"/></barline>',
        '<barline location="right"><ending number="2" type="stop"/></barline>',
        '<direction><direction-type><segno/></direction-type><sound segno="s"/></direction>',
        '<direction><direction-type><words>D.S.</words></direction-type>'
        '<sound dalsegno="s"/></direction>',
        '<direction><direction-type><words>D.C.</words></direction-type>'
        '<sound dacapo="yes"/></direction>',
        '<direction><sound tempo="0"/></direction>',
        '<direction><sound dynamics="0"/></direction>',
        '<direction><direction-type><octave-shift type="up" size="15"/></direction-type>'
        "</direction>",
        "<backup><duration>3</duration></backup>",
        "<backup><duration>1000000</duration></backup>",
        "<forward><duration>9</duration></forward>",
        "<attributes><transpose><chromatic>60</chromatic></transpose></attributes>",
        "<attributes><time><senza-misura/></time></attributes>",
        "<attributes><time><beats>1</beats><beat-type>64</beat-type></time></attributes>",
        "<attributes><measure-style><multiple-rest>99</multiple-rest></measure-style>"
        "</attributes>",
    )),
)  # fmt: skip
MEI: tuple[_Way, ...] = (
    _attribute("note", "oct", ("0", "9", "-1", "x")),
    _attribute("note", "dur", ("1", "2048", "breve", "0", "")),
    _attribute("note", "dots", ("1", "4", "-1")),
    _attribute("note", "tie", ("i", "m", "t")),
    _attribute("note", "grace", ("acc", "unacc")),
    _attribute("measure", "n", ("", "0", "x", "1")),
    _attribute("measure", "right", ("rptend", "rptboth", "end")),
    _attribute("scoreDef", "meter.unit", ("0", "64", "1")),
    _attribute("staffDef", "label", _NAMES),
    _attribute("staffDef", "trans.semi", ("60", "-60")),
    _gone("note"), _gone("measure"), _gone("staff"), _gone("staffDef"),
    _twice("measure", 30), _twice("note", 60), _twice("layer", 3), _twice("staff", 3),
    _exchanged("measure"),
)  # fmt: skip


def _unpacked(content: bytes) -> bytes:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        (name,) = (n for n in archive.namelist() if "META-INF" not in n)
        return archive.read(name)


def _packed(content: bytes) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in (
            (
                "META-INF/container.xml",
                b'<container><rootfiles><rootfile full-path="s.xml"/></rootfiles></container>',
            ),
            ("s.xml", content),
        ):
            archive.writestr(
                zipfile.ZipInfo(name), data, zipfile.ZIP_DEFLATED
            )  # without a date
    return target.getvalue()


# --- kern -----------------------------------------------------------------------------------

_TOKENS = (
    ".", "4r", "4C", "16ccccc", "4CCCCC", "0C", "00C", "4C 4c 4cc", "[4C", "4C]", "4C_", "qC",
    "8Cq", "3%2C", "4.C#", "4C##", "4B--", "4Cn;", "128cc", "4..C", "20C", "4CL", "1000C",
)  # fmt: skip
_MARKS = (
    "*M0/4", "*M1/64", "*M99/1", "*M3+2/8", "*clefF4", "*clefX9", "*MM0.001", "*MM99999",
    "*Trd7c12", "*Trd-1c-2", "*ITrd0c60", "*k[]", "*", "*I\"", "*I\"=1+1", "*>A", "*>B",
    "*>[A,A,B,A]", "*met(c)", "*8va", "*X8va",
)  # fmt: skip
_BARS = ("=", "=1", "==", "=:|!", "=!|:", "=:|!|:", "=99999", "=3a", "=-", "=x")


def _varied_lines(content: bytes, times: int, draw: random.Random) -> bytes:
    rows = [line.split("\t") for line in content.decode("utf-8", "replace").splitlines()]
    if draw.random() < 0.9:
        bars = [at for at, row in enumerate(rows) if row[0].startswith("=")]
        if len(bars) > _PASSAGE:
            rows = [*rows[: bars[_PASSAGE]], ["*-"] * len(rows[bars[_PASSAGE]])]
    for _ in range(times):
        _varied_rows(rows, draw)
    return "\n".join("\t".join(row) for row in rows).encode()


def _varied_rows(rows: list[list[str]], draw: random.Random) -> None:
    data = [r for r, row in enumerate(rows) if row[0][:1] not in "*!=" and row != [""]]
    if not data:
        return
    way, at = draw.randrange(9), draw.choice(data)
    width = len(rows[at])
    if way == 0:  # tokens
        share = draw.choice((0.0, 0.1, 1.0))
        for row in {at, *(r for r in data if draw.random() < share)}:
            rows[row][draw.randrange(len(rows[row]))] = draw.choice(_TOKENS)
    elif way == 1:  # marks in one spine or in all
        mark = draw.choice(_MARKS)
        rows.insert(at, [mark if draw.random() < 0.7 else "*" for _ in range(width)])
    elif way == 2:  # barlines
        rows.insert(at, [draw.choice(_BARS)] * width)
    elif way == 3:  # records go
        del rows[at : at + draw.choice((1, 3, 40))]
    elif way == 4:  # records come again
        rows[at:at] = [list(row) for row in rows[at : at + draw.choice((1, 8))]] * draw.choice(
            (1, 20)
        )
    elif way == 5:  # a spine falls silent
        spine = draw.randrange(width)
        for row in data:
            if spine < len(rows[row]):
                rows[row][spine] = "."
    elif way == 6:  # a spine splits and joins
        spine = draw.randrange(width)
        split = ["*"] * width
        split[spine] = "*^"
        joined = ["*"] * (width + 1)
        joined[spine] = joined[spine + 1] = "*v"
        twice = [*rows[at][: spine + 1], "4c", *rows[at][spine + 1 :]]
        rows[at : at + 1] = [split, twice, joined]
    elif way == 7:  # names
        rows.insert(0, [f"!!!{draw.choice(('COM', 'OTL', 'ODT'))}: {draw.choice(_NAMES)}"])
    else:  # more spines
        for row in rows:
            if not row[0].startswith("!!"):
                row += row[-1:] * draw.choice((1, 8))


# --- ABC ------------------------------------------------------------------------------------

_FIELDS = (
    "M:0/4", "M:C|", "M:none", "M:99/1", "L:1/1", "L:1/512", "Q:1/4=0", "Q:1/4=99999", "K:none",
    "K:C clef=bass", "K:Hp", "K:C transpose=24", "K:Cb", "V:1", "V:2 name=\"=1+1\"", "T:",
    "P:AABA", "R:reel", "I:linebreak $", "%%MIDI program 40", "w: la- la", "N:x",
)  # fmt: skip
_SIGNS = (
    "z8", "Z4", "C,,,,", "c''''", "^^^c", "=c", "C0", "C/16", "C99", "(3abc", "(9:2:9abc",
    "[CEG]", "[C16E2]", "{ab}", "-", "|:", ":|", "[1", "[2", "::", "|]", "||",
    "!fermata!", "!D.C.!", "!D.S.!", "!segno!", "!coda!", "&", "y",
    "x4", "\"Am\"", ".c", "~c", "T", ">", "<<",
)  # fmt: skip


def _varied_tunes(content: bytes, times: int, draw: random.Random) -> bytes:
    lines = content.decode("utf-8", "replace").splitlines()
    for _ in range(times):
        body = [n for n, line in enumerate(lines) if not re.match(r"[A-Za-z+]:|%|\s*$", line)]
        if not body:
            break
        way, at = draw.randrange(7), draw.choice(body)
        signs = lines[at].split(" ")
        if way == 0:
            lines.insert(draw.randrange(len(lines) + 1), draw.choice(_FIELDS))
        elif way == 1:
            place = draw.randrange(len(signs) + 1)
            signs[place:place] = [draw.choice(_SIGNS)] * draw.choice((1, 1, 30))
            lines[at] = " ".join(signs)
        elif way == 2:
            draw.shuffle(signs)
            lines[at] = " ".join(signs)
        elif way == 3:
            lines[at] = re.sub(r"[A-Ga-g]", lambda _: draw.choice("CDzx,'cA"), lines[at])
        elif way == 4:
            del lines[at]
        elif way == 5:
            lines[at:at] = lines[at : at + 2] * draw.choice((1, 25))
        else:
            lines = [re.sub(r"^([KMLT]):.*", draw.choice(_FIELDS), line) for line in lines]
    return "\n".join(lines).encode()


# --- LilyPond -------------------------------------------------------------------------------

LILYPOND = {
    "lantern.ly": r"""\version "2.24.0"
\header { title = "Lantern" composer = "Nobody" }
tune = \relative c'' {
  \time 3/4 \key d \major \tempo 4 = 90
  a4 b8 cis d4 | e2 d4 | cis4 b a | fis2. |
  \repeat volta 2 { d'4. e8 fis4 | e4 d cis | b2 a4 | d2. | }
}
ground = \relative c {
  \clef bass \key d \major
  d4 a' fis' | a,2. | a4 g fis | d2. |
  \repeat volta 2 { b'2 b4 | g2 a4 | g4 e a | d,2. | }
}
\score {
  <<
    \new Staff \with { instrumentName = "Violin" midiInstrument = "violin" } \tune
    \new Staff \with { instrumentName = "Cello" midiInstrument = "cello" } \ground
  >>
  \layout { } \midi { }
}
""",
    "two-windows.ly": r"""\version "2.18.2"
\header { title = "Two Windows" }
upper = { \time 4/4 c''4 d'' e''8 f'' g''4 | \tuplet 3/2 { a''8 g'' f'' } e''2. | c''1 | }
lower = { \clef bass <c e g>2 <g, d b> | << { c4 d e f } \\ { c1 } >> | R1 | }
\score { \new PianoStaff << \new Staff \upper \new Staff \lower >> }
""",
}
# Words of its music, and what may stand around a source.
_MUSIC = (
    "c''''' c,,,, c'1*1000 c'128 c'\\breve r1*40 R1*300 s1 s1*0 c'4~ q <> [ ] ( \\! "
    "<c'_c'_c''>8 \\sustainOn \\ottava_#2 \\grace_{_c'8_} \\acciaccatura_d''8 \\time_1/64 "
    "\\time_99/1 \\partial_8 \\cadenzaOn \\tempo_4_=_1 \\tempo_4_=_99999 \\bar_\":|.\" "
    "\\set_Score.currentBarNumber_=_#-7 \\mark_\"D.C._al_Fine\" \\change_Staff_=_\"none\" "
    "\\set_Score.measureLength_=_#(ly:make-moment_1/3) \\key_fes_\\locrian \\times_2/3 "
    "\\clef_\"treble^15\" \\transposition_ees #(gone_1) #(ly:error_\"no\") #(exit_3) "
    "\\include_\"english.ly\" \\new_Staff_{_c'1_} \\new_Lyrics_\\lyricmode_{_la_} "
    "\\drummode_{_bd4_} \\p\\< \\repeat_unfold_60 \\repeat_percent_4 \\repeat_tremolo_8 "
    "\\repeat_volta_3 \\unfoldRepeats \\alternative_{_{_c'1_}_{_d'1_}_} \\fixed_c'' "
    "\\transpose_c_ceses''' \\relative"
)  # fmt: skip
_AROUND = (
    "\\book { % }", "% %", "<< % % >>", "\\score { \\new ChoirStaff << % >> }", "% }", "{ %",
    "\\paper { ragged-right = ##t } %", "\\version \"2.10.0\" %", "% \\markup \"n\"",
)  # fmt: skip
_MANY = "\\new Staff \\with { instrumentName = \"Violin\" } { c''1 } " * _COPIES


def _varied_source(text: str, times: int, draw: random.Random) -> bytes:
    for _ in range(times):
        words = text.split(" ")
        music = [k for k, word in enumerate(words) if re.match(r"[a-g](is|es)?[',]*\d", word)]
        way, at = draw.randrange(7), draw.choice(music or [0])
        new = draw.choice(_MUSIC.split()).replace("_", " ")
        if way == 0:
            words[at:at] = [new] * draw.choice((1, 1, 1, 30))
        elif way == 1:
            words[at] = new
        elif way == 2:
            del words[at : at + draw.choice((1, 6))]
        elif way == 3:
            words[at:at] = words[at : at + draw.choice((1, 8))] * draw.choice((1, 25))
        text = " ".join(words)
        if way == 4:  # names
            name = draw.choice(_NAMES)
            text = re.sub('= "[A-Z][^"]*"', lambda _: f'= "{name}"', text)  # noqa: B023
        elif way == 5:  # many staves of one name
            text = text.replace("\\new Staff", f"{_MANY}\\new Staff", 1)
        elif way == 6:
            text = draw.choice(_AROUND).replace("%", text)
    return text.encode()


# --- MIDI -----------------------------------------------------------------------------------


def _varied_midi(content: bytes, times: int, draw: random.Random) -> bytes:
    file = mido.MidiFile(file=io.BytesIO(content))
    for _ in range(times):
        track = draw.choice(file.tracks)
        some = [m for m in track if draw.random() < draw.choice((0.05, 0.5, 1.0))]
        way = draw.randrange(9)
        for message in some:
            if way == 0 and hasattr(message, "note"):
                message.note = draw.choice((0, 1, 60, 127))
            elif way == 1:
                message.time = draw.choice((0, 1, 96, 100_000, 200_000_000))
            elif way == 2 and hasattr(message, "velocity"):
                message.velocity = draw.choice((0, 1, 127))
            elif way == 3 and hasattr(message, "channel"):
                message.channel = draw.choice((9, 3))
            elif way == 4 and message.type == "note_off":
                track.remove(message)
        if way == 5:
            file.ticks_per_beat = draw.choice((1, 7, 32767))
        elif way == 6:
            tempo = draw.choice((1, 500_000, 16_777_215))
            track.insert(draw.randrange(len(track)), mido.MetaMessage("set_tempo", tempo=tempo))
        elif way == 7:
            file.tracks += [deepcopy(track) for _ in range(draw.choice((1, _COPIES)))]
        elif way == 8:
            value = draw.choice((0, 127))
            pedal = mido.Message("control_change", control=64, value=value, channel=0)
            track.insert(draw.randrange(len(track)), pedal)
    target = io.BytesIO()
    file.save(file=target)
    return target.getvalue()


# --- what commands say ----------------------------------------------------------------------

_INTENTIONS = (
    "lighter", "move more", "move less", "clear before 3", "hold bass until 4",
    "narrower in 2-5", "wider", "stay", "lift bass at 2", "lighter in 1-3", "move more at 2",
    "nonsense",
)  # fmt: skip
COMMANDS = ("compare", "full", "json", "report", "contrast", "revise", "handout")
# How many variants one command is given in the benchmark.
TOGETHER = {"compare": 40, "full": 4, "json": 8, "handout": 10}


def command(kind: str, paths: Sequence[Path], to: Path, number: int) -> list[str]:
    """The words of a command over some pieces; to: a new folder for what it writes."""
    draw = random.Random(f"command {kind}:{number}")
    pieces = [str(path) for path in paths]
    if kind == "compare":
        return ["compare", *pieces]
    if kind in ("full", "json"):
        return ["compare", f"--{kind}", *pieces]
    if kind == "report":
        ending = "pdf" if draw.random() < 0.2 else "html"
        return ["compare", *pieces, "--report", str(to / f"report.{ending}")]
    if kind == "contrast":
        given = ["--how", draw.choice(("settled", "narrow", "open"))]
        given += draw.choice(([], ["--bars", "1-3"], ["--json"]))
        given += draw.choice(
            ([], ["--to", str(to / "made.musicxml")], ["--to", str(to / "m.mid")])
        )
        given += draw.choice(([], [], ["--report", str(to / "page.html")]))
        return ["contrast", *pieces, *given]
    if kind == "revise":
        given = ["--toward", draw.choice(_INTENTIONS)]
        given += draw.choice(([], ["--json"], ["--to", str(to / "options")]))
        return ["revise", *pieces, *given]
    assert kind == "handout"
    return ["handout", str(paths[0].parent), "--to", str(to / "sheets")]


@dataclass(frozen=True)
class Told:
    """What came of a command: exit code, or what it raised; both outputs."""

    words: tuple[str, ...]
    code: int | None
    raised: str
    out: str
    err: str


def told(words: Sequence[str]) -> Told:
    """A command in this process; what reads a user's file is in a child of its own."""
    out, err = io.StringIO(), io.StringIO()
    code, raised = None, ""
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            code = cli.main(list(words))
        except BaseException as error:  # noqa: BLE001 - any of them is a defect
            raised = f"{type(error).__name__}: {error}"
    return Told(tuple(words), code, raised, out.getvalue(), err.getvalue())


# An error that nobody foresaw, in the one line that is made of it.
_UNFORESEEN = re.compile(r"(?:^|[ :(])(?!CorpusregError)[A-Z]\w*(?:Error|Exception)\b")
_STOPPED = re.compile(r"crashed|takes more than|needs more than|killed from outside")
_NOT_JSON = re.compile(r"[\[ ,:](?:NaN|-?Infinity)\b")


def wrong(found: Told) -> list[str]:
    """What is not as it should be: each in one line, nothing where all is well."""
    faults = [f"raised {found.raised}"] if found.raised else []
    if found.code not in (0, 1, 2) and not found.raised:
        faults.append(f"exit code {found.code}")
    lines = found.err.splitlines()
    if found.code and not lines:
        faults.append("failed without a word")
    faults += [f"unforeseen: {line}" for line in lines if _UNFORESEEN.search(line)]
    faults += [f"stopped: {line}" for line in lines if _STOPPED.search(line)]
    faults += [
        f"no line of ours: {line}" for line in lines if not line.startswith("corpusreg: ")
    ]
    # A line says which file it is about, or which option.
    names = [Path(word).name for word in found.words if not word.startswith("-")]
    faults += [
        f"names no file: {line}"
        for line in lines
        if "--" not in line and not any(name in line for name in names)
    ]
    if "--json" in found.words and (bad := _NOT_JSON.search(found.out)):
        faults.append(f"no JSON: {bad.group()}")
    if re.search(r"\bnan\b", found.out) and "--json" not in found.words:
        faults.append("'nan' in what is said")
    return [fault[:300] for fault in faults]


# Seconds of computing that no command may take, and for each of its small scores.
SLOW, SLOW_EACH = 20.0, 1.0
LIMITS = Limits(cpu_seconds=300, wall_seconds=900, memory=1_500_000_000)
# Command, format, number of the first variant, how many, folder.
Case = tuple[str, str, int, int, str]


def tried(case: Case) -> tuple[int, int | None, list[str]]:
    """One command over its variants: how many, the exit code, and what is wrong.

    To be called in a bounded worker. Each fault is led by what makes it again.
    """
    kind, family, first, together, folder = case
    names = families()[family]
    with tempfile.TemporaryDirectory(dir=folder) as inside:
        pieces, to = Path(inside) / "pieces", Path(inside) / "to"
        pieces.mkdir()
        to.mkdir()
        paths = []
        for number in range(first, first + together):
            name = names[number % len(names)]
            paths.append(pieces / f"{number}-{name}")
            paths[-1].write_bytes(variant(name, number))
        began = _computing()
        found = told(command(kind, paths, to, first))
        spent = _computing() - began
        faults = wrong(found)
        if spent > SLOW + SLOW_EACH * len(paths):
            faults.append(f"{spent:.0f} s of computing")
        left = [path.name for path in (*to.rglob(".*"), *pieces.iterdir()) if path not in paths]
        faults += [f"left behind: {name}" for name in left]
    return len(paths), found.code, [f"{kind} {family} {first}: {fault}" for fault in faults]


def _computing() -> float:
    """Seconds of this process and of its children so far."""
    times = os.times()
    running = sum(used.cpu_seconds for p in isolate._kept if (used := usage(p.pid)))
    return times.user + times.system + times.children_user + times.children_system + running
