"""What may be done with a score file, and the few lines of it that say so.

Only a head (and for kern a tail) of the file is read, never the music: MusicXML up
to its first part, at most 512 kB; kern 64 kB at either end; ABC, where every tune
may carry its own line, up to 8 MB. Text that is not UTF-8 is read as Latin-1.

A file is in one of four tiers, with the words that say so:

open           public domain, CC0, CC BY, CC BY-SA or GPL stated
permitted      a public-domain work whose encoding is distributed with the encoder's
               permission and with no restriction stated
noncommercial  commercial use excluded
reserved       rights reserved, a publisher's mark, a bare copyright sign, a work
               still protected, or nothing said at all outside a known collection

The file's own words decide (rules in data/licence_rules.csv, first match wins, the
most restrictive first); where they do not, its collection's row (data/collections.csv)
does, in other corpora what their own tables say (`SourceFile.known`), and else a
licence file beside or above the score.
"""

from __future__ import annotations

import html
import re
import zipfile
import zlib
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import IO

from corpusreg.corpus.authority import Composer, resolve
from corpusreg.corpus.files import BUNDLED, SourceFile
from corpusreg.corpus.tables import collection_of, rows, work_row

__all__ = ["TIERS", "Licence", "licence", "protected", "read_head", "tier_of_words"]

_HEAD_BYTES = 512_000
_PIECE = 16_384
_KERN_BYTES = 64_000
_ABC_BYTES = 8_000_000
_MENTIONS = re.compile(
    r"©|\(c\)\s*\d{4}|copyright|licen[sc]e|permission|public domain|\brights?\b|\bcc0\b|"
    r"\bcc[ -]by|creative ?commons|commercial|\bp\.d\.",
    re.I,
)
# A time-wise score begins its music with <measure> instead of <part>.
_XML_MUSIC = r"<part\s|<measure\s"


def _element(name: str, attributes: str = "") -> re.Pattern[str]:
    """An element of that name; where it is not closed the next one of it ends the search."""
    opens = rf"<{name}\b"
    return re.compile(rf"{opens}{attributes or '[^<>]*'}>((?:(?!{opens}).)*?)</{name}>", re.S)


_XML_RIGHTS = _element("rights")
_XML_CREDIT = _element("credit-words")
_XML_CREATOR = _element("creator", "([^<>]*)")
_XML_COMMENT = re.compile(r"<!--((?:(?!<!--).)*?)-->", re.S)
_XML_FIELD = _element("miscellaneous-field")
_IMPRINT = re.compile(r"\bedition|édition|edizion", re.I)
_LILYPOND_FIELD = re.compile(r"^[ \t]*(licen[sc]e|copyright)[ \t]*=[ \t]*(.+)$", re.M)
_KERN_RECORD = re.compile(r"^!!!([^:\s]+)\s*:\s*(.*)$")
_ABC_NOTE = re.compile(r"^(%+|[ZNCSFB]:)\s*(.*)$")


@dataclass(frozen=True)
class FileHead:
    """What a file says of itself.

    statements: (place, text) pairs in file order, such as ('rights', 'CC0'), only
    those that speak of rights. composer: the first composer named, '' for none.
    """

    statements: tuple[tuple[str, str], ...] = ()
    composer: str = ""


def read_head(path: Path, format: str) -> FileHead:
    """The statements about rights and the composer in a file of the given format.

    A file that cannot be opened or unpacked gives an empty Head: whether it can be
    read at all is the reader's finding, not the catalogue's.
    """
    try:
        if format == "musicxml":
            return _musicxml(_musicxml_text(path))
        if format == "kern":
            return _kern(_ends(path))
        if format == "abc":
            return _abc(_text(_start(path, _ABC_BYTES)))
        if format == "lilypond":
            return _lilypond(_text(_start(path, _KERN_BYTES)))
        return _other(_text(_start(path, _KERN_BYTES)))
    except (
        OSError,
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        RuntimeError,
        NotImplementedError,
    ):
        return FileHead()


def _musicxml_text(path: Path) -> str:
    with path.open("rb") as file:
        zipped = file.read(2) == b"PK"
        file.seek(0)
        if not zipped:
            return _before_music(file)
        with zipfile.ZipFile(file) as archive:
            names = [n for n in archive.namelist() if n.lower().endswith((".xml", ".musicxml"))]
            names = [n for n in names if not n.startswith("META-INF")]
            if not names:
                return ""
            with archive.open(names[0]) as member:
                return _before_music(member)


