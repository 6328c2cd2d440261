"""Register in music: measures over open scores, and a piece placed among them.

In Python and in notebooks:

>>> import corpusreg
>>> corpusreg.compare, corpusreg.Session  # doctest: +ELLIPSIS
(<function Session.compare at ...>, <class 'corpusreg.session.Session'>)

Every command is a method of `corpusreg.Session`, which holds one open reference; each method
is also a function of this package, with a session of its own. They are imported when first
used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from corpusreg.session import Session as Session

__version__ = "0.1.0"
_METHODS = (
    "add_corpus", "ask", "atlas", "check", "compare", "contrast", "corpora", "corpus_template",
    "coverage", "demo", "draw_map", "duplicates", "example_kinds", "examples",
    "export_reference", "extract", "import_reference", "reference_sheet",
    "get_corpus", "heights", "library", "make_handout", "open_class",
    "periods", "profiles", "queries",
    "query", "ranges", "remove_corpus", "revise", "show_corpus", "table",
)  # fmt: skip

__all__ = ["Session", "__version__", "open_reference", *_METHODS]


def open_reference() -> Session:
    """A session whose reference is open: use it in a with block.

    Raises StoreError when there is none ('corpusreg extract' makes one), when it is held for
    writing, damaged, or made by other definitions.
    """
    from corpusreg.session import Session

    session = Session()
    session.reference  # noqa: B018 - opened now, so that what is wrong is seen here
    return session


def __getattr__(name: str) -> Any:
    """Methods of a session as functions, and the session itself, imported on first use."""
    if name in _METHODS:
        from corpusreg.session import asking_once

        return asking_once(name)
    if name == "Session":
        from corpusreg.session import Session

        return Session
    raise AttributeError(f"module 'corpusreg' has no attribute '{name}'")
