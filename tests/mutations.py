"""Damaged scores: seeds of every format, and ways to damage them at random.

A mutant is named by (seed, number): the same two give the same bytes, so that what
one of them brings to light can be made again.
"""

from __future__ import annotations

import io
import random
import re
import zipfile
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

from corpusreg.building.extract import extract_file
from corpusreg.corpus.files import FORMATS, SourceFile, bundled_root
from corpusreg.score.pitch import note_name
from corpusreg.store.tables import checked
from corpusreg.system.isolate import Limits

__all__ = ["LIMITS", "measured", "mutant", "seeds", "wrong_reasons"]

LIMITS = Limits(cpu_seconds=20, wall_seconds=60, memory=1_000_000_000)
_DEMO = Path(__file__).parents[1] / "demo" / "pieces"
# Small scores inside the music21 package, with repeats, splits, tuplets and lyrics.
_BUNDLED = (
    "bach/bwv66.6.mxl",
    "bach/bwv366.krn",
    "chopin/mazurka06-2.krn",
    "schoenberg/opus19/movement6.mxl",
    "beethoven/opus18no1/movement3.krn",
    "demos/multiple-verses.xml",
    "demos/two-voices.xml",
    "demos/nested_tuplet_finale_test.xml",
    "demos/voices_with_chords.xml",
    "demos/drum_sample.xml",
    "ryansMammoth/ForgetMeNot.abc",
    "theoryExercises/TriadExercise.mxl",
    "ryansMammoth/CampMeetingJig.abc",
    "ryansMammoth/NationalGuardsHornpipe.abc",
)
_LARGEST = 80_000  # bytes
_NUMBERS = (
    "0", "-1", "1", "2147483648", "-9223372036854775809", "1" + "0" * 40, "1e400", "nan", "inf",
    "1/0", "0.5", "", "x", "\u0663", "1_000", "+3", "00000007",
)  # fmt: skip
_WORDS = {
    "xml": (
        "<note>",
        "</note>",
        "</measure>",
        "</part>",
        "<backup><duration>9</duration></backup>",
        "<forward><duration>4</duration></forward>",
        "<grace/>",
        "<chord/>",
        "<rest/>",
        '<repeat direction="backward"/>',
        '<ending number="1,2" type="start"/>',
        "&x;",
        "<![CDATA[",
        "<!-- ",
        '<tie type="start"/>',
        "<divisions>0</divisions>",
        "<beats>0</beats>",
        "<beat-type>0</beat-type>",
        "<transpose><chromatic>99</chromatic></transpose>",
        '<octave-shift type="up" size="15"/>',
        "<alter>0.5</alter>",
        "<octave>99</octave>",
        '<sound tempo="0" dynamics="-1"/>',
        "<unpitched/>",
        "\x00",
        "\ud7ff",
    ),
    "kern": (
        "\n*^",
        "\n*v\t*v",
        "\n*-",
        "\n=1\t=1",
        "\n==",
        "\n!!!COM: ",
        "\n*M0/4",
        "\n*clefX9",
        ".",
        "4CCCCCCCC",
        "q",
        "[",
        "]",
        "_",
        "\t",
        "\n*>[A,A,B]",
        "\n*>A",
        "0",
        "3%2",
        "\n*Trd99c99",
        "\n*x\t*x",
        "\n**kern",
        "\r",
        "\x00",
    ),
    "abc": (
        "|:",
        ":|",
        "[1",
        "|2",
        "\nX:1",
        "\nM:0/0",
        "\nL:1/0",
        "\nK:none",
        "\nV:9",
        "{",
        "}",
        "(3",
        "(9:9:9",
        "[",
        "]",
        "-",
        "^^^",
        ",,,,,,,,",
        "''''''''",
        "z999999",
        "Z99",
        "\\\n",
        "%%",
        "!",
        "\nw: ",
        "\nP:(A3.B)9",
        "C0",
        "C/0",
        "C////////",
        "&",
        "\x00",
        "\nK:C transpose=999",
    ),
}


def measured(item: tuple[str, int, str]) -> tuple[int, list[str]]:
    """Works in one mutant and the reasons of its failures; to be called in a worker.

    item: name of the seed, number of the mutant, folder for its file.
    """
    name, number, folder = item
    path = Path(folder) / f"{number}-{name}"
    try:
        path.write_bytes(mutant(name, seeds()[name], number))
        rows = extract_file(
            SourceFile("mutants", name, path, FORMATS[path.suffix], path.stat().st_size)
        )
        checked(rows)
    finally:
        path.unlink(missing_ok=True)
    return len(rows.get("works", [])), [str(row[-1]) for row in rows.get("failures", [])]


def wrong_reasons(reasons: list[str]) -> list[str]:
    """Reasons of failures that are not one plain line."""
    return [r for r in reasons if "\n" in r or "Traceback" in r or not r.strip()]


@lru_cache
def seeds() -> dict[str, bytes]:
    """Content by file name of the scores that are damaged, all formats among them."""
    root = bundled_root()
    paths = [*sorted(_DEMO.iterdir()), *(root / name for name in _BUNDLED)]
    found = {path.name: path.read_bytes() for path in paths if path.stat().st_size <= _LARGEST}
    return found | {"melody.mid": _midi(), "melody.mei": _mei()}


def mutant(name: str, content: bytes, number: int) -> bytes:
    """Damaged content of a seed; the same number gives the same damage."""
    draw = random.Random(f"{name}:{number}")
    suffix = Path(name).suffix
    if suffix == ".mxl" and draw.random() < 0.8:
        return _in_archive(content, draw)
    for _ in range(draw.choice((1, 1, 1, 2, 3, 8))):
        content = _damaged(suffix, content, draw)
    return content


