"""Scores from files of any format: one reader a format, each returning what is on the page.

`read_file` gives all works of a file and what could not be read; `read_scores`
gives the works and raises when there is none. The family is chosen by content
where content says it, otherwise by suffix. Native libraries are behind some
readers: many files, or files from strangers, are read in a worker process.

A file that holds several movements gives one Score each, with its bars as printed. A
movement is taken to begin where two of these are on the page: an end (a final barline or a
da capo before it); bar numbers that begin again at 0 or 1, with a new page, metre, key,
tempo or heading; the numeral of the next movement. Nothing sounds across. Trios, variations
and the like belong to the movement they stand in, whatever their bar numbers do, and a bar
or three without a numeral are no movement. Where the numbers begin again and the rest is
not there, the split is not certain: the file stays one work, and says so.
"""

from __future__ import annotations

import codecs
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from corpusreg.score.formats import FORMATS
from corpusreg.score.notes import Bars, ReadResult, Score
from corpusreg.system.errors import ReadError

__all__ = ["FORMATS", "existing", "read_file", "read_scores", "sniff"]

# Families of printed pages, on which one sees where movements end.
_WITH_MOVEMENTS = frozenset(("musicxml", "kern", "mei"))
_MOST_BYTES = 16 * 2**20  # of formats that are read into memory whole
_MOST_PARTS = 200  # each is measured by itself; the largest open scores seen have under 60
_MOST_BARS = 5_000  # the longest work of the open corpora has 1,433
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
    try:
        result = _read(path, family)
    except ReadError as error:
        # A reader knows the file by its name; people have files of one name in many folders.
        if not str(error).startswith(path.name):
            raise
        folder = str(path).removesuffix(path.name)
        raise ReadError(f"{folder}{error}", error.reason) from error
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
    if len(score.bars) > _MOST_BARS:
        return (
            f"{len(score.bars):,} bars, where the longest movement has under 2,000; is its "
            "metre mistyped, or is it several pieces?"
        )
    return ""


def _known() -> str:
    return "formats read: " + " ".join(sorted(FORMATS))


_NUMERAL = re.compile(
    r"^\W*(?:(?:n[or]\.?|nº|mov(?:ement|t)?\.?)\s*)?([IVX]+|\d{1,2})\b\W", re.I
)
_ROMAN = ("I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X", "XI", "XII")
_SHORTEST = 4  # bars; what is shorter is an ossia or a sketch, unless it has a numeral
_ENDS = {"dacapo", "dalsegno", "fine"}
# Headings of what is part of a movement.
_INSIDE = re.compile(
    r"^\W*(?:[IVX\d]+\W+)?(trio|var(\b|iat|iaz)|minore?\b|maggiore\b|alternativo|coda|doubles?\b"
    r"|tempo (i\b|1|primo)|reprise|ripresa|verse|refrain|chorus|strophe)",
    re.IGNORECASE,
)


def movements(score: Score) -> list[Score]:
    """The movements of a score in order, numbered from 1; the score itself where it is one."""
    begins, doubt = _beginnings(score)
    if doubt:
        return [replace(score, assumed=(*score.assumed, doubt))]
    if not begins:
        return [score]
    edges = [0, *begins, len(score.bars)]
    return [
        _movement(score, first, last, number)
        for number, (first, last) in enumerate(pairwise(edges), 1)
    ]


def _beginnings(score: Score) -> tuple[list[int], str]:
    """First bars of the second and later movements; why there is doubt, or ''."""
    begins: list[int] = []
    again = _numbers_begin_again(score.bars)
    finals = {sign.bar for sign in score.signs if sign.kind == "final"}
    for bar in sorted(again | {final + 1 for final in finals}):
        heads = _headings(score, bar)
        if bar >= len(score.bars) or any(_INSIDE.search(text) for text in heads):
            continue
        ended = bar - 1 in finals or bool(score.bars.marks[bar - 1] & _ENDS)
        last = min((f + 1 for f in finals if f >= bar), default=len(score.bars))
        anew = bar in again and _begins_anew(score, bar) and last - bar >= _SHORTEST
        next_one = any(_numeral(text) == len(begins) + 2 for text in heads)
        if ended + anew + next_one > 1 and not _sounds_across(score, bar):
            begins.append(bar)
        elif bar in again:
            where = f"the {_ordinal(bar + 1)} bar of the file"
            return [], (
                f"bar numbers begin again at {where}, where it is not certain that a movement "
                "ends: read as one work"
            )
    return begins, ""


def _ordinal(number: int) -> str:
    ending = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{'th' if number % 100 in (11, 12, 13) else ending}"


