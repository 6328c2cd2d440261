"""The score as text that the engraver reads, one way for each format.

Bars of MusicXML are cut out beforehand, so that a long quartet is as quick as a short
song. ABC goes through lytk to MusicXML, the same way that its notes are read. kern and
MEI are handed over whole, and the engraver cuts. Formats without notation (MIDI) or that
the engraver does not know are refused in words.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from corpusreg.engraving.cutting import cut, parsed
from corpusreg.errors import ReadError
from corpusreg.notes import Score

__all__ = ["Sheet", "why_not", "write_sheet"]

_MARK = re.compile(r'"\^~cr\d+"')  # what abc_source puts into the text for itself
_REFUSED = {
    "midi": "a MIDI file holds no notation",
    "capella": "Capella files cannot be engraved",
    "noteworthy": "NoteWorthy files cannot be engraved",
    "tinynotation": "TinyNotation files cannot be engraved",
}


@dataclass(frozen=True)
class Sheet:
    """Text for the engraver. bars: the bars of the text to draw, positions from 0,
    half-open. parts: the players in the text, None where they are all in it."""

    text: str
    format: str  # the engraver's name for it: 'xml', 'humdrum', 'mei'
    bars: tuple[int, int]
    parts: tuple[int, ...] | None = None


def why_not(family: str) -> str:
    """Why a format cannot be engraved, '' where it can."""
    return _REFUSED.get(family, "")


def write_sheet(
    path: Path, score: Score, family: str, bars: tuple[int, int], parts: tuple[int, ...]
) -> Sheet:
    """The bars and players of a work as the engraver takes them. Raises ReadError."""
    if family == "musicxml":
        from corpusreg.readers.musicxml.container import score_bytes

        root = parsed(b"".join(score_bytes(path)))
        return Sheet(cut(root, *bars, parts), "xml", (0, bars[1] - bars[0]), parts)
    if family == "abc":
        root = parsed(_abc_as_musicxml(path, score.number).encode())
        return Sheet(cut(root, *bars, parts), "xml", (0, bars[1] - bars[0]), parts)
    text = _text(path.read_bytes())
    return Sheet(text, "humdrum" if family == "kern" else "mei", bars)


def _text(data: bytes) -> str:
    for start, encoding in ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(start):
            return data.decode(encoding, errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _abc_as_musicxml(path: Path, number: str) -> str:
    import lytk

    from corpusreg.readers.abc_source import read_source
    from corpusreg.readers.abc_text import decode, split_tunes

    head, tunes = split_tunes(decode(path.read_bytes()))
    tune = next((text for name, text in tunes if name == number), None)
    if tune is None:
        raise ReadError(f"{path.name}: no tune {number} in it")
    source = _MARK.sub("", read_source(head, tune).text)
    try:
        return str(lytk.to_musicxml(lytk.from_abc_tunes_string(source)[0]))
    except (lytk.LytkError, ValueError, IndexError) as error:
        reason = " ".join(str(error).split())
        raise ReadError(f"{path.name}: the tune cannot be engraved ({reason})") from error