def _damaged(suffix: str, content: bytes, draw: random.Random) -> bytes:
    kind = {".krn": "kern", ".abc": "abc"}.get(suffix, "xml")
    ways: list[Callable[[bytes, random.Random], bytes]] = [
        _flipped, _cut, _doubled, _inserted, _truncated, _swapped,
    ]  # fmt: skip
    if suffix not in (".mid", ".mxl"):
        ways += 3 * [_renumbered, lambda old, r: _worded(old, r, _WORDS[kind])]
    if kind == "xml" and suffix not in (".mid", ".mxl"):
        ways += 2 * [_without_element, _nested]
    return draw.choice(ways)(content, draw)


def _span(content: bytes, draw: random.Random, most: int = 400) -> tuple[int, int]:
    start = draw.randrange(len(content) + 1)
    return start, min(len(content), start + draw.randrange(1, most))


def _flipped(content: bytes, draw: random.Random) -> bytes:
    changed = bytearray(content)
    for _ in range(draw.randrange(1, 12)):
        if changed:
            changed[draw.randrange(len(changed))] = draw.randrange(256)
    return bytes(changed)


def _cut(content: bytes, draw: random.Random) -> bytes:
    a, b = _span(content, draw)
    return content[:a] + content[b:]


def _doubled(content: bytes, draw: random.Random) -> bytes:
    a, b = _span(content, draw)
    return content[:b] + content[a:b] * draw.choice((1, 1, 5, 40)) + content[b:]


def _inserted(content: bytes, draw: random.Random) -> bytes:
    at = draw.randrange(len(content) + 1)
    return content[:at] + draw.randbytes(draw.randrange(1, 20)) + content[at:]


def _truncated(content: bytes, draw: random.Random) -> bytes:
    return content[: draw.randrange(len(content) + 1)]


def _swapped(content: bytes, draw: random.Random) -> bytes:
    (a, b), (c, d) = sorted((_span(content, draw), _span(content, draw)))
    return content[:a] + content[c:d] + content[b:c] + content[a:b] + content[d:]


def _renumbered(content: bytes, draw: random.Random) -> bytes:
    found = list(re.finditer(rb"\d+", content))
    if not found:
        return content
    at = draw.choice(found)
    return content[: at.start()] + draw.choice(_NUMBERS).encode() + content[at.end() :]


def _worded(content: bytes, draw: random.Random, words: tuple[str, ...]) -> bytes:
    at = draw.randrange(len(content) + 1)
    word = draw.choice(words).encode("utf-8", "surrogatepass")
    return content[:at] + word * draw.choice((1, 1, 1, 60)) + content[at:]


def _without_element(content: bytes, draw: random.Random) -> bytes:
    found = list(re.finditer(rb"<([a-z-]+)[^>/]*>[^<]*</\1>", content))
    if not found:
        return content
    at = draw.choice(found)
    other = draw.choice(found).group() if draw.random() < 0.5 else b""
    return content[: at.start()] + other + content[at.end() :]


def _nested(content: bytes, draw: random.Random) -> bytes:
    deep = draw.choice((10, 300, 5000))
    at = content.find(b">", draw.randrange(len(content) + 1)) + 1
    return content[:at] + b"<note>" * deep + b"</note>" * deep + content[at:]


def _in_archive(content: bytes, draw: random.Random) -> bytes:
    """An archive whose members are damaged, renamed or swollen."""
    target = io.BytesIO()
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as old:
            members = [(each, old.read(each)) for each in old.namelist()]
    except (zipfile.BadZipFile, ValueError):
        return content
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for name, data in members:
            way = draw.random()
            if way < 0.6:
                data = _damaged(".xml", data, draw)
            elif way < 0.7:
                name = draw.choice(
                    ("../../out.xml", "/tmp/out.xml", ".", "a" * 300, "x\\y.xml")
                )
            elif way < 0.75:
                data += b" " * 40_000_000
            if way < 0.95:
                new.writestr(zipfile.ZipInfo(name), data, zipfile.ZIP_DEFLATED)
    return target.getvalue()


def _midi() -> bytes:
    """A small MIDI file with two tracks, a pedal, running status and a tempo."""
    notes = b"".join(
        bytes((0, 0x90, 60 + n % 12, 80, 0x60, 0x80, 60 + n % 12, 0)) for n in range(40)
    )
    head = b"\x00\xff\x51\x03\x07\xa1\x20\x00\xff\x58\x04\x03\x02\x18\x08\x00\xb0\x40\x7f"
    tracks = [head + notes, b"\x00\xff\x03\x04Bass" + notes.replace(b"\x90", b"\x91")]
    end = b"\x00\xff\x2f\x00"
    chunks = [b"MTrk" + (len(t) + 4).to_bytes(4, "big") + t + end for t in tracks]
    return b"MThd\x00\x00\x00\x06\x00\x01\x00\x02\x00\x60" + b"".join(chunks)


def _mei() -> bytes:
    """A small MEI file of sixteen bars."""
    names = [note_name(60 + n) for n in (0, 2, 4, 5, 7, 9, 11, 12)]
    notes = "".join(f'<note pname="{n[0].lower()}" oct="{n[-1]}" dur="8"/>' for n in names)
    bars = "".join(
        f'<measure n="{n}"><staff n="1"><layer n="1">{notes}</layer></staff></measure>'
        for n in range(1, 17)
    )
    return (
        '<?xml version="1.0"?><mei xmlns="http://www.music-encoding.org/ns/mei"><music><body>'
        '<mdiv><score><scoreDef meter.count="4" meter.unit="4"><staffGrp><staffDef n="1" '
        'lines="5" clef.shape="G" clef.line="2"/></staffGrp></scoreDef><section>'
        f"{bars}</section></score></mdiv></body></music></mei>"
    ).encode()
