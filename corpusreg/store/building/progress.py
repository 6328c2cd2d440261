"""How far a build is, on standard error."""

from __future__ import annotations

import sys
import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from corpusreg.corpus.corpora import FetchProgress
    from corpusreg.store.building.batch import Progress

__all__ = ["FetchBar", "ProgressBar"]


class FetchBar:
    """Files fetched of all on one line of a terminal, else one line now and then."""

    def __init__(self) -> None:
        self._terminal = sys.stderr.isatty()
        self._shown = False

    def __call__(self, progress: FetchProgress) -> None:
        """Show a state."""
        line = f"Fetching '{progress.name}': {progress.done:,} of {progress.total:,} files"
        begin, end = ("\r", "") if self._terminal else ("", "\n")
        print(f"{begin}{line}", end=end, file=sys.stderr, flush=True)
        self._shown = True
        if progress.done == progress.total:
            self.close()

    def close(self) -> None:
        """End the line."""
        if self._terminal and self._shown:
            print(file=sys.stderr)
        self._shown = False


class ProgressBar:
    """Works, rate, time left and failures on one line of a terminal, else now and then."""

    def __init__(self) -> None:
        self._terminal = sys.stderr.isatty()
        self._next = 0.0

    def __call__(self, progress: Progress) -> None:
        """Show a state; most are passed over, so that showing costs nothing."""
        now = time.monotonic()
        if now < self._next and progress.done < progress.total:
            return
        self._next = now + (0.2 if self._terminal else 10.0)
        share = progress.bytes_done / max(progress.bytes_total, 1)
        left = progress.seconds * (1 - share) / share if share else 0.0
        rate = progress.works / max(progress.seconds, 1e-9)
        filled = int(24 * share)
        line = (
            f"[{'#' * filled}{'.' * (24 - filled)}] {progress.works:,} works, "
            f"{rate:.0f} a second, {left:.0f} s left, {progress.failed:,} failed"
        )
        print(
            f"\r{line:<78}" if self._terminal else line,
            end="" if self._terminal else "\n",
            file=sys.stderr,
            flush=True,
        )

    def close(self) -> None:
        """End the line."""
        if self._terminal and self._next:
            print(file=sys.stderr)