def _numbers_begin_again(bars: Bars) -> set[int]:
    """Bars numbered 0 or 1 after a bar of a higher number."""
    found, last = set(), 0
    for bar, label in enumerate(bars.labels):
        if label.isdecimal():
            number = int(label)
            if number <= 1 and last > max(number, 1):
                found.add(bar)
            last = number
    return found


def _headings(score: Score, bar: int) -> list[str]:
    return [s.text for s in score.signs if s.bar == bar and s.kind == "heading"]


def _numeral(text: str) -> int:
    """Number of a movement that a heading begins with, 0 for none.

    >>> _numeral("IV. Finale"), _numeral("Vivace"), _numeral("No. 2 Adagio")
    (4, 0, 2)
    """
    found = _NUMERAL.match(f"{text} ")
    if found is None:
        return 0
    word = found.group(1)
    if word.isdecimal():
        return int(word)
    return _ROMAN.index(word) + 1 if word in _ROMAN else 0


def _begins_anew(score: Score, bar: int) -> bool:
    """Whether the page shows a new beginning at a bar, besides its number."""
    start = int(score.bars.start[bar])
    return any(sign.bar == bar and sign.kind != "final" for sign in score.signs) or any(
        tempo.tick == start for tempo in score.tempos
    )


def _sounds_across(score: Score, bar: int) -> bool:
    """Whether a note is tied or held over into a bar."""
    notes, start = score.notes, int(score.bars.start[bar])
    held = (notes["onset"] < start) & (notes["onset"] + notes["duration"] > start)
    tied = (notes["bar"] == bar) & (notes["onset"] == start) & notes["tie_in"]
    return bool(held.any() or tied.any())


def _movement(score: Score, first: int, last: int, number: int) -> Score:
    """Bars `first` to `last` (without it) as a work of their own."""
    bars = score.bars
    low = int(bars.start[first])
    high = int(bars.start[last - 1] + bars.length[last - 1])
    notes = score.notes[(score.notes["bar"] >= first) & (score.notes["bar"] < last)].copy()
    notes["bar"] -= first
    notes["onset"] -= low
    sung = np.bincount(notes["part"], minlength=len(score.parts))
    title = _title(_headings(score, first))
    return replace(
        score,
        # Words are counted for the whole file: a part that is silent here sings none.
        parts=tuple(
            replace(part, lyrics=min(part.lyrics, int(sung[i])))
            for i, part in enumerate(score.parts)
        ),
        bars=_bars(bars, first, last, low),
        notes=notes,
        dynamics=tuple(
            replace(d, tick=d.tick - low, end=None if d.end is None else min(d.end, high) - low)
            for d in score.dynamics
            if low <= d.tick < high
        ),
        pedals=tuple(
            replace(p, start=p.start - low, end=min(p.end, high) - low)
            for p in score.pedals
            if low <= p.start < high
        ),
        tempos=tuple(
            replace(t, tick=t.tick - low) for t in score.tempos if low <= t.tick < high
        ),
        metadata={**score.metadata, **({"movement": title} if title else {})},
        assumed=(*score.assumed, "the file holds several movements: each is a work of its own"),
        number=f"{score.number}.{number}" if score.number else str(number),
        first_bar=score.first_bar + first,
        keys=tuple(
            (max(bar - first, 0), fifths)
            for (bar, fifths), (end, _) in pairwise([*score.keys, (last, 0)])
            if end > first and bar < last
        ),
        signs=tuple(
            replace(s, bar=s.bar - first) for s in score.signs if first <= s.bar < last
        ),
    )


def _bars(bars: Bars, first: int, last: int, low: int) -> Bars:
    cut = slice(first, last)
    return Bars(
        labels=bars.labels[cut],
        start=bars.start[cut] - low,
        length=bars.length[cut],
        full=bars.full[cut],
        beat=bars.beat[cut],
        section=bars.section[cut],
        repeat_start=bars.repeat_start[cut],
        repeat_end=bars.repeat_end[cut],
        endings=bars.endings[cut],
        marks=bars.marks[cut],
        order=None
        if bars.order is None
        else tuple(bar - first for bar in bars.order if first <= bar < last),
    )


def _title(headings: Sequence[str]) -> str:
    """What stands over a movement: the heading with its numeral, and the words after it."""
    numbered = [text for text in headings if _numeral(text)]
    # What a movement is called begins with a capital; 'arco' does not.
    words = [t for t in headings if t not in numbered and t[:1].isupper() and len(t) < 60]
    kept = [text.strip(" \n") for text in (*numbered[:1], *words[:1])]
    return " ".join(" ".join(kept).split())
