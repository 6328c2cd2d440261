"""ABC files as text: encoding, tunes, and what must not reach the library."""

from __future__ import annotations

import re

from corpusreg.system.errors import ReadError

__all__ = ["decode", "guard", "split_tunes"]

# 1,000 nested braces still pass the library, 20,000 end the process (measured).
_MOST_BRACES = 64
_MOST_LINE = 1_000_000  # characters


def decode(data: bytes) -> str:
    """Text of a file: UTF-8, otherwise Windows-1252, in which any byte has a letter.

    Tunes that came by mail can be quoted-printable ('=3D' for '='): undone too.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if "=3D" in text or "=20\n" in text:
        text = re.sub(r"(?m)^([^%\n].*[^=\n])=\n", r"\1", text)
        text = text.replace("=20\n", "\n").replace("=3D", "=")
    return text


def split_tunes(text: str) -> tuple[str, list[tuple[str, str]]]:
    """File header, and (number, text) of each tune; a tune begins with `X:`.

    A text without `X:` is one tune if it has a key field, otherwise none.
    """
    starts = [m.start() for m in re.finditer(r"(?m)^[ \t]*X:", text)]
    if not starts:
        return "", [("", "X:1\n" + text)] if re.search(r"(?m)^K:", text) else []
    tunes = []
    for begin, end in zip(starts, [*starts[1:], len(text)], strict=True):
        tune = text[begin:end].lstrip(" \t")
        number = tune[2:].split("\n", 1)[0].split("%", 1)[0].strip()
        tunes.append((number, tune))
    return text[: starts[0]], tunes


def guard(tune: str) -> None:
    """Raise ReadError where nesting or length could crash the library."""
    depth = 0
    for sign in re.findall(r"[{}]", tune):
        depth = depth + 1 if sign == "{" else max(0, depth - 1)
        if depth > _MOST_BRACES:
            raise ReadError(f"more than {_MOST_BRACES} nested braces; close the grace notes")
    if any(len(line) > _MOST_LINE for line in tune.split("\n")):
        raise ReadError(f"a line is longer than {_MOST_LINE:,} characters; is this music?")
