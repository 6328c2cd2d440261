"""Write the eight demo pieces to demo/pieces, the same bytes every time.

    python demo/make_pieces.py [FOLDER]

The music is in pieces.py, in the notation that notation.py explains; the other
modules here write it in one file format each.
"""

from __future__ import annotations

import sys
from pathlib import Path

from midi import midi
from musicxml import compressed, musicxml
from notation import Piece
from pieces import PIECES
from textformats import abc, kern

__all__ = ["content", "main"]


def content(piece: Piece) -> bytes:
    """The piece's file, in the format that its file name asks for."""
    name = Path(piece.file)
    if name.suffix == ".mxl":
        return compressed(musicxml(piece), name.with_suffix(".musicxml").name)
    writers = {".musicxml": musicxml, ".krn": kern, ".abc": abc, ".mid": midi}
    return writers[name.suffix](piece)


def main(folder: Path) -> None:
    """Write every piece into `folder`, which is made where it does not exist."""
    folder.mkdir(parents=True, exist_ok=True)
    for piece in PIECES:
        (folder / piece.file).write_bytes(content(piece))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "pieces")
