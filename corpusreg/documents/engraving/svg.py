"""What is to be drawn, and what drawing it gave: SVG fit to stand many times in one page.
page.

The engraver writes a mark such as 'pp clair' or the note of a metronome mark as text in
its own music face, which neither a page nor a PDF has: readers would see empty boxes.
Code points: Standard Music Font Layout (SMuFL) 1.4, ranges 'Dynamics', 'Metronome marks',
'Individual notes' and 'Standard accidentals'.

The engraver gives each picture its own copy of every shape, ids on every element, a
style sheet and a description. Here shapes go apart under ids that are the same
everywhere, other ids go, the style sheet becomes attributes, and black becomes
`currentColor`. Only elements and attributes on a list come through. Neighbouring lines of one
kind, such as those of a staff, become one path.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

__all__ = [
    "TENTH", "TEXT_WIDTH", "Engraved", "NotatedPassage", "cleaned", "glyph_sheet", "standalone",
]  # fmt: skip

_SMALLER = 0.7  # letters of the music face are drawn so much smaller than its size
_PRIVATE = re.compile("[\ue000-\uf8ff]")

_LOUDNESS = (
    "p", "m", "f", "r", "s", "z", "n", "pppppp", "ppppp", "pppp", "ppp", "pp", "mp", "mf",
    "pf", "ff", "fff", "ffff", "fffff", "ffffff", "fp", "fz", "sf", "sfp", "sfpp", "sfz",
    "sfzp", "sffz", "rf", "rfz",
)  # fmt: skip

_DYNAMICS = dict(enumerate(_LOUDNESS, start=0xE520))

# Stems up and down look alike as letters. A minim and what is longer has none.
_NOTES = ("double whole note", "double whole note", "whole note", *2 * ("half note",),
          *2 * ("\N{QUARTER NOTE}",), *2 * ("\N{EIGHTH NOTE}",), *2 * ("16th note",),
          *2 * ("32nd note",))  # fmt: skip

_OTHERS = {
    **dict(enumerate(_NOTES, start=0xECA0)),
    **dict(enumerate(_NOTES, start=0xE1D0)),
    0xECB7: ".",
    0xE1E7: ".",
    0xE260: "\N{MUSIC FLAT SIGN}",
    0xE261: "\N{MUSIC NATURAL SIGN}",
    0xE262: "\N{MUSIC SHARP SIGN}",
}


def spell_out(element: Any) -> None:
    """Replace signs of the music face in the text of an SVG element; unknown ones go.

    Dynamics are set bold and slanted, as they are printed.
    """
    text = element.text or ""
    if not _PRIVATE.search(text):
        return
    element.text = text.translate(_DYNAMICS).translate(_OTHERS)
    element.text = _PRIVATE.sub("", element.text)
    if size := re.match(r"[\d.]+", element.get("font-size") or ""):
        element.set("font-size", f"{float(size[0]) * _SMALLER:g}px")
    if any(ord(sign) in _DYNAMICS for sign in text):
        element.set("font-style", "italic")
        element.set("font-weight", "bold")


_SVG = "http://www.w3.org/2000/svg"
_HREF = "{http://www.w3.org/1999/xlink}href"
_DRAWN = frozenset(("path", "ellipse", "rect", "polygon", "polyline"))
_KEPT = _DRAWN | {"g", "use", "text", "tspan", "svg"}

_ATTRIBUTES = frozenset(
    (
        "class", "d", "transform", "x", "y", "x1", "x2", "y1", "y2", "dx", "dy", "cx", "cy",
        "rx", "ry", "width", "height", "points", "fill", "fill-opacity", "stroke-width",
        "stroke-opacity", "stroke-dasharray", "stroke-linecap", "stroke-linejoin",
        "text-anchor", "font-size", "font-style", "font-weight",
    )
)  # fmt: skip

_STYLES = {
    **dict.fromkeys(("ending", "fing", "reh", "tempo"), ("font-weight", "bold")),
    **dict.fromkeys(("dir", "dynam", "mNum"), ("font-style", "italic")),
}

_LINE = re.compile(r"M\s*(-?\d+)[ ,]+(-?\d+)\s*L\s*(-?\d+)[ ,]+(-?\d+)\s*")
_FONT = "Times, 'Times New Roman', 'Liberation Serif', 'Libertinus Serif', serif"


def cleaned(
    root: Any, labels: Sequence[str], title: str
) -> tuple[str, dict[str, str], tuple[float, float]]:
    """(svg, glyphs, (width, height)) of a picture of the engraver, as `Engraved` has them.

    root: the parsed picture; it is used up. labels: printed numbers of its bars, which
    become the attribute `data-bar` of their groups. title: what the picture shows, for
    those who hear it read.
    """
    from lxml import etree

    glyphs = _glyphs(root)
    inner = root.find(f"{{{_SVG}}}svg")
    box = [float(size) for size in inner.get("viewBox").split()]
    scale = min(TENTH / 10, TEXT_WIDTH / box[2])
    width, height = (round(size * scale, 2) for size in box[2:])
    numbers = iter(labels)
    for element in list(inner.iter()):
        if not isinstance(element.tag, str) or _name(element) not in _KEPT or _remark(element):
            _drop(element)
            continue
        _restyle(element)
        spell_out(element)
        if _name(element) == "g" and element.get("class") == "measure":
            element.set("data-bar", next(numbers, ""))
    for group in inner.iter(f"{{{_SVG}}}g"):
        _join_lines(group)
    whole = etree.Element(f"{{{_SVG}}}svg", nsmap={None: _SVG})
    whole.set("viewBox", " ".join(f"{size:g}" for size in box))
    whole.set("width", f"{width}mm")
    whole.set("height", f"{height}mm")
    whole.set("class", "notation")
    whole.set("role", "img")
    whole.set("aria-label", title)
    whole.set("font-family", _FONT)
    whole.set("fill", "currentColor")
    whole.extend(list(inner))
    text = etree.tostring(whole, encoding="unicode")
    return _tight(text), glyphs, (width, height)


def _remark(element: Any) -> bool:
    """Whether an element is no music: coloured words of an editor, or a doubt of the engraver
    about the file."""
    kinds = (element.get("class") or "").split()
    coloured = element.get("color") not in (None, "black", "#000000")
    return "problem" in kinds or (coloured and kinds[:1] in (["verse"], ["dir"]))


def _join_lines(group: Any) -> None:
    """Straight lines that follow one another in a group, and differ in place only, joined."""
    before = None
    for element in list(group):
        line = _LINE.fullmatch(element.get("d") or "") if _name(element) == "path" else None
        if line is None:
            before = None
            continue
        x, y, to_x, to_y = line.groups()
        end = f"H{to_x}" if y == to_y else f"V{to_y}" if x == to_x else f"L{to_x} {to_y}"
        element.set("d", f"M{x} {y}{end}")
        if before is not None and _look(before) == _look(element):
            before.set("d", before.get("d") + element.get("d"))
            _drop(element)
        else:
            before = element


def _look(path: Any) -> dict[str, str]:
    """All of a path but its place."""
    return {name: value for name, value in path.attrib.items() if name != "d"}


def _glyphs(root: Any) -> dict[str, str]:
    """Shapes by id."""
    found = {}
    for group in root.iterfind(f"{{{_SVG}}}defs/{{{_SVG}}}g"):
        key = _glyph_id(group.get("id"))
        paths = "".join(
            f'<path transform="scale(1,-1)" d="{path.get("d")}"/>'
            for path in group.iter(f"{{{_SVG}}}path")
        )
        found[key] = f'<g id="{key}">{paths}</g>'
    return found


def _glyph_id(name: str) -> str:
    """'glyph-E0A4' for 'E0A4-x1y2z3'."""
    return "glyph-" + re.sub(r"[^0-9A-Za-z]", "", name.lstrip("#").partition("-")[0])


def _restyle(element: Any) -> None:
    name, kinds = _name(element), (element.get("class") or "").split()
    href = element.get(_HREF) or element.get("href")
    for key in list(element.attrib):
        if key not in _ATTRIBUTES:
            del element.attrib[key]
    if kinds:
        element.set("class", kinds[0])
    if name == "use" and href:
        element.set("href", "#" + _glyph_id(href))
    if name in _DRAWN:
        element.set("stroke", "currentColor")
    if element.get("fill") in ("black", "#000000"):
        element.set("fill", "currentColor")
    if kinds and kinds[0] in _STYLES:
        element.set(*_STYLES[kinds[0]])
    if "placeholder" in kinds:
        _drop(element)


def _name(element: Any) -> str:
    return str(element.tag).rpartition("}")[2] if isinstance(element.tag, str) else ""


def _drop(element: Any) -> None:
    """Take an element out with what is in it; nothing but spacing follows one."""
    parent = element.getparent()
    if parent is not None:
        parent.remove(element)


def _tight(text: str) -> str:
    """Without the spacing between elements, which is half of the text, and in transforms."""
    text = re.sub(r">\s+<", "><", text)
    text = re.sub(r"translate\((-?[\d.]+), (-?[\d.]+)\) scale", r"translate(\1 \2)scale", text)
    text = re.sub(r"scale\(([\d.]+), \1\)", r"scale(\1)", text)
    return re.sub(r"<g(?: class=\"\w+\")?/>", "", text)


def glyph_sheet(passages: Iterable[Engraved]) -> str:
    """An SVG without extent that holds the shapes of all passages of a page, once each.

    Its class is 'glyphs'; a page takes it out of the flow by 'position: absolute'. It has
    no style of its own, which a page's content security policy would refuse.
    """
    shapes: dict[str, str] = {}
    for passage in passages:
        shapes |= passage.glyphs
    held = "".join(shapes[key] for key in sorted(shapes))
    return (
        f'<svg xmlns="{_SVG}" width="0" height="0" class="glyphs" '
        f'aria-hidden="true" focusable="false"><defs>{held}</defs></svg>'
    )


def standalone(passage: Engraved) -> str:
    """The passage as an SVG file of its own, its shapes inside; its colour is the viewer's."""
    held = "".join(passage.glyphs[key] for key in sorted(passage.glyphs))
    head, sign, rest = passage.svg.partition(">")
    return f"{head}{sign}<defs>{held}</defs>{rest}"


TENTH = 0.08  # mm; the engraver's unit of length, with a staff of 72 of them: 5.8 mm
TEXT_WIDTH = 170.0  # mm; A4 and Letter with ordinary margins


@dataclass(frozen=True)
class NotatedPassage:
    """Bars of a work.

    path: the score file. first, last: written bars, positions from 0, half-open.
    number: which work of a file that holds many, as `Score.number`. parts: which
    players, as positions in `Score.parts`; () for all.
    """

    path: Path
    first: int
    last: int
    number: str = ""
    parts: tuple[int, ...] = ()


@dataclass(frozen=True)
class Engraved:
    """A passage as notation.

    svg: see the conventions of `corpusreg.documents.engraving`. glyphs: the shapes that it
    uses, id -> <g> element as text. width, height: of the picture, mm. first, last: the
    written bars that are drawn, half-open. labels: their printed numbers. remarks: what
    a reader must know beside the picture, in plain words: bars left out, parts left
    out, transposing instruments.
    """

    svg: str
    glyphs: Mapping[str, str]
    width: float
    height: float
    first: int
    last: int
    labels: tuple[str, ...]
    remarks: tuple[str, ...] = field(default=())
