"""Notes of a MusicXML text as bytes: cut out of it, and each wording read once.

Notes are nine tenths of a file, and most are worded as others before them. `cut` takes
them out of the text, so that only the rest is parsed; a note is read as two wordings, what
sounds (up to `type`) and how it looks, and each wording is parsed the first time that this
process meets it. What is out of the ordinary is read as an element, or makes the whole
file be read as one: the two ways of reading give the same score, or the same error.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any, NamedTuple

from lxml import etree

from corpusreg.score.readers.musicxml.records import written_pitch

__all__ = [
    "PARSING", "RUN", "STACCATO", "UnusualError", "as_element", "cut", "lyrics", "note_words",
]  # fmt: skip

PARSING: dict[str, Any] = {
    "resolve_entities": False,
    "no_network": True,
    "load_dtd": False,
    "huge_tree": False,
    "remove_comments": True,
    "remove_pis": True,
    "remove_blank_text": True,
}
_PARSER = etree.XMLParser(**PARSING)
STACCATO = frozenset(("staccato", "staccatissimo", "spiccato"))
RUN = "run-of-notes"  # the element that stands where notes were cut out
_MOST_WORDINGS = 1 << 16
_AFTER_NAME = frozenset((b">", b" ", b"\n", b"\r", b"\t", b"/"))
_DECLARED = re.compile(rb"""\s*<\?xml[^>]*?\bencoding\s*=\s*["']([^"']*)""")
_COMMENT = re.compile(rb"<!--[^-]*(?:-[^-]+)*-->")
_ATTRIBUTES = re.compile(rb"""(?:\s+(?!dynamics)[a-z-]+="[^"<>&]*")*\s*>""")
_LYRIC = re.compile(
    rb'\s*<lyric(?:\s+number="([^"<&]*)")?(?:\s+(?!number)[a-z-]+="[^"<&]*")*>\s*'
    rb"(?:<syllabic>[a-z]+</syllabic>\s*)?"
    rb'<text(?:\s+[a-z:-]+="[^"<&]*")*>([^<&\]\x00-\x1f]*)</text>\s*'
    rb'(?:<extend(?:\s+type="[a-z]+")?\s*/>\s*)?</lyric>\s*'
)
# Elements of which this module knows all that the reading of elements makes of them.
_ORDINARY = frozenset(
    (
        *(
            "grace",
            "chord",
            "pitch",
            "rest",
            "duration",
            "tie",
            "voice",
            "type",
            "dot",
            "staff",
        ),
        *("accidental", "time-modification", "stem", "notehead", "notehead-text", "beam"),
        *("notations", "instrument"),
    )
)
_TIES = ("tie", "tied")
_ONCE = ("grace", "chord", "pitch", "rest", "duration", "voice", "staff")


class Wording(NamedTuple):
    """What a wording says.

    rest: 0 none, 1 a rest, 2 one of a whole bar. pitch: as written, None where there is
    none. duration: in divisions, None where none is written. voice, staff: texts.
    """

    grace: bool = False
    chord: bool = False
    rest: int = 0
    pitch: int | None = None
    duration: int | None = None
    voice: str | None = None
    staff: str | None = None
    tie_in: bool = False
    tie_out: bool = False
    staccato: bool = False


_SILENT = Wording()[: Wording._fields.index("staff")]  # of what sounds, nothing


class UnusualError(Exception):
    """A file that is to be read as a whole, without cutting notes out."""


def cut(data: bytes) -> tuple[bytes, list[list[bytes]]]:
    """A text with a RUN element for each run of notes, and the notes of each run.

    A note is what stands between `<note` and `</note>`. Raises UnusualError where notes
    might not be what they seem: other encodings, CDATA, declarations of entities.
    """
    if data.find(b"<!--") > 0:
        data = _COMMENT.sub(b"", data)
    if not _is_plain(data):
        raise UnusualError
    before, *pieces = _split(data)
    rest, tag = [before], RUN.encode()
    runs: list[list[bytes]] = []
    run: list[bytes] = []
    for piece in pieces:
        note, closed, after = piece.partition(b"</note>")
        if not closed:
            raise UnusualError
        run.append(note)
        if after and not after.isspace():
            rest += (b"<%b>%d</%b>" % (tag, len(runs), tag), after)
            runs.append(run)
            run = []
    if run or not runs:
        raise UnusualError
    text = b"".join(rest)
    if text.count(b"<" + tag) != len(runs):
        raise UnusualError
    return text, runs


def _split(data: bytes) -> list[bytes]:
    """A text parted at `<note`, where that is the whole name of a tag."""
    pieces = [b""]
    for piece in data.split(b"<note"):
        if piece[:1] in _AFTER_NAME:
            pieces.append(piece)
        else:  # `<notehead`, or the beginning of the text
            pieces[-1] += b"<note" + piece
    pieces[0] = pieces[0].removeprefix(b"<note")
    return pieces


def _is_plain(data: bytes) -> bool:
    """Whether every `<note` in a text is the beginning of a note."""
    text = data.removeprefix(b"\xef\xbb\xbf")
    declared = _DECLARED.match(text)
    if not text[:99].lstrip().startswith(b"<") or b"[" in text[: text.find(b"<score-")]:
        return False
    if declared is not None and declared.group(1).lower() not in (b"utf-8", b"utf8"):
        return False
    # A single byte is sought at the speed of memory, and these are rare.
    for sign, allowed in ((b"!", b"!DOCTYPE"), (b"?", b"?xml ")):
        at = data.find(sign)
        while at >= 0:
            if data[at - 1 : at] == b"<" and not data.startswith(allowed, at):
                return False
            at = data.find(sign, at + 1)
    return True


def as_element(note: bytes) -> etree._Element:
    """A note that was cut out, as an element."""
    return etree.fromstring(b"<note" + note + b"</note>", _PARSER)


def note_words(note: bytes) -> tuple[Wording, bytes] | None:
    """What the wording of a note says, and the text of its lyrics.

    None where the note is to be read as an element. Raises UnusualError where its text
    is no XML.
    """
    attributes = _ATTRIBUTES.match(note)
    if attributes is None:
        return None
    begin = attributes.end()
    lyric = note.find(b"<lyric", begin)
    end = len(note) if lyric < 0 else lyric
    wording = _words(note[begin:end])
    return None if wording is None else (wording, note[end:])


def lyrics(text: bytes) -> list[tuple[str, bool]] | None:
    """(number, has letters) of each lyric in a note's end; None where one is unusual."""
    found, at = [], 0
    while at < len(text):
        lyric = _LYRIC.match(text, at)
        if lyric is None:
            return None
        number, words = lyric.groups(b"1")
        try:
            # Figures of a thorough bass are set as lyrics too.
            found.append((number.decode(), any(map(str.isalpha, words.decode()))))
        except UnicodeDecodeError:
            raise UnusualError from None
        at = lyric.end()
    return found


@lru_cache(maxsize=_MOST_WORDINGS)
def _words(text: bytes) -> Wording | None:
    """What both halves say; None where they sound nothing and are no rest, or are unusual."""
    middle = text.find(b"<type>")
    if middle < 0:
        middle = len(text)
    sounds, looks = _wording(text[:middle]), _wording(text[middle:])
    if sounds is None or looks is None or (sounds.staff and looks.staff):
        return None
    if looks[: len(_SILENT)] != _SILENT or (sounds.pitch is None and not sounds.rest):
        return None
    return sounds._replace(
        staff=looks.staff or sounds.staff,
        tie_in=sounds.tie_in or looks.tie_in,
        tie_out=sounds.tie_out or looks.tie_out,
        staccato=sounds.staccato or looks.staccato,
    )


@lru_cache(maxsize=_MOST_WORDINGS)
def _wording(text: bytes) -> Wording | None:
    """What a text says; None where it is unusual."""
    try:
        note = as_element(b">" + text)
    except etree.XMLSyntaxError:
        raise UnusualError from None
    child = {element.tag: element for element in note}
    if not _ORDINARY.issuperset(child):
        return None
    if len(note) > len(child):
        tags = [element.tag for element in note]
        if any(tags.count(tag) > 1 for tag in _ONCE):
            return None
    texts = {tag: child[tag].text for tag in ("duration", "voice", "staff") if tag in child}
    pitch = _pitch(child["pitch"]) if "pitch" in child else None
    if not all(texts.values()) or ("pitch" in child and pitch is None):
        return None
    try:
        duration = int(texts["duration"] or "") if "duration" in texts else None
    except ValueError:
        return None
    notations = [mark for each in note.iterchildren("notations") for mark in each]
    if any(mark.tag == "dynamics" for mark in notations):
        return None
    ties = [
        tie.get("type") for tie in (*note.iterchildren("tie"), *notations) if tie.tag in _TIES
    ]
    dots = [dot for mark in notations if mark.tag == "articulations" for dot in mark]
    rest = child.get("rest")
    return Wording(
        grace="grace" in child,
        chord="chord" in child,
        rest=0 if rest is None else 2 if rest.get("measure") == "yes" else 1,
        pitch=pitch,
        duration=duration,
        voice=texts.get("voice"),
        staff=texts.get("staff"),
        tie_in="stop" in ties or "continue" in ties,
        tie_out="start" in ties or "continue" in ties,
        staccato=any(dot.tag in STACCATO for dot in dots),
    )


def _pitch(element: etree._Element) -> int | None:
    texts = {child.tag: child.text or "" for child in element}
    pitch = written_pitch(texts.get("step", ""), texts.get("alter"), texts.get("octave", ""))
    return pitch if isinstance(pitch, int) else None
