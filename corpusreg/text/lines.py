"""Lines of text, and the screen that they are for.

Text is made for `screen()`: 88 columns and plain signs, for a pipe, a file or a notebook,
unless a terminal has said otherwise by `shown_on`.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

from corpusreg.system.plaintext import plain

__all__ = ["Screen", "item", "items", "paragraph", "screen", "shown_on", "wrap"]


@dataclass(frozen=True)
class Screen:
    """width: columns. blocks: whether half-block characters in colour can be shown."""

    width: int = 88
    blocks: bool = False


_PLAIN = Screen()
_SCREEN: ContextVar[Screen] = ContextVar("screen", default=_PLAIN)


def screen() -> Screen:
    """What text is made for."""
    return _SCREEN.get()


@contextmanager
def shown_on(found: Screen) -> Iterator[None]:
    """Text is made for this screen inside a with block."""
    token = _SCREEN.set(found)
    try:
        yield
    finally:
        _SCREEN.reset(token)


def wrap(text: str, indent: str = "", first: str | None = None) -> list[str]:
    """Lines as wide as the screen; `first` indents the first line otherwise."""
    return textwrap.wrap(
        text,
        width=screen().width,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )


def paragraph(text: str) -> str:
    """Text as wide as the screen."""
    return "\n".join(wrap(text))


def item(text: str) -> list[str]:
    """A line of a list, with a dash."""
    return wrap(plain(text), "    ", "  - ")


def items(texts: Sequence[str]) -> list[str]:
    """A list with dashes."""
    return [line for text in texts for line in item(text)]
