"""Reads MusicXML (.musicxml, .xml, .mxl; part-wise and time-wise) in a single pass.

Aim: everything on the page that later measures need, nothing dropped silently,
at little more than the cost of parsing. Source: MusicXML 4.0, W3C Community
Group 2021. Of a large file each measure is forgotten once read, so that memory is
bounded; a file of ordinary size is parsed whole, which is faster, and its notes are read by
their wording (`wording`), which is faster still. Entities are not
resolved, nothing is loaded from elsewhere, and size, depth and numbers are bounded.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import chain, islice
from pathlib import Path

from lxml import etree

from corpusreg.score.notes import Score
from corpusreg.score.readers.musicxml.assemble import assemble
from corpusreg.score.readers.musicxml.container import file_name, score_bytes
from corpusreg.score.readers.musicxml.header import Header
from corpusreg.score.readers.musicxml.part import PartReader
from corpusreg.score.readers.musicxml.records import Marks, PartRecord, Tally
from corpusreg.score.readers.musicxml.wording import PARSING, UnusualError, cut
from corpusreg.system.errors import ReadError

__all__ = ["read_musicxml"]

_MAX_PARTS = 1000
_MAX_PENDING = 16_000_000  # bytes of XML in one measure, or before the first
_LARGE = 128  # pieces of a file that is not parsed whole: 8 MB
_METADATA = ("work", "identification", "movement-title", "movement-number", "credit")
_TAGS = ("measure", "part", "part-list", *_METADATA)


def read_musicxml(path: Path) -> Score:
    """The score in a MusicXML file, as written.

    Raises ReadError, in one line with the file's name and the next step, when
    the file cannot be opened, is empty, damaged, too large or no MusicXML, or
    has no pitched notes.
    """
    name = file_name(path)
    try:
        pieces = score_bytes(path)
        start = list(islice(pieces, _LARGE))
        if len(start) < _LARGE:
            return _read(b"".join(start), name)
        reader = _FileReader(name)
        return reader.finish(reader.read_in_pieces(chain(start, pieces)))
    except etree.XMLSyntaxError as error:
        reason = re.sub(r", line \d+, column \d+$", "", " ".join(str(error.msg).split()))
        raise ReadError(
            f"{name}: damaged XML at line {error.lineno or 1} ({reason}); "
            "export the score again"
        ) from None


def _read(data: bytes, name: str) -> Score:
    """A score that is in memory: its notes by their wording, or all of it as elements."""
    try:
        text, runs = cut(data)
        reader = _FileReader(name, runs)
        return reader.finish(reader.read_whole(text))
    except (UnusualError, etree.XMLSyntaxError):
        reader = _FileReader(name)
        return reader.finish(reader.read_whole(data))


class _FileReader:
    """Hands every measure to the part it belongs to; runs: notes cut out of the text."""

    def __init__(self, name: str, runs: Sequence[Sequence[bytes]] = ()) -> None:
        self.name = name
        self.runs = runs
        self.header, self.marks, self.tally = Header(), Marks(), Tally()
        self.parts: dict[tuple[str, int], PartReader] = {}
        self.seen: Counter[str] = Counter()  # parts ended so far, by id

    def read_whole(self, text: bytes) -> str:
        """Parse a text, then read it; its outermost tag."""
        root = etree.fromstring(text, etree.XMLParser(**PARSING))
        for element in root:
            if element.tag in ("measure", "part"):
                for inner in element.iterchildren("measure", "part"):
                    self._take(inner, element)
            self._take(element, root)
        return str(root.tag)

    def read_in_pieces(self, pieces: Iterable[bytes]) -> str:
        """Read what each piece of a file completes, and forget it; its outermost tag."""
        parser = etree.XMLPullParser(events=("end",), tag=_TAGS, **PARSING)
        pending = 0
        for piece in pieces:
            pending += len(piece)
            parser.feed(piece)
            for _, element in parser.read_events():
                parent = element.getparent()
                if parent is not None:
                    self._take(element, parent)
                    _forget(element, parent)
                pending = 0
            if pending > _MAX_PENDING:
                raise ReadError(
                    f"{self.name}: a single bar takes more than {_MAX_PENDING // 1_000_000} "
                    "MB; export the score again"
                )
        return str(parser.close().tag)

    def _take(self, element: etree._Element, parent: etree._Element) -> None:
        """Read an element of one of the tags _TAGS, after what is inside it."""
        tag, timewise = element.tag, parent.tag == "measure"
        if tag == "measure" and parent.tag == "part":
            self._part(parent).read_bar(element, *_label(element))
        elif tag == "measure":
            self.seen.clear()
        elif tag == "part":
            if timewise:
                self._part(element).read_bar(element, *_label(parent))
            self.seen[element.get("id", "")] += 1
        elif tag == "part-list":
            self.header.read_part_list(element)
        elif tag in _METADATA:
            self.header.read_metadata(element)

    def _part(self, element: etree._Element) -> PartReader:
        """Reader of the part an element belongs to; parts of one id by their order."""
        identity = element.get("id", "")
        key = (identity, self.seen[identity])
        if key not in self.parts:
            index = self.header.index(*key)
            if index >= _MAX_PARTS:
                raise ReadError(f"{self.name}: more than {_MAX_PARTS} parts; split the score")
            record = PartRecord(index)
            head = self.header.heads[index]
            self.parts[key] = PartReader(head, record, self.marks, self.tally, self.runs)
        return self.parts[key]

    def finish(self, root: str) -> Score:
        """The whole score, once the file is read to its end."""
        if root not in ("score-partwise", "score-timewise"):
            raise ReadError(
                f"{self.name}: no MusicXML score (its outermost element is "
                f"'{root[:40]}'); export the score as MusicXML"
            )
        for part in self.parts.values():
            part.finish()
        records = sorted((p.record for p in self.parts.values()), key=lambda r: r.index)
        if not any(record.rows for record in records):
            percussion = self.tally.left_out["unpitched"]
            reason = f", only percussion ({percussion} strokes)" if percussion else ""
            raise ReadError(
                f"{self.name}: no pitched notes{reason}; choose a score with pitched parts"
            )
        return assemble(self.header, records, self.marks, self.tally)


def _forget(element: etree._Element, parent: etree._Element) -> None:
    """Free what has been read."""
    element.clear()
    while parent[0] is not element:
        del parent[0]


def _label(measure: etree._Element) -> tuple[str, bool]:
    """Printed number of a measure ('' where it has none) and whether it is implicit."""
    printed = measure.get("text") or measure.get("number") or ""
    return " ".join(printed.split())[:32], measure.get("implicit") == "yes"
