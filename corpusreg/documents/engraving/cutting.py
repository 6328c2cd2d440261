"""Some bars of a MusicXML score as a small MusicXML score.

What holds at the cut is written again at its beginning: divisions, key, metre, staves,
clefs, transposition, and octave lines, hairpins and voltas that are open. What is open at
the end is closed. Titles, credits, layout, playback and metronome marks are left out: they
are said beside the picture, or not at all. Source: MusicXML 4.0, W3C Community Group 2021.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy
from typing import Any

from corpusreg.documents.engraving.completing import complete
from corpusreg.system.errors import ReadError

__all__ = ["cut", "parsed"]

# Children of <attributes> in the order of the schema.
_ORDER = (
    "divisions", "key", "time", "staves", "part-symbol", "instruments", "clef",
    "staff-details", "transpose", "for-part",
)  # fmt: skip
_TREBLE = "<clef><sign>G</sign><line>2</line></clef>"  # where a part has no clef
_LONGEST_NAME = 40  # characters of a player's name
_LINES = ("octave-shift", "wedge")
_NOT_DRAWN = frozenset(("print", "sound", "listening", "link", "bookmark"))


def parsed(data: bytes, name: str) -> Any:
    """Root of a part-wise score; `name` is the file's. Raises ReadError for anything else."""
    from lxml import etree

    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, remove_comments=True,
        remove_pis=True, remove_blank_text=True,
    )  # fmt: skip
    try:
        root = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        raise ReadError(f"{name}: damaged XML; export the score again") from error
    if root.tag == "score-timewise":
        return _partwise(root)
    if root.tag != "score-partwise":
        raise ReadError(f"{name}: no MusicXML score; export the score as MusicXML")
    return root


def _partwise(root: Any) -> Any:
    from lxml import etree

    whole = etree.Element("score-partwise")
    heads = root.find("part-list")
    if heads is not None:
        whole.append(heads)
    parts: dict[str, Any] = {}
    for measure in root.iterfind("measure"):
        for part in list(measure.iterfind("part")):
            name = part.get("id", "")
            if name not in parts:
                parts[name] = etree.SubElement(whole, "part", id=name)
            bar = etree.SubElement(parts[name], "measure", dict(measure.attrib))
            bar.extend(list(part))
    return whole


def cut(root: Any, bars: tuple[int, int], parts: tuple[int, ...], names: Sequence[str]) -> str:
    """Some bars (positions from 0, half-open) and players of a score as MusicXML text.

    parts: positions of the players to keep. names: of all players, '' for none. `root`
    stays as it is.
    """
    from lxml import etree

    whole = etree.Element("score-partwise", version="4.0")
    listed = etree.SubElement(whole, "part-list")
    named = {head.get("id"): head for head in root.iterfind("part-list/score-part")}
    places = {name: place for place, name in enumerate(named)}
    found = sorted(root.iterfind("part"), key=lambda p: places.get(p.get("id"), len(places)))
    for index, part in enumerate(found):
        if index in parts:
            name = names[index] if index < len(names) else ""
            listed.append(_head(named.get(part.get("id")), f"P{index}", name))
            whole.append(_cut_part(part, f"P{index}", *bars))
    return str(etree.tostring(whole, encoding="unicode"))


def _head(found: Any, identity: str, name: str) -> Any:
    """A <score-part> with its names, and nothing to play."""
    from lxml import etree

    short = "" if found is None or not name else found.findtext("part-abbreviation") or ""
    head = etree.Element("score-part", id=identity)
    for tag, text in (("part-name", name), ("part-abbreviation", short)):
        etree.SubElement(head, tag).text = " ".join(text.split())[:_LONGEST_NAME]
    return head


def _cut_part(part: Any, name: str, first: int, last: int) -> Any:
    from lxml import etree

    result = etree.Element("part", id=name)
    state = _State()
    for index, measure in enumerate(part.iterfind("measure")):
        if index >= last:
            break
        if index < first:
            state.read(measure)
            continue
        bar = deepcopy(measure)
        _strip(bar)
        if index == first:
            _open(bar, state)
        state.read(bar, lines_only=True)
        result.append(bar)
    if len(result):
        result[-1].extend(state.ends())
    complete(result)
    return result


