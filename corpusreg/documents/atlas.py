"""`atlas --to FOLDER`: the figures for the wall, each as PDF, PNG and SVG, and one page."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from corpusreg.documents.figures.atlas import atlas_pictures
from corpusreg.documents.figures.style import colour_rules
from corpusreg.documents.layout import Document, Drawn
from corpusreg.documents.pictures.save import pdf, png
from corpusreg.documents.pictures.svg import Picture
from corpusreg.norms.atlas import Atlas
from corpusreg.system.errors import CorpusregError
from corpusreg.system.writing import write_files
from corpusreg.text.atlas import made_words, query_words

__all__ = ["atlas_document", "atlas_page", "write_atlas"]

_INTRODUCTION = (
    "Figures for the classroom wall, from the works of the reference: by ensemble, by period, "
    "by instrument. Each is a sheet of the shape of A4 and A3, for print and for a projector. "
    "Counts and intervals are on the figure; where few composers stand for a group, it says so."
)


def write_atlas(found: Atlas, folder: Path) -> list[Path]:
    """Write index.html, atlas.pdf, atlas.json, and each figure as .pdf, .png and .svg.

    The folder is made where it is missing; files of these names are replaced, all or none.
    Raises CorpusregError where they cannot be written, or a library is missing.
    """
    pictures = atlas_pictures(found)
    contents = {
        "index.html": atlas_page(found, pictures).encode("utf-8"),
        "atlas.json": json.dumps(atlas_document(found), indent=1).encode("utf-8"),
        "atlas.pdf": pdf(list(pictures.values())),
    }
    for name, picture in pictures.items():
        contents[f"{name}.svg"] = picture.svg.encode("utf-8")
        contents[f"{name}.png"] = png(picture)
        contents[f"{name}.pdf"] = pdf([picture])
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        raise CorpusregError(
            f"{folder}: no folder can be made there ({why}); choose another place"
        ) from error
    write_files({folder / name: content for name, content in contents.items()})
    return [folder / name for name in contents]


def atlas_document(found: Atlas) -> dict[str, Any]:
    """All numbers of the figures as nested data, with their units."""
    document = asdict(found)
    for each in document["figures"]:
        if "measure" in each:
            measure = each["measure"]
            each["measure"], each["unit"] = measure["name"], measure["unit"]
        for row in each.get("rows", ()):
            row["instrument"] = row["instrument"]["id"]
    return document


def atlas_page(found: Atlas, pictures: Mapping[str, Picture]) -> str:
    """One page with all figures, and links to the files beside it."""
    return Document(
        "A repertoire atlas of register",
        "atlas.html",
        {
            "title": "A repertoire atlas of register",
            "facts": _INTRODUCTION,
            "undrawn": " ".join(found.undrawn),
            "figures": [(each.name, each.title, query_words(each)) for each in found.figures],
            "made": made_words(found),
        },
        {
            name: Drawn(each.svg, each.description, figure=True)
            for name, each in pictures.items()
        },
        style=f"\n{colour_rules()}",
        beside=True,
        kind="wall",
    ).page()
