"""Errors that people may see: one line that says what is wrong, where, and what to do.

Every error that corpusreg raises on purpose is a `CorpusregError`; the command
line prints its text and nothing else. Conventions for the text: name the
offender first (file, bar, option), then what was expected and what was found,
then the next step; one line; no full stop at the end.
"""

from __future__ import annotations

__all__ = ["CorpusregError", "DataError", "ReadError", "StoreError", "UsageError"]


class CorpusregError(Exception):
    """Base of all errors meant for people."""


class ReadError(CorpusregError):
    """A score cannot be read: damaged, empty, too large, or not a score.

    reason: what is wrong without file and place, so that equal reasons can be counted;
    '' where the text of the error does not say more than that.
    """

    def __init__(self, words: str, reason: str = "") -> None:
        """`words` say what is wrong, where, and what to do, in one line."""
        super().__init__(words)
        self.reason = reason

    def __reduce__(self) -> tuple[type[ReadError], tuple[str, str]]:
        return type(self), (str(self), self.reason)


class DataError(CorpusregError):
    """A table, query file or stored row does not have the expected form."""


class StoreError(CorpusregError):
    """The reference is missing, locked, damaged, or made by other definitions."""


class UsageError(CorpusregError):
    """A request names something that does not exist or cannot be combined."""
