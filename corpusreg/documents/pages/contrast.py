"""A piece and a version of it as a page: both maps on the same axes, both to be heard."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from itertools import groupby
from pathlib import Path

import numpy as np

from corpusreg.documents.pictures import look
from corpusreg.documents.pictures.register_map import pages, register_map
from corpusreg.documents.pictures.view import MapView
from corpusreg.documents.report.html import Html, asset, document, json_text, tag
from corpusreg.documents.report.sound import BEAT, sound
from corpusreg.revision.versions import Contrast
from corpusreg.system.errors import UsageError
from corpusreg.system.phrases import capital
from corpusreg.system.plaintext import plain
from corpusreg.text.options import bars_words
from corpusreg.text.outputs.revision_text import (
    contrast_lead,
    contrast_rows,
    moved_words,
    strain_words,
)

__all__ = ["check_contrast_page", "contrast_page"]

_VERSIONS = ("as it is", "in this way")
_WIDTH = 720.0  # pixels: the text column


def check_contrast_page(path: Path) -> None:
    """Raise UsageError where the page has another ending than .html."""
    if path.suffix.lower() != ".html":
        raise UsageError(f"{path}: a contrast is shown as a page; name it .html")


def contrast_page(c: Contrast) -> str:
    """The whole page, which fetches nothing."""
    article = tag(
        "article",
        _maps(c),
        _measures(c),
        _places(c),
        *(
            tag("script", json_text(asdict(sound(each.played)) | {"stays": []}),
                type="application/json", class_="sound")
            for each in (c.before, c.after)
        ),
        id="w1",
        data_work="w1",
    )  # fmt: skip
    lead = contrast_lead(c)
    header = tag("header", tag("h1", c.title), tag("p", capital(lead), class_="facts"))
    foot = tag("p", "Made with corpusreg from the score alone. Neither version is the better.")
    return document(
        f"{c.title}: in other registers",
        [header, tag("main", article, id="content"), tag("footer", foot)],
        style=f"{look.css()}\n{asset('page.css')}",
        script=asset("page.js"),
    )


def _maps(c: Contrast) -> Html:
    view, other = (
        MapView(f"{c.title}, {version}", found)
        for version, found in zip(_VERSIONS, (c.before, c.after), strict=True)
    )
    drawn = [
        Html(
            register_map(
                view, other, prefix=f"w1-map-{n}", bars=bars, width=_WIDTH, heading=False
            ).svg
        )
        for n, bars in enumerate(pages(view, other, _WIDTH), start=1)
    ]
    map_ = tag(
        "div",
        tag("div", *drawn, class_="drawn"),
        class_="map alone",
        tabindex=0,
        role="application",
        aria_roledescription="two register maps",
        aria_label=f"{c.title}, as it is and in another way, on the same axes",
        aria_describedby="w1-keys",
    )
    keys = tag(
        "p",
        "With keys: left and right go bar by bar, up and down four bars at a time, Home and "
        "End to the ends; Enter plays the piece as it is, Escape stops.",
        id="w1-keys",
        class_="keys",
    )
    caption = tag(
        "figcaption",
        "First the piece as it is, second in this way. Time across, pitch upward; the stronger "
        "the colour, the more sounds there.",
    )
    title = tag("h2", "Both on the same axes", id="w1-map-title")
    return tag(
        "section", title, tag("figure", map_, _tools(c), keys, caption), *_tempo(c),
        id="w1-map", aria_labelledby="w1-map-title",
    )  # fmt: skip


def _tools(c: Contrast) -> Html:
    buttons = tag(
        "p",
        _buttons("Hear the bar", class_="hear-chosen", disabled=True),
        " ",
        _buttons("Hear all", data_first=0, data_last=len(c.before.played.bars)),
        " ",
        tag("button", "Stop", type="button", class_="stop"),
    )
    readout = tag("p", "Point at a bar, or touch it.", class_="readout", role="status")
    return tag("div", readout, buttons, class_="tools")


def _tempo(c: Contrast) -> list[Html]:
    if c.before.played.tempo_known:
        return []
    pace = f"No tempo is written: it is played at {60 / BEAT:.0f} beats a minute."
    return [tag("p", pace, class_="aside")]


def _buttons(words: str, **attributes: str | int | bool) -> Html:
    """One button for each version."""
    made = [
        tag("button", f"{words}, {how}", type="button", data_version=number, data_how=how,
            **attributes)
        for number, how in enumerate(_VERSIONS)
    ]  # fmt: skip
    return tag("span", made[0], " ", made[1])


def _measures(c: Contrast) -> Html:
    head = tag("tr", *(tag("th", word, scope="col") for word in ("measure", *_VERSIONS)))
    rows = [
        tag("tr", tag("th", title, scope="row"), tag("td", before), tag("td", after))
        for title, before, after in contrast_rows(c)
    ]
    return tag(
        "section",
        tag("h2", "What it does to the measures", id="w1-measures-title"),
        tag("table", tag("thead", head), tag("tbody", *rows)),
        aria_labelledby="w1-measures-title",
    )


def _places(c: Contrast) -> Html:
    items = []
    for (first, last), moved in groupby(c.moved, key=lambda each: (each.first, each.last)):
        words = bars_words(c.labels, first, last)
        for start, end in _played(c, first, last):
            link = tag(
                "a", words, href="#w1-map", class_="place", data_first=start, data_last=end,
                data_words=words,
            )  # fmt: skip
            text = "; ".join(plain(moved_words(each)) for each in moved)
            hear = _buttons("Hear", class_="hear", data_first=start, data_last=end)
            items.append(tag("li", link, f": {text} ", hear))
    strained = [tag("p", strain_words(c.strained), class_="caution")] if c.strained else []
    return tag(
        "section",
        tag("h2", "What moves", id="w1-moved-title"),
        tag("ul", *items),
        *strained,
        aria_labelledby="w1-moved-title",
    )


def _played(c: Contrast, first: int, last: int) -> Iterator[tuple[int, int]]:
    """Played bars in which written bars are heard for the first time; none if never."""
    written = c.before.played.bars.written
    inside = np.flatnonzero((written >= first) & (written < last))
    if len(inside):
        run = np.flatnonzero(np.diff(inside, append=len(written) + 1) > 1)[0]
        yield int(inside[0]), int(inside[run]) + 1