def _before_music(file: IO[bytes]) -> str:
    head = b""
    # In UTF-16 the beginning of the music is found only once the text is decoded.
    while len(head) < _HEAD_BYTES and not re.search(_XML_MUSIC.encode(), head):
        piece = file.read(_PIECE)
        if not piece:
            break
        head += piece
    return re.split(_XML_MUSIC, _text(head), maxsplit=1)[0]


def _musicxml(text: str) -> FileHead:
    statements = [("rights", _clean(t)) for t in _XML_RIGHTS.findall(text)]
    credits = [_clean(t) for t in _XML_CREDIT.findall(text)]
    creators = [(kind, _clean(t)) for kind, t in _XML_CREATOR.findall(text)]
    statements += [("credit", t) for t in credits if _MENTIONS.search(t)]
    # Notation programs put an edition's imprint where a second creator belongs.
    statements += [
        ("creator", t) for _, t in creators if _MENTIONS.search(t) or _IMPRINT.search(t)
    ]
    statements += [
        ("comment", t)
        for t in map(_clean, _XML_COMMENT.findall(text) + _XML_FIELD.findall(text))
        if _MENTIONS.search(t)
    ]
    composer = next((t for kind, t in creators if "composer" in kind), "")
    return FileHead(tuple((where, t) for where, t in statements if t), composer)


def _kern(text: str) -> FileHead:
    found = [m.groups() for m in map(_KERN_RECORD.match, text.splitlines()) if m]
    said = [
        (f"!!!{k}", v.strip()) for k, v in found if k.startswith("YE") or _MENTIONS.search(v)
    ]
    said = [(k, v) for k, v in said if v and k not in ("!!!YEN", "!!!OTL", "!!!OMD")]
    composer = next((value.strip() for key, value in found if key == "COM"), "")
    return FileHead(tuple(dict.fromkeys(said)), composer)


def _abc(text: str) -> FileHead:
    said: dict[tuple[str, str], None] = {}
    composer = ""
    for line in text.splitlines():
        match = _ABC_NOTE.match(line)
        if match is None:
            continue
        mark, value = match[1], match[2].strip()
        if _MENTIONS.search(value):
            said[("comment" if mark[0] == "%" else mark, value)] = None
        if mark == "C:" and (not composer or ("Music" in value and "Music" not in composer)):
            composer = value
    return FileHead(tuple(said), composer)


def _lilypond(text: str) -> FileHead:
    said = [(key, value.strip()[:1000]) for key, value in _LILYPOND_FIELD.findall(text)]
    return FileHead(tuple((key, value) for key, value in said if _MENTIONS.search(value)))


def _other(text: str) -> FileHead:
    lines = (_clean(re.sub(r"<[^<>]+>", " ", line)) for line in text.splitlines())
    return FileHead(tuple(("text", line[:300]) for line in lines if _MENTIONS.search(line)))


def _start(path: Path, limit: int) -> bytes:
    with path.open("rb") as stream:
        return stream.read(limit)


def _ends(path: Path) -> str:
    """Both ends of a kern file, whose records stand before or after the music."""
    with path.open("rb") as stream:
        head = stream.read(_KERN_BYTES)
        size = stream.seek(0, 2)
        stream.seek(max(len(head), size - _KERN_BYTES))
        return _text(head + b"\n" + stream.read())


def _text(data: bytes) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", "replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        # A head cut inside a letter is still UTF-8; anything earlier is not.
        if error.start >= len(data) - 3:
            return data[: error.start].decode("utf-8-sig")
        return data.decode("latin-1")


def _clean(text: str) -> str:
    return re.sub(r"\s+", " ", html.unescape(text)).strip()


TIERS = ("open", "permitted", "noncommercial", "reserved")
# Protection ends 70 years after death in most countries: at the end of 2025 it had
# ended for those who died in 1955 or before (Directive 2006/116/EC, article 1).
LAST_FREE_DEATH = 1955
_LICENCE_NAMES = ("license", "licence", "copying")


