"""Which files of a class are earlier drafts of others.

The rule: files of one folder are drafts of one piece where their names differ only in a
number after the word 'draft', 'version' or 'v', or in a date, at the end of the name:

    stairs draft 1.musicxml, stairs draft 2.mxl       numbers, in any formats
    stairs_v1.mid, stairs_v2.mid                      the same
    stairs 2026-03-01.mxl, stairs 2026-04-15.mxl      dates (year, month, day)

A bare number is none, since it may be that of a movement or of another piece. The roster's
column `earlier` names the draft before, whatever the files are called, and goes before the
rule. The last draft has a sheet, and is set beside the one before it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from itertools import pairwise

from corpusreg.documents.handout.roster import Roster
from corpusreg.system.errors import DataError

__all__ = ["chain", "earlier_drafts"]

_MARK = re.compile(
    r"(?P<piece>.+?)[\s_.-]+(?:(?:draft|version|v)[\s_.-]*(?P<number>\d{1,4})"
    r"|(?P<date>\d{4}-\d{2}-\d{2}))",
    re.IGNORECASE,
)


def earlier_drafts(files: Sequence[str], roster: Roster) -> dict[str, str]:
    """For each file that is a later draft, the file of the draft before.

    files: relative to the class folder, with '/'. Raises DataError where the roster names
    as earlier a file that is not there, or drafts that go round in a circle.
    """
    drafts: dict[tuple[str, bool], list[tuple[str, str]]] = {}
    for file in files:
        folder, _, name = file.rpartition("/")
        found = _MARK.fullmatch(name.rpartition(".")[0])
        if found:
            piece = f"{folder}/{found['piece']}".casefold()
            order = found["date"] or found["number"].zfill(4)
            drafts.setdefault((piece, found["date"] is None), []).append((order, file))
    before = {
        later: earlier
        for several in drafts.values()
        for (one, earlier), (other, later) in pairwise(sorted(several))
        if one != other
    }
    before |= _of_roster(files, roster)
    for file in before:
        seen = {file}
        while (file := before.get(file, "")) and file not in seen:
            seen.add(file)
        if file:
            raise DataError(f"the drafts of '{file}' go round in a circle; see the roster")
    return before


def chain(file: str, before: Mapping[str, str]) -> list[str]:
    """All drafts before a file, the oldest first. before: as `earlier_drafts` gives it."""
    found: list[str] = []
    while file in before:
        file = before[file]
        found.insert(0, file)
    return found


def _of_roster(files: Sequence[str], roster: Roster) -> dict[str, str]:
    known = {file.rpartition("/")[2].casefold(): file for file in files}
    known |= {file.casefold(): file for file in files}
    found = {}
    for file in files:
        row = roster.row(file)
        if row and row.earlier:
            if row.earlier.casefold() not in known:
                raise DataError(
                    f"the roster names '{row.earlier}' as the draft before '{row.file}', and "
                    "it is not in the folder"
                )
            found[file] = known[row.earlier.casefold()]
    return found
