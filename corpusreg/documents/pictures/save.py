"""Pictures to files: .svg as it is, .pdf and .png through typst.

typst embeds its own face, so that a file looks the same everywhere and the text of a PDF
can be selected; letters that the face lacks (Chinese, say) are shown as boxes in .pdf and
.png. No date is written: the same picture gives the same file.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from corpusreg.documents.pictures.svg import Picture
from corpusreg.system.errors import UsageError

__all__ = ["check_name", "contents", "pdf", "png"]

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
    import json

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
