"""A piece and a version of it: both maps on the same axes, both to be heard."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from itertools import groupby

import numpy as np

from corpusreg.documents.html import json_text
from corpusreg.documents.layout import Document, Drawn, made_document
from corpusreg.documents.pictures.register_map import pages, register_map
from corpusreg.documents.pictures.view import MapView
from corpusreg.documents.sound import BEAT, sound
from corpusreg.revision.versions import Contrast
from corpusreg.system.phrases import capital
from corpusreg.system.plaintext import plain
from corpusreg.text.options import bars_words, strain_words
from corpusreg.text.revision import (
    contrast_lead,
    contrast_rows,
    moved_words,
)

__all__ = ["contrast_document", "made_contrast"]

VERSIONS = ("as it is", "in this way")
_WIDTH = 720.0  # pixels: the text column


def made_contrast(c: Contrast, kind: str) -> tuple[bytes, tuple[str, ...]]:
    """The content of its page or PDF; as `made_document`."""
    return made_document(contrast_document(c), kind)


def contrast_document(c: Contrast) -> Document:
    """The document of a contrast, whose page plays both versions."""
    return Document(
        f"{c.title}: in other registers",
        "contrast.html",
        {
            "title": c.title,
            "facts": capital(contrast_lead(c)),
            "versions": VERSIONS,
            "bars": len(c.before.played.bars),
            "tempo": ""
            if c.before.played.tempo_known
            else f"No tempo is written: it is played at {60 / BEAT:.0f} beats a minute.",
            "measures": contrast_rows(c),
            "moves": list(_moves(c)),
            "strained": strain_words(c.strained) if c.strained else "",
            "sounds": [
                json_text(asdict(sound(each.played)) | {"stays": []})
                for each in (c.before, c.after)
            ],
        },
        dict(_maps(c)),
        script=True,
    )


def _maps(c: Contrast) -> Iterator[tuple[str, Drawn]]:
    view, other = (
        MapView(f"{c.title}, {version}", found)
        for version, found in zip(VERSIONS, (c.before, c.after), strict=True)
    )
    alt = f"Register maps of {c.title}, as it is and in another way, on the same axes"
    for number, bars in enumerate(pages(view, other, _WIDTH), start=1):
        drawn = register_map(
            view, other, prefix=f"w1-map-{number}", bars=bars, width=_WIDTH, heading=False,
            words=VERSIONS,
        )  # fmt: skip
        yield f"map-{number}", Drawn(drawn.svg, alt)


def _moves(c: Contrast) -> Iterator[tuple[str, int, int, str]]:
    """Bars in words, played bars in which they are first heard, and what moves there."""
    for (first, last), moved in groupby(c.moved, key=lambda each: (each.first, each.last)):
        text = "; ".join(plain(moved_words(each)) for each in moved)
        for start, end in _played(c, first, last):
            yield bars_words(c.labels, first, last), start, end, text


def _played(c: Contrast, first: int, last: int) -> Iterator[tuple[int, int]]:
    """Played bars in which written bars are heard for the first time; none if never."""
    written = c.before.played.bars.written
    inside = np.flatnonzero((written >= first) & (written < last))
    if len(inside):
        run = np.flatnonzero(np.diff(inside, append=len(written) + 1) > 1)[0]
        yield int(inside[0]), int(inside[run]) + 1
