"""Pictures of pieces, without a reference."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from corpusreg.errors import UsageError

if TYPE_CHECKING:
    from corpusreg.pictures.view import MapView

__all__ = ["draw_map"]


def draw_map(
    piece: Path, other: Path | None, to: Path, *, part: str | None = None, wide: bool = False
) -> list[Path]:
    """Draw the register map of a piece, or of two on the same axes; the files written.

    part: name or number of a part, None for the whole. wide: stills of the shape 16:9,
    otherwise as many systems as there are, in a PDF on several pages. Raises UsageError
    for a name without a known ending, a part that is not there or a file of several
    pieces, ReadError for one that cannot be read, CorpusregError where nothing can be
    written.
    """
    from corpusreg.pictures.register_map import pages, register_map, stills
    from corpusreg.pictures.save import check_name, save

    ending = check_name(to)
    first, second = _view(piece, part), _view(other, part) if other else None
    if wide:
        return save(stills(first, second, prefix="map"), to)
    if ending == ".pdf":
        passages = pages(first, second)
        return save(
            [
                register_map(first, second, prefix=f"map-{number}", bars=bars)
                for number, bars in enumerate(passages, start=1)
            ],
            to,
        )
    return save([register_map(first, second, prefix="map")], to)


def _view(path: Path, part: str | None) -> MapView:
    """The one piece of a file, or one of its parts as if it were the whole."""
    from corpusreg.heights import find_part
    from corpusreg.pictures.view import MapView
    from corpusreg.placing import measured, part_names

    found = measured(path)
    if len(found) != 1:
        raise UsageError(
            f"{path.name} holds {len(found)} pieces; save the one you mean by itself"
        )
    view = MapView(*found[0])
    if part is None:
        return view
    names = part_names(view.whole.played)
    name = names[find_part(names, part, path.name)]
    return MapView(f"{view.title}: {name}", view.parts[name])