class _State:
    """What holds in a part: attributes by kind and staff, and lines that are open."""

    def __init__(self) -> None:
        self.attributes: dict[tuple[str, str], Any] = {}
        self.lines: dict[tuple[str, str], Any] = {}  # the <direction> that opened each
        self.ending: Any = None  # the <ending> of a volta that is open

    def read(self, measure: Any, *, lines_only: bool = False) -> None:
        """Take in what a measure changes."""
        for child in measure:
            if child.tag == "attributes" and not lines_only:
                for item in child:
                    self._attribute(item)
            elif child.tag == "direction":
                for kind in _LINES:
                    for line in child.iterfind(f"direction-type/{kind}"):
                        self._line(kind, line, child)
            elif child.tag == "barline" and (ending := child.find("ending")) is not None:
                self.ending = ending if ending.get("type") == "start" else None

    def _attribute(self, item: Any) -> None:
        staff = item.get("number") or ""
        if item.tag in ("key", "time", "transpose") and not staff:
            # One for all staves takes the place of those for single ones.
            for known in [key for key in self.attributes if key[0] == item.tag]:
                del self.attributes[known]
        if item.tag == "clef":
            staff = staff or "1"
        if item.tag in _ORDER:
            self.attributes[(item.tag, staff)] = item

    def _line(self, kind: str, line: Any, direction: Any) -> None:
        key = (kind, line.get("number") or "1")
        if line.get("type") == "stop":
            self.lines.pop(key, None)
        elif line.get("type") != "continue":
            self.lines[key] = direction

    def begins(self) -> list[Any]:
        """Elements that write what holds again: <attributes>, and directions."""
        from lxml import etree

        attributes = etree.Element("attributes")
        if not any(tag == "clef" for tag, _ in self.attributes):
            self.attributes[("clef", "1")] = etree.fromstring(_TREBLE)
        for tag in _ORDER:
            for key in sorted(key for key in self.attributes if key[0] == tag):
                attributes.append(deepcopy(self.attributes[key]))
        found = [attributes] if len(attributes) else []
        if self.ending is not None:
            found.insert(0, _volta(self.ending, "left", "start"))
        return found + [_direction(kind, line) for (kind, _), line in self.lines.items()]

    def ends(self) -> list[Any]:
        """Elements that close what is open."""
        found = [_direction(kind, line, stop=True) for (kind, _), line in self.lines.items()]
        if self.ending is not None:
            found.append(_volta(self.ending, "right", "discontinue"))
        return found


def _volta(opened: Any, location: str, kind: str) -> Any:
    """A barline that begins or leaves a volta."""
    from lxml import etree

    barline = etree.Element("barline", location=location)
    ending = deepcopy(opened)
    ending.set("type", kind)
    barline.append(ending)
    return barline


def _direction(kind: str, opened: Any, *, stop: bool = False) -> Any:
    """A direction with one line of that which opened it, or with its end."""
    from lxml import etree

    result = etree.Element("direction", dict(opened.attrib))
    inside = etree.SubElement(result, "direction-type")
    line = deepcopy(opened.find(f"direction-type/{kind}"))
    if stop:
        line.set("type", "stop")
    inside.append(line)
    for tag in ("voice", "staff"):
        if (child := opened.find(tag)) is not None:
            result.append(deepcopy(child))
    return result


def _strip(bar: Any) -> None:
    """Take out what is not drawn, or needs signs that no text font has."""
    for child in list(bar):
        if child.tag in _NOT_DRAWN:
            bar.remove(child)
        elif child.tag == "direction":
            for kind in list(child.iterfind("direction-type")):
                if kind.find("metronome") is not None:
                    child.remove(kind)
            if child.find("direction-type") is None:
                bar.remove(child)


def _open(bar: Any, state: _State) -> None:
    """Begin a bar with all that holds there, its own leading attributes included."""
    for child in list(bar):
        if child.tag in ("note", "backup", "forward"):
            break
        if child.tag == "attributes":
            for item in list(child):
                state._attribute(item)
            bar.remove(child)
    opening = state.begins()
    left = [c for c in bar if c.tag == "barline" and c.get("location") == "left"][:1]
    for barline in left:
        bar.remove(barline)
    bar[:0] = [*left, *opening]
