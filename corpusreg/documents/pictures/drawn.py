"""Pictures of pieces, without a reference."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from corpusreg.documents.pictures.view import MapView

__all__ = ["draw_map"]


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
    from corpusreg.documents.pictures.save import check_name
    from corpusreg.system.isolate import bounded, made_of
    from corpusreg.system.writing import write_files

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
    from corpusreg.documents.pictures.register_map import pages, register_map, stills
    from corpusreg.documents.pictures.save import contents

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
    from corpusreg.comparison.heights import find_part
    from corpusreg.comparison.placing import measured, part_names
    from corpusreg.documents.pictures.view import MapView

    view = MapView(*measured(path, number, or_only=or_only))
    if part is None:
        return view
    names = part_names(view.whole.played)
    name = names[find_part(names, part, path.name)]
    return MapView(f"{view.title}: {name}", view.parts[name])
