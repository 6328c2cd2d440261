"""Slurs of a MusicXML file: which notes they bind together."""

from __future__ import annotations

from pathlib import Path

from lxml import etree

from corpusreg.score.notes import Score
from corpusreg.score.rewrite.tree import note_elements, parsed, parts

__all__ = ["slurs"]


def slurs(path: Path, score: Score) -> list[tuple[int, int]]:
    """First and last row of `score.notes` under each slur; none in other formats.

    score: as read from `path`. A slur without its end binds nothing.
    """
    if score.format != "musicxml":
        return []
    root = parsed(path)
    rows = dict(
        zip(score.notes["source"].tolist(), range(len(score.notes)), strict=True)
    )  # fmt: skip
    row_of = {note: rows.get(at) for at, note in enumerate(note_elements(root))}
    found = []
    for part in parts(root):
        begun: dict[tuple[str, str], etree._Element] = {}
        for note in (n for bar in part for n in bar.iterchildren("note")):
            for slur in note.iterfind("notations/slur"):
                key = note.findtext("voice", "1"), slur.get("number", "1")
                if slur.get("type") == "start":
                    begun[key] = note
                elif slur.get("type") == "stop" and key in begun:
                    first, last = row_of[begun.pop(key)], row_of[note]
                    if first is not None and last is not None:
                        found.append((first, last))
    return found
