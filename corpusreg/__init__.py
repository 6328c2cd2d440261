"""Register in music: measures over open scores, and a piece placed among them.

In Python and in notebooks:

>>> import corpusreg
>>> corpusreg.compare, corpusreg.open_reference  # doctest: +ELLIPSIS
(<function compare at ...>, <function open_reference at ...>)

They, `contrast`, `revise`, `draw_map` and `make_handout` are in `corpusreg.api` and are
imported when first used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from corpusreg.api import compare as compare
    from corpusreg.api import contrast as contrast
    from corpusreg.api import draw_map as draw_map
    from corpusreg.api import make_handout as make_handout
    from corpusreg.api import open_reference as open_reference
    from corpusreg.api import revise as revise

__version__ = "0.1.0"
_FUNCTIONS = ("compare", "contrast", "draw_map", "make_handout", "open_reference", "revise")

__all__ = [
    "__version__", "compare", "contrast", "draw_map", "make_handout", "open_reference",
    "revise",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    """The functions of `corpusreg.api`, imported on first use."""
    if name in _FUNCTIONS:
        from corpusreg import api

        return getattr(api, name)
    raise AttributeError(f"module 'corpusreg' has no attribute '{name}'")
