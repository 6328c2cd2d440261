"""Readers: one file per format family; each returns what is on the page.

`read_file` gives all works of a file and what could not be read; `read_scores`
gives the works and raises when there is none. The family is chosen by content
where content says it, otherwise by suffix. Native libraries are behind some
readers: many files, or files from strangers, are read in a worker process.
"""

from __future__ import annotations

import codecs
import re
import unicodedata
from dataclasses import replace
from pathlib import Path

from corpusreg.score.formats import FORMATS
from corpusreg.score.notes import Score
from corpusreg.score.readers.result import ReadResult
from corpusreg.system.errors import ReadError

__all__ = ["FORMATS", "MUSIC21", "ReadResult", "existing", "read_file", "read_scores", "sniff"]

# Families that music21 reads.
MUSIC21 = frozenset(("mei", "capella", "noteworthy", "tinynotation"))
# Families of printed pages, on which one sees where movements end.
_WITH_MOVEMENTS = frozenset(("musicxml", "kern", "mei"))
_MOST_BYTES = 16 * 2**20  # of formats that are read into memory whole
_MOST_PARTS = 200  # each is measured by itself; the largest open scores seen have under 60
_HEAD = 65_536  # bytes that decide what a file is


def read_scores(path: Path) -> list[Score]:
    """All works in a file, in file order, each with at least one pitched note that lasts.

    Raises ReadError, one line with the file's name, when no work can be read.
    """
    result = read_file(path)
    if not result.scores:
        number, reason = result.failures[0]
        raise ReadError(f"{path}: {f'no. {number}: ' if number else ''}{reason}")
    return list(result.scores)


def read_file(path: Path) -> ReadResult:
    """All works in a file, and the number and reason of each that cannot be read.

    Raises ReadError when the file as a whole cannot be read.
    """
    path = existing(Path(path))
    family = sniff(path)
    expected = FORMATS.get(path.suffix.lower())
    result = _read(path, family)
    kept, failures = [], list(result.failures)
    for score in _works(result, family):
        if reason := _unheard(score):
            failures.append((score.number, reason))
        elif expected == family:
            kept.append(score)
        else:
            said = f"the file is {family} by its content, not by its name '{path.name}'"
            kept.append(replace(score, assumed=(*score.assumed, said)))
    return ReadResult(tuple(kept), tuple(failures))


def sniff(path: Path) -> str:
    """Family of a file, by content and else by suffix.

    Raises ReadError for what cannot be opened, is empty, or is no known score.
    """
    head = _head(path)
    if not head:
        raise ReadError(f"{path}: the file is empty; export it again")
    family = _by_content(head)
    if family == "zip":  # MusicXML and Capella are both zipped
        family = "capella" if path.suffix.lower() == ".capx" else "musicxml"
    family = family or FORMATS.get(path.suffix.lower(), "")
    if not family:
        raise ReadError(f"{path}: not a score that can be read; {_known()}")
    return family


def existing(path: Path) -> Path:
    """The path, or its twin in the other Unicode normal form where only that exists.

    What is typed on one system and stored by another often differs in that form.
    """
    for form in ("NFC", "NFD"):
        twin = Path(unicodedata.normalize(form, str(path)))
        try:
            if not path.exists() and twin.exists():
                return twin
        except (OSError, ValueError):  # a name that no file can have
            return path
    return path


def _head(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise ReadError(f"{path}: a folder, not a score; name the files in it")
        if path.exists() and not path.is_file():  # a pipe would never end
            raise ReadError(f"{path}: not a regular file; copy the score to one")
        with path.open("rb") as file:
            return file.read(_HEAD)
    except FileNotFoundError as error:
        raise ReadError(f"{path}: no such file; check the name") from error
    except PermissionError as error:
        raise ReadError(f"{path}: no permission to read it; change its permissions") from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise ReadError(f"{path}: cannot be opened ({reason}); copy it elsewhere") from error


def _by_content(head: bytes) -> str:
    """Family that the first bytes of a file show, 'zip' for an archive, '' for none."""
    if head.startswith(b"PK\x03\x04"):
        return "zip"
    if head.startswith(b"MThd") or (head.startswith(b"RIFF") and head[8:12] == b"RMID"):
        return "midi"
    text = _text(head)
    if re.match(r"\s*<", text):
        return _xml_family(text)
    if text.startswith("!NoteWorthyComposer"):
        return "noteworthy"
    if re.search(r"(?m)^\*\*(kern|recip)\b|\t\*\*kern\b", text):
        return "kern"
    if re.search(r"(?m)^[ \t]*X:[ \t]*\d", text) and re.search(r"(?m)^K:", text):
        return "abc"
    return ""


def _xml_family(text: str) -> str:
    if re.search(r"<(?:\w+:)?score-(?:partwise|timewise)\b", text):
        return "musicxml"
    return "mei" if re.search(r"<(?:\w+:)?mei\b", text) else ""


def _text(head: bytes) -> str:
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return head.decode("utf-16", errors="replace")
    return head.decode("utf-8-sig", errors="replace").replace("\r\n", "\n").replace("\r", "\n")


def _read(path: Path, family: str) -> ReadResult:
    """One file by the reader of its family; each is imported when it is wanted."""
    try:
        if family in ("abc", "midi") and path.stat().st_size > _MOST_BYTES:
            raise ReadError(f"{path}: larger than {_MOST_BYTES >> 20} MB; split the file")
        if family == "abc":
            from corpusreg.score.readers.abc import read_abc_file

            return read_abc_file(path)
        if family == "midi":
            from corpusreg.score.readers.midi import read_midi

            return ReadResult((read_midi(path),))
        if family == "kern":
            from corpusreg.score.readers.kern import read_kern_all

            return ReadResult(tuple(read_kern_all(path)))
        if family == "musicxml":
            from corpusreg.score.readers.musicxml import read_musicxml

            return ReadResult((read_musicxml(path),))
        if family == "lilypond":
            from corpusreg.score.readers.lilypond import read_lilypond

            return read_lilypond(path)
        from corpusreg.score.readers.other import read_all_with_music21

        return ReadResult(tuple(read_all_with_music21(path, family)))
    except OSError as error:
        raise ReadError(f"{path}: cannot be read ({error.strerror or error})") from error


def _works(result: ReadResult, family: str) -> list[Score]:
    """Works of a file; where its format shows movements, each movement."""
    if family not in _WITH_MOVEMENTS:
        return list(result.scores)
    from corpusreg.score.readers.movements import movements

    return [work for score in result.scores for work in movements(score)]


def _unheard(score: Score) -> str:
    """Why a score cannot be heard as it stands, '' where it can."""
    if not len(score.notes):
        if score.left_out.get("unpitched"):
            return "only unpitched percussion, so there is no register to measure"
        return "no notes in it; is it an empty template?"
    if not (score.notes["duration"][~score.notes["grace"]] > 0).any():
        return "no note in it lasts, so that nothing is heard; export it again"
    if len(score.parts) > _MOST_PARTS:
        return (
            f"{len(score.parts):,} parts, where the largest orchestra has under "
            f"{_MOST_PARTS}; is each note a part of its own?"
        )
    return ""


def _known() -> str:
    return "formats read: " + " ".join(sorted(FORMATS))
