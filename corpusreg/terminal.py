"""What is shown on a terminal, and what of it goes into a pipe.

Tables and progress are drawn with rich where a person looks on, in the width that the
terminal has (60 to 200 columns) and in colour where it has colour and `NO_COLOR` is not set.
A pipe gets the same as plain text of 88 columns. rich is imported where something is drawn.
"""

from __future__ import annotations

import shutil
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from corpusreg.system.phrases import plural
from corpusreg.system.plaintext import plain
from corpusreg.text.tabular import Screen, column_cells, shown_on

if TYPE_CHECKING:
    from rich.console import Console
    from rich.progress import Progress as Bar
    from rich.progress import TaskID

    from corpusreg.answers import Answer, Rows
    from corpusreg.building.batch import Progress
    from corpusreg.corpus.corpora import FetchProgress

__all__ = ["Stages", "on_screen", "print_answer", "print_rows", "print_text", "say", "waiting"]

NARROWEST, WIDEST = 60, 200
_EVERY = 10.0  # seconds between two lines of progress where there is no terminal


def say(problem: object) -> None:
    """A problem in one line, whatever signs a file name may bring in."""
    print("corpusreg:", plain(str(problem)), file=sys.stderr)


def width() -> int:
    """Columns of the terminal, within bounds."""
    return min(max(shutil.get_terminal_size((88, 24)).columns, NARROWEST), WIDEST)


@contextmanager
def on_screen() -> Iterator[None]:
    """Text is made for this terminal inside a with block; for a pipe it is plain."""
    if not sys.stdout.isatty():
        yield
        return

    encoding = (sys.stdout.encoding or "").lower()
    colour = _console().color_system in ("256", "truecolor")
    with shown_on(Screen(width(), blocks=colour and "utf" in encoding)):
        yield


def _console(*, error: bool = False) -> Console:
    from rich.console import Console

    return Console(stderr=error, width=width(), highlight=False, soft_wrap=False)


def print_answer(answer: Answer, form: str | Path = "") -> None:
    """Print an answer; form: 'json', 'csv', a file for its table, or '' for reading."""
    if isinstance(form, Path):
        answer.write(form)
        print(form)
    elif form == "json":
        print(answer.to_json())
    elif form == "csv":
        print(answer.to_csv(), end="")
    elif sys.stdout.isatty() and type(answer).__name__ == "Rows":
        print_rows(answer)  # type: ignore[arg-type]
    else:
        print_text(answer.text)


def print_rows(rows: Rows) -> None:
    """A table and what its columns mean, drawn on a terminal, plain in a pipe."""
    if not sys.stdout.isatty():
        print(rows.text)
        return
    _draw(rows.names, rows.rows)
    if rows.meanings:
        _draw(("column", "meaning"), list(rows.meanings.items()))
    if rows.note:
        print_text(rows.note)


def _draw(names: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table
    from rich.text import Text

    if not rows:
        print("no rows")
        return
    table = Table(box=SIMPLE_HEAD, pad_edge=False, header_style="bold")
    columns = [column_cells([row[place] for row in rows]) for place in range(len(names))]
    for name, (_, numbers) in zip(names, columns, strict=True):
        table.add_column(
            Text(name), justify="right" if numbers else "left", no_wrap=numbers, overflow="fold"
        )
    for row in zip(*(texts for texts, _ in columns), strict=True):
        table.add_row(*map(Text, row))
    _console().print(table)


def print_text(text: str) -> None:
    """Print text; on a terminal its headings are bold, which are lines before indented ones."""
    if not sys.stdout.isatty():
        print(text)
        return
    from rich.text import Text

    lines = text.split("\n")
    shown = Text()
    for line, following in zip(lines, [*lines[1:], ""], strict=True):
        # A row of a table is none, though its last column may go on below.
        first = bool(line) and not line.startswith((" ", "-")) and "  " not in line
        heading = first and following.startswith("  ")
        if "\x1b" in line:  # a line of a map, in colours of its own
            shown.append_text(Text.from_ansi(line)).append("\n")
        else:
            shown.append(f"{line}\n", style="bold" if heading else "")
    _console().print(shown, end="", soft_wrap=True)


@contextmanager
def waiting(words: str) -> Iterator[Callable[[int, int], None]]:
    """A sign on the terminal that something is being done, for the length of a with block.

    The block may tell how many are done, and of how many.
    """
    if not (sys.stderr.isatty() and sys.stdout.isatty()):
        yield lambda done, of: None
        return

    def show(text: str) -> None:
        print(f"{text:<{len(words) + 16}}", end="\r", file=sys.stderr, flush=True)

    # Nothing that moves: it would need a thread, and no child could be a copy (`isolate`).
    show(f"{words} …")
    try:
        yield lambda done, of: show(f"{words}, {done} of {of} …")
    finally:
        show("")


class Stages:
    """Fetching, measuring and publishing on standard error, for the length of a with block.

    A terminal shows a bar for each stage that moves all the time; else there is a line now
    and then.
    """

    def __init__(self) -> None:
        self._bar: Bar | None = None
        self._tasks: dict[str, TaskID] = {}
        self._next = 0.0

    def __enter__(self) -> Stages:
        if sys.stderr.isatty():
            from rich.progress import (
                BarColumn,
                Progress,
                SpinnerColumn,
                TextColumn,
                TimeElapsedColumn,
            )

            self._bar = Progress(
                SpinnerColumn(),
                TextColumn("{task.description}"),
                BarColumn(bar_width=24),
                TextColumn("{task.fields[told]}"),
                TimeElapsedColumn(),
                console=_console(error=True),
            )
            self._bar.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._bar is not None:
            self._bar.stop()

    def fetched(self, progress: FetchProgress) -> None:
        """Show how many files have come."""
        told = f"{progress.done:,} of {progress.total:,} files"
        if self._bar is None:
            print(f"Fetching '{progress.name}': {told}", file=sys.stderr, flush=True)
        else:
            self._show(f"Fetching '{progress.name}'", progress.done, progress.total, told)

    def measured(self, progress: Progress) -> None:
        """Show works, rate, time left and failures; after the last file, publishing."""
        now = time.monotonic()
        last = progress.done >= progress.total
        if now < self._next and not last:
            return
        self._next = now + (0.2 if self._bar else _EVERY)
        share = progress.bytes_done / max(progress.bytes_total, 1)
        left = progress.seconds * (1 - share) / share if share else 0.0
        rate = progress.works / max(progress.seconds, 1e-9)
        told = (
            f"{plural(progress.works, 'work')}, {rate:.0f} a second, {left:.0f} s left, "
            f"{progress.failed:,} failed"
        )
        if self._bar is None:
            filled = int(24 * share)
            print(f"[{'#' * filled}{'.' * (24 - filled)}] {told}", file=sys.stderr, flush=True)
            return
        self._show("Measuring", progress.bytes_done, max(progress.bytes_total, 1), told)
        if last:
            self._show("Publishing", None, None, "")

    def _show(self, stage: str, done: int | None, total: int | None, told: str) -> None:
        if self._bar is None:
            return
        if stage not in self._tasks:
            self._tasks[stage] = self._bar.add_task(stage, total=total, told=told)
        self._bar.update(self._tasks[stage], completed=done, total=total, told=told)
