"""A score file opened for engraving: the engraver loaded with some of its bars.

One way for each format. Bars of MusicXML are cut out beforehand, so that a long quartet is
as quick as a short song. ABC goes through lytk to MusicXML, the way that its notes are
read. kern and MEI are loaded whole, once for all passages, and the engraver cuts. Bars of
formats without notation (MIDI), or that the engraver does not know, are written anew.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import accumulate
from pathlib import Path
from typing import Any

from corpusreg.documents.engraving.excerpt import (
    GUESSED,
    cut,
    cut_to_values,
    parsed,
    write_bars,
)
from corpusreg.documents.engraving.svg import TENTH, TEXT_WIDTH
from corpusreg.score.notes import Score
from corpusreg.score.readers import read_scores, sniff
from corpusreg.score.readers.abc_source import decode, read_source, split_tunes
from corpusreg.score.readers.musicxml.container import score_bytes
from corpusreg.system.errors import ReadError

__all__ = ["Opened"]

_INPUT = {"kern": "humdrum", "mei": "mei"}
_CUT = ("musicxml", "abc")
_MARK = re.compile(r'"\^~cr\d+"')  # what abc_source puts into the text for itself
_OPTIONS = {
    "pageWidth": round(TEXT_WIDTH / TENTH),
    "pageHeight": 60000,
    "adjustPageHeight": True,
    "adjustPageWidth": False,
    "pageMarginTop": 10,
    "pageMarginBottom": 10,
    "pageMarginLeft": 40,
    "pageMarginRight": 0,
    "breaks": "auto",
    "breaksNoWidow": True,
    "condense": "none",
    "lyricWordSpace": 2.0,  # what prints is set in a wider face than the one that is measured
    "header": "none",
    "footer": "none",
    "svgViewBox": True,
    "smuflTextFont": "none",
    "xmlIdSeed": 1,
}


class Opened:
    """A file and what was read of it, kept for all passages that it gives.

    scores: its works. guessed: what was guessed because its format does not say it, in
    words, '' where all is as in the file.
    """

    def __init__(self, path: Path) -> None:
        """Read a file; raises ReadError when nothing in it can be read."""
        self.path = path
        self.family = sniff(path)
        self.scores = read_scores(path)
        self.guessed = "" if self.family in (*_INPUT, *_CUT) else GUESSED
        self._roots: dict[str, Any] = {}  # MusicXML by number of the work
        self._engravers: dict[tuple[int, ...], Any] = {}  # by players

    def prepared(self, score: Score, bars: tuple[int, int]) -> Score:
        """The score as these bars of it are drawn: cut into written values if need be.

        Raises ReadError where it has none.
        """
        try:
            return cut_to_values(score, bars) if self.guessed else score
        except ReadError as error:
            raise ReadError(f"{self.path.name}: {error}") from error

    def engraver(self, score: Score, bars: tuple[int, int], parts: tuple[int, ...]) -> Any:
        """A toolkit of the engraver that holds some bars and players of a prepared work.

        bars: written positions, half-open. Raises ReadError where it takes them not.
        """
        if self.family in _INPUT:
            toolkit = self._whole(score, parts)
            toolkit.setOptions(_OPTIONS)
            toolkit.select({"measureRange": f"{bars[0] + 1}-{bars[1]}"})
            toolkit.redoLayout()
            return toolkit
        if self.guessed:
            try:
                whole = next(each for each in self.scores if each.number == score.number)
                text = write_bars(score, bars, parts, whole)
            except ReadError as error:
                raise ReadError(f"{self.path.name}: {error}") from error
            return self._loaded(text, "xml")
        names = [part.name for part in score.parts]
        return self._loaded(cut(self._root(score.number), bars, parts, names), "xml")

    def _loaded(self, text: str, kind: str) -> Any:
        import verovio

        toolkit = verovio.toolkit()
        toolkit.setOptions(_OPTIONS)
        toolkit.setInputFrom(kind)
        if not toolkit.loadData(text):
            raise ReadError(f"{self.path.name}: the engraver cannot read it")
        return toolkit

    def _whole(self, score: Score, parts: tuple[int, ...]) -> Any:
        """The engraver with the whole of a kern or MEI file, and some players of it."""
        everyone = tuple(range(len(score.parts)))
        if everyone not in self._engravers:
            text = _text(self.path.read_bytes())
            self._engravers[everyone] = self._loaded(text, _INPUT[self.family])
        if parts not in self._engravers:
            mei = self._engravers[everyone].getMEI()
            kept = _only_staves(mei, _staff_places(score, parts))
            self._engravers[parts] = self._loaded(kept, "mei")
        return self._engravers[parts]

    def _root(self, number: str) -> Any:
        """The work as MusicXML."""
        if number not in self._roots:
            if self.family == "abc":
                data = _abc_as_musicxml(self.path, number).encode()
            else:
                data = b"".join(score_bytes(self.path))
            self._roots[number] = parsed(data, self.path.name)
            if self.family == "abc":
                score = next(each for each in self.scores if each.number == number)
                _number_bars(self._roots[number], score.bars.labels)
        return self._roots[number]


def _staff_places(score: Score, parts: tuple[int, ...]) -> set[int]:
    """Places of the staves of some players among all staves, from 0."""
    ends = list(accumulate(part.staves for part in score.parts))
    return {ends[p] - back for p in parts for back in range(1, score.parts[p].staves + 1)}


def _only_staves(mei: str, places: set[int]) -> str:
    """MEI of the engraver with some staves only, by their places in the score from 0."""
    from lxml import etree

    root = etree.fromstring(mei.encode(), etree.XMLParser(resolve_entities=False))
    staves = list(dict.fromkeys(e.get("n") for e in root.iter("{*}staffDef")))
    kept = {n for place, n in enumerate(staves) if place in places}
    for element in list(root.iter("{*}*")):
        tag = str(element.tag).rpartition("}")[2]
        if tag in ("staff", "staffDef"):
            wanted = element.get("n") in kept
        else:
            wanted = kept.issuperset((element.get("staff") or "").split())
        if not wanted and element.getparent() is not None:
            element.getparent().remove(element)
    for group in list(root.iter("{*}staffGrp")):
        if group.find(".//{*}staffDef") is None and group.getparent() is not None:
            group.getparent().remove(group)
    return str(etree.tostring(root, encoding="unicode"))


def _text(data: bytes) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _number_bars(root: Any, labels: Sequence[str]) -> None:
    """Bars with the numbers that are printed elsewhere, an upbeat as 0."""
    for part in root.iterfind("part"):
        for measure, label in zip(part.iterfind("measure"), labels, strict=False):
            measure.set("number", label)
            if label == "0":
                measure.set("implicit", "yes")


def _abc_as_musicxml(path: Path, number: str) -> str:
    import lytk

    head, tunes = split_tunes(decode(path.read_bytes()))
    tune = next((text for name, text in tunes if name == number), "")
    source = _MARK.sub("", read_source(head, tune).text)
    try:
        return str(lytk.to_musicxml(lytk.from_abc_tunes_string(source)[0]))
    except (lytk.LytkError, ValueError, IndexError) as error:
        reason = " ".join(str(error).split())
        raise ReadError(f"{path.name}: the tune cannot be engraved ({reason})") from error