@dataclass(frozen=True)
class Licence:
    """tier: one of TIERS; statement: the words relied on; evidence: where they stand;
    reason: in short, why that gives the tier."""

    tier: str
    statement: str
    evidence: str
    reason: str


def licence(file: SourceFile) -> Licence:
    """Licence of a file of any corpus, from its own words, else its collection's."""
    return _of_bundled(file) if file.corpus == BUNDLED else _licence(file)


def _licence(file: SourceFile) -> Licence:
    head = read_head(file.path, file.format)
    said = _from_head(head)
    if said is None:
        said = _from_collection(file.relative) if file.corpus == BUNDLED else _from_folder(file)
    return protected(said, _composer(file, head))


# What came with a library stays as it is, and some thousand files are asked for again.
_of_bundled = cache(_licence)


def protected(stated: Licence, composer: Composer | None) -> Licence:
    """The licence as it stands, or 'reserved' when the work itself is still protected."""
    if composer is None or stated.tier == "reserved":
        return stated
    died, born = composer.died, composer.born
    alive = died is None and born is not None and born > LAST_FREE_DEATH - 70
    if not alive and (died is None or died <= LAST_FREE_DEATH):
        return stated
    ending = f"died {died}" if died else "no date of death known"
    return replace(
        stated,
        tier="reserved",
        evidence=f"{stated.evidence}; {composer.name}, {ending} (composers table)",
        reason=f"the work is still protected: {composer.name} {ending}",
    )


def tier_of_words(text: str) -> tuple[str, str] | None:
    """Tier and reason that a statement's words give, None where no rule speaks.

    >>> tier_of_words("All Rights Reserved")[0], tier_of_words("CC BY-SA 4.0")[0]
    ('reserved', 'open')
    """
    for rule in _rules():
        if rule[0].search(text):
            return rule[1], rule[2]
    return None


_NOTHING = Licence(
    "reserved",
    "nothing stated",
    "no words on rights in the file or in a licence file beside it",
    "nothing is stated, so nothing is allowed",
)


@cache
def _rules() -> tuple[tuple[re.Pattern[str], str, str], ...]:
    return tuple(
        (re.compile(row["pattern"], re.I | re.S), row["tier"], row["reason"])
        for row in rows("licence_rules.csv")
    )


def _from_head(head: FileHead) -> Licence | None:
    if not head.statements:
        return None
    found = tier_of_words(" / ".join(dict.fromkeys(words for _, words in head.statements)))
    if found is None:
        return None
    # Quote the lines that decide; a statement spread over several lines is quoted whole.
    telling = [s for s in head.statements if tier_of_words(s[1]) == found]
    said = telling or list(head.statements)
    text = " / ".join(dict.fromkeys(words for _, words in said))
    places = ", ".join(dict.fromkeys(place for place, _ in said))
    return Licence(found[0], text[:400], f"in the file: {places}", found[1])


def _from_collection(relative: str) -> Licence:
    row = collection_of(relative)
    return Licence(row["tier"], row["statement"], row["evidence"], row["reason"])


def _from_folder(file: SourceFile) -> Licence:
    """What the corpus states, or the nearest licence file up to its root, both included."""
    known = dict(file.known)
    if known.get("tier"):
        return Licence(*(known[part] for part in ("tier", "statement", "evidence", "reason")))
    place = file.path.parent
    for _ in range(file.relative.count("/") + 1):
        found = _licence_file(place)
        if found is not None:
            return found
        place = place.parent
    return _NOTHING


@cache
def _licence_file(place: Path) -> Licence | None:
    try:
        names = sorted(p for p in place.iterdir() if p.stem.lower() in _LICENCE_NAMES)
        texts = [(p, p.read_bytes()[:64_000].decode("utf-8", "replace")) for p in names]
    except OSError:
        return None
    for path, text in texts:
        found = tier_of_words(text)
        if found is not None:
            words = re.sub(r"\s+", " ", text).strip()[:200]
            return Licence(found[0], words, f"in {path.name} of its folder", found[1])
    return None


def _composer(file: SourceFile, head: FileHead) -> Composer | None:
    if file.corpus != BUNDLED:
        return resolve(dict(file.known).get("composer") or head.composer)
    row = work_row(file.relative)
    return resolve(row["composer"] or collection_of(file.relative)["composer"] or head.composer)
