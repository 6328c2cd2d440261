"""Pictures to files: .svg as it is, .pdf and .png through typst.

typst embeds its own face, so that a file looks the same everywhere and the text of a PDF
can be selected; letters that the face lacks (Chinese, say) are shown as boxes in .pdf and
.png. No date is written: the same picture gives the same file.
Maps of pieces need no reference.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from corpusreg.comparison.heights import find_part
from corpusreg.comparison.placing import measured, part_names
from corpusreg.documents.pictures.register_map import pages, register_map, stills
from corpusreg.documents.pictures.svg import Picture
from corpusreg.documents.pictures.view import MapView
from corpusreg.system.errors import UsageError
from corpusreg.system.isolate import bounded, made_of
from corpusreg.system.writing import write_files

__all__ = ["contents", "draw_map", "pdf", "png"]

ENDINGS = (".svg", ".png", ".pdf")
_PIXEL = 0.75  # points
_DPI = 192.0  # two dots to a pixel
_SOURCE = b"""
#set document(title: sys.inputs.title, date: none)
#for number in range(int(sys.inputs.count)) {
  let given = json(bytes(sys.inputs.at("picture-" + str(number))))
  page(
    width: given.width * 1pt, height: given.height * 1pt, margin: 0pt,
    image(bytes(given.svg), format: "svg", width: 100%, alt: given.alt),
  )
}
"""


def check_name(path: Path) -> str:
    """The format that a file name asks for. Raises UsageError where it is none of ENDINGS."""
    ending = path.suffix.lower()
    if ending not in ENDINGS:
        raise UsageError(
            f"{path.name}: a picture is written as one of {', '.join(ENDINGS)}; "
            "end the name with one of these"
        )
    return ending


def contents(pictures: Sequence[Picture], path: Path) -> dict[Path, bytes]:
    """Files of pictures, of the format that the ending of the path names (see ENDINGS).

    Several pictures are the pages of one .pdf; as .svg or .png each is a file of its own,
    'name-1.png' and so on. Raises UsageError for another ending.
    """
    ending = check_name(path)
    if ending == ".pdf":
        return {path: pdf(pictures)}
    one = len(pictures) == 1
    names = [
        path if one else path.with_name(f"{path.stem}-{number}{path.suffix}")
        for number in range(1, len(pictures) + 1)
    ]
    made = [png(each) if ending == ".png" else each.svg.encode() for each in pictures]
    return dict(zip(names, made, strict=True))


def pdf(pictures: Sequence[Picture]) -> bytes:
    """Pictures as the pages of a PDF, each page as large as its picture."""
    return _compiled(pictures, "pdf")


def png(picture: Picture) -> bytes:
    """A picture in dots, twice as many as it has pixels."""
    return _compiled([picture], "png")


def _compiled(pictures: Sequence[Picture], form: Literal["pdf", "png"]) -> bytes:
    import typst

    given = {
        f"picture-{number}": json.dumps(
            {
                "svg": each.svg,
                "width": each.width * _PIXEL,
                "height": each.height * _PIXEL,
                "alt": each.description,
            }
        )
        for number, each in enumerate(pictures)
    }
    made: bytes = typst.compile(
        _SOURCE,
        format=form,
        ppi=_DPI,
        font_paths=typst.Fonts(include_system_fonts=False),
        sys_inputs={**given, "title": pictures[0].title, "count": str(len(pictures))},
    )
    return made


def draw_map(
    piece: Path,
    other: Path | None,
    to: Path,
    *,
    part: str | None = None,
    wide: bool = False,
    number: str | None = None,
) -> list[Path]:
    """Draw the register map of a piece, or of two on the same axes; the files written.

    part: name or number of a part, None for the whole. wide: stills of the shape 16:9,
    otherwise as many systems as there are, in a PDF on several pages. number: which work
    of a file of several; the other version may also hold that work alone. Raises UsageError
    for a name without a known ending and for a part or a work that is not there, ReadError
    for a piece that cannot be read, CorpusregError where nothing can be written.
    """
    check_name(to)
    first = bounded(_view, piece, part, number)
    second = bounded(_view, other, part, number, or_only=True) if other else None
    paths = [piece, other] if other else [piece]
    made = made_of(paths, _drawn, first, second, to, wide=wide)
    write_files(made)
    return list(made)


def _drawn(
    first: MapView, second: MapView | None, to: Path, *, wide: bool
) -> dict[Path, bytes]:
    if wide:
        pictures = stills(first, second, prefix="map")
    elif to.suffix.lower() == ".pdf":
        pictures = [
            register_map(first, second, prefix=f"map-{number}", bars=bars)
            for number, bars in enumerate(pages(first, second), start=1)
        ]
    else:
        pictures = [register_map(first, second, prefix="map")]
    return contents(pictures, to)


def _view(
    path: Path, part: str | None, number: str | None, *, or_only: bool = False
) -> MapView:
    """A piece, or one of its parts as if it were the whole."""
    view = MapView(*measured(path, number, or_only=or_only))
    if part is None:
        return view
    names = part_names(view.whole.played)
    name = names[find_part(names, part, path.name)]
    return MapView(f"{view.title}: {name}", view.parts[name])
