"""The text file in which a teacher chooses measures and changes sentences.

It lies beside the sheets and is plain text: a line `measures: span, shift_rate`,
then for each piece a line with its file (or code) in square brackets, its sentences,
one a line, and the question behind a question mark:

    [kitchen-window.musicxml]  Kitchen Window
    It moves less from bar to bar than nearly all of the works it is compared with.
    ? Which bar would you move to another octave first?
    (as made: 8f3a2c 51d0aa)

The two signs in the last line are digests of what was made. Where the sentences, or
the question, no longer match their sign, they are the teacher's own and are kept;
where they match they are made again. Without the line everything is kept. A block of
a piece that is not there any more stays in the file while it holds something changed.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from corpusreg.measures.definitions import BY_NAME
from corpusreg.system.errors import DataError

__all__ = ["FILE_NAME", "Edited", "Edits", "read_edits", "written"]

FILE_NAME = "sentences.txt"
_HEAD = """\
# The sentences on the sheets, one a line, and behind ? the question.
# Change what you like, save, and run the command again: what you changed is kept, the
# rest is made anew. The signs behind 'as made' show what you have changed; leave them.
# To have a piece's sentences made anew, delete all its lines. A ? alone asks nothing.
# Measures to choose from: {}.
"""


@dataclass(frozen=True)
class Edited:
    """What the teacher wrote for one piece; None where nothing was changed."""

    sentences: tuple[str, ...] | None = None
    question: str | None = None

    def __bool__(self) -> bool:
        return self.sentences is not None or self.question is not None


@dataclass(frozen=True)
class Edits:
    """measures: chosen in the file, None where there is no such line. pieces: by key."""

    measures: tuple[str, ...] | None = None
    pieces: Mapping[str, Edited] = field(default_factory=dict)

    def of(self, *keys: str) -> Edited:
        """What was written under the first of several keys that is there."""
        found = (self.pieces.get(" ".join(key.split())) for key in keys)
        return next((each for each in found if each is not None), Edited())


def read_edits(path: Path) -> Edits:
    """What a teacher has changed; nothing where there is no file.

    Raises DataError for a file that is no such text, or names an unknown measure.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return Edits()
    except OSError as error:
        raise DataError(f"{path}: cannot be read ({error.strerror or error})") from error
    except UnicodeDecodeError as error:
        raise DataError(f"{path}: not UTF-8; save it as plain text in UTF-8") from error
    measures, key = None, ""
    blocks: dict[str, list[str]] = {}
    for number, raw in enumerate(text.splitlines(), start=1):
        line = " ".join(raw.split())
        if not line or line.startswith("#"):
            continue
        if named := re.match(r"\[(.+?)\]( |$)", line):
            key = named[1]
            blocks.setdefault(key, [])
        elif key:
            blocks[key].append(line)
        elif line.casefold().startswith("measures:"):
            measures = _measures(path, number, line.partition(":")[2])
        else:
            raise DataError(
                f"{path}, line {number}: before the first piece, which begins with its file "
                "in square brackets, there can only be 'measures: ...'; mend the line"
            )
    return Edits(measures, {key: _changed(lines) for key, lines in blocks.items()})


def written(
    measures: Sequence[str],
    pieces: Sequence[tuple[str, str, Edited, Edited]],
    left: Mapping[str, Edited],
) -> str:
    """The text of the file.

    pieces: for each its key, its title, what is made for it, and what the teacher
    wrote. left: changed blocks of pieces that are not there.
    """
    blocks = [_HEAD.format(", ".join(BY_NAME)) + f"\nmeasures: {', '.join(measures)}\n"]
    for key, title, made, own in pieces:
        shown = Edited(
            made.sentences if own.sentences is None else own.sentences,
            made.question if own.question is None else own.question,
        )
        signs = f"{_sign(made.sentences)} {_sign((made.question or '',))}"
        blocks.append(_block(f"[{key}]  {title}", shown, f"(as made: {signs})"))
    for key, own in left.items():
        blocks.append(_block(f"[{key}]  not in the folder now", own, _kept_signs(own)))
    return "\n".join(blocks)


def _block(head: str, shown: Edited, last: str) -> str:
    asked = [f"? {shown.question}"] if shown.question is not None else []
    return "\n".join([head, *(shown.sentences or ()), *asked, last]) + "\n"


def _kept_signs(own: Edited) -> str:
    """Signs by which only what is there counts as changed."""
    return f"(as made: {'-' if own.sentences is not None else _sign(())} -)"


def _changed(lines: Sequence[str]) -> Edited:
    """What of a block differs from what was made."""
    signs = next((m for line in lines if (m := _MADE.fullmatch(line))), None)
    own = [line for line in lines if not _MADE.fullmatch(line)]
    sentences = tuple(line for line in own if not line.startswith("?"))
    asked = [line[1:].strip() for line in own if line.startswith("?")]
    question = " ".join(asked) if asked else None
    if signs is None:
        return Edited(sentences, question)
    return Edited(
        None if signs[1] == _sign(sentences) else sentences,
        None if question is not None and signs[2] == _sign((question,)) else question,
    )


_MADE = re.compile(r"\(as made: (\S+) (\S+)\)")


def _sign(texts: Sequence[str] | None) -> str:
    """Six letters that change when a text does, whatever its spacing."""
    plain = "\n".join(" ".join(text.split()) for text in texts or ())
    return hashlib.sha256(plain.encode()).hexdigest()[:6]


def _measures(path: Path, number: int, text: str) -> tuple[str, ...]:
    names = tuple(dict.fromkeys(name for name in re.split(r"[,;\s]+", text) if name))
    unknown = [name for name in names if name not in BY_NAME]
    if unknown or not names:
        raise DataError(
            f"{path}, line {number}: no measure '{unknown[0] if unknown else ''}'; "
            f"choose among {', '.join(BY_NAME)}"
        )
    return names
