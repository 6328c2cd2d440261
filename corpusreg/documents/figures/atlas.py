"""The figures of the atlas as pictures: a sheet each, with its words."""

from __future__ import annotations

from corpusreg.documents.figures.cells import draw_groups
from corpusreg.documents.figures.instruments import draw_heights
from corpusreg.documents.figures.octaves import draw_octaves
from corpusreg.documents.figures.sheet import new_sheet
from corpusreg.documents.figures.style import as_picture, styled
from corpusreg.documents.pictures.svg import Picture
from corpusreg.norms.atlas.model import Atlas, Groups, Heights, Octaves
from corpusreg.text.atlas import alt_text, made_words, meaning_words, notes_words

__all__ = ["atlas_pictures"]


def atlas_pictures(found: Atlas) -> dict[str, Picture]:
    """Every figure by its name. Raises CorpusregError where seaborn is missing."""
    with styled() as seaborn:
        made = {}
        for each in found.figures:
            sheet = new_sheet(
                each.title, meaning_words(each), notes_words(each), made_words(found)
            )
            if isinstance(each, Groups):
                draw_groups(seaborn, sheet, each)
            elif isinstance(each, Octaves):
                draw_octaves(seaborn, sheet, each)
            elif isinstance(each, Heights):
                draw_heights(seaborn, sheet, each)
            made[each.name] = as_picture(sheet.figure, each.name, each.title, alt_text(each))
    return made
