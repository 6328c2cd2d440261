"""Spines of a Humdrum file: the table whose columns split, join, swap and end.

A file is read into rows; each data row knows the layout (columns) in force. A
*track* is a column as it began (one staff of the page); *spines* are its
strands: a split (*^) makes two strands of one track, a join (*v) one of two.

Source: Humdrum reference manual, spine path interpretations (value from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from corpusreg.system.errors import ReadError

__all__ = ["Layout", "Row", "Spine", "Table", "Track", "read_table"]

_PATHS = frozenset({"*^", "*v", "*x", "*-", "*+"})


@dataclass(eq=False, slots=True)
class Track:
    """One column as it began, with the records in its header."""

    number: int
    kind: str  # exclusive interpretation, such as '**kern'
    records: list[str] = field(default_factory=list)


@dataclass(eq=False, slots=True)
class Spine:
    """One strand of a track. `clock` is the tick at which its last token ends."""

    track: Track
    parents: tuple[Spine, ...] = ()
    clock: int = 0
    fresh: bool = False  # just split off: may begin before its parent's note ends
    cue: bool = False


@dataclass(eq=False, slots=True)
class Layout:
    """Columns in force: kern and dynam hold (column, spine, strand number in track)."""

    spines: list[Spine]
    born: list[Spine]  # strands that are new in this layout
    kern: list[tuple[int, Spine, int]] = field(default_factory=list)
    dynam: list[tuple[int, Spine]] = field(default_factory=list)

    def __post_init__(self) -> None:
        strands: dict[Track, int] = {}
        for column, spine in enumerate(self.spines):
            if spine.track.kind == "**kern":
                strand = strands.get(spine.track, 0)
                strands[spine.track] = strand + 1
                self.kern.append((column, spine, strand))
            elif spine.track.kind in ("**dynam", "**dyn"):
                self.dynam.append((column, spine))


@dataclass(slots=True)
class Row:
    """One line: kind is 'data', 'bar', 'record' (interpretations), 'text' or 'layout'."""

    line: int
    kind: str
    fields: list[str]
    layout: Layout


@dataclass
class Table:
    """Rows in file order, tracks in column order, and reference records."""

    rows: list[Row] = field(default_factory=list)
    tracks: list[Track] = field(default_factory=list)
    references: list[tuple[str, str]] = field(default_factory=list)
    ended: bool = True  # every spine was terminated by *-


def _fail(name: str, line: int, what: str) -> ReadError:
    return ReadError(f"{name}, line {line}: {what}; repair the line or export the score again")


def _joined(
    fields: list[str], spines: list[Spine], where: tuple[str, int]
) -> list[list[Spine]]:
    """Groups of neighbouring strands that *v makes one; others stand alone."""
    groups: list[list[Spine]] = []
    run: list[Spine] = []
    for column, (text, spine) in enumerate(zip(fields, spines, strict=True)):
        if text == "*v":
            run.append(spine)
        if run and (text != "*v" or column == len(fields) - 1):
            by_track: dict[Track, list[Spine]] = {}
            for member in run:
                by_track.setdefault(member.track, []).append(member)
            if all(len(members) > 1 for members in by_track.values()):
                groups.extend(by_track.values())
            elif len(run) > 1:
                groups.append(run)
            else:
                raise _fail(*where, "a join (*v) of one spine alone")
            run = []
        if text != "*v":
            groups.append([spine])
    return groups


def _swapped(fields: list[str], spines: list[Spine], where: tuple[str, int]) -> list[Spine]:
    """Strands after exchanging the two columns that hold *x."""
    places = [column for column, text in enumerate(fields) if text == "*x"]
    if len(places) % 2:
        raise _fail(*where, "an exchange (*x) needs two spines")
    out = list(spines)
    for left, right in zip(places[::2], places[1::2], strict=True):
        out[left], out[right] = out[right], out[left]
    return out


class _Columns:
    """The columns while a file is read."""

    def __init__(self, name: str, table: Table) -> None:
        self.name = name
        self.table = table
        self.layout = Layout([], [])

    def begin(self, line: int, fields: list[str]) -> Row:
        if not all(kind.startswith("**") for kind in fields):
            raise _fail(self.name, line, "a column begins without its ** interpretation")
        tracks = self.table.tracks[: len(fields)]
        if [track.kind for track in tracks] != fields:  # else the same columns go on
            count = len(self.table.tracks)
            tracks = [Track(count + i, kind) for i, kind in enumerate(fields)]
            self.table.tracks.extend(tracks)
        spines = [Spine(track) for track in tracks]
        self.layout = Layout(spines, list(spines))
        return Row(line, "layout", fields, self.layout)

    def retype(self, line: int, fields: list[str]) -> Row:
        """Exclusive interpretations in mid-file: a column changes its kind."""
        spines, born = [], []
        for text, spine in zip(fields, self.layout.spines, strict=True):
            if text.startswith("**") and text != spine.track.kind:
                track = Track(len(self.table.tracks), text)
                self.table.tracks.append(track)
                spine = Spine(track, (spine,))
                born.append(spine)
            spines.append(spine)
        self.layout = Layout(spines, born)
        return Row(line, "layout", fields, self.layout)

    def manipulate(self, line: int, fields: list[str]) -> Row:
        where = (self.name, line)
        swapped = _swapped(fields, self.layout.spines, where)
        groups = _joined(fields, swapped, where)
        column = 0
        spines: list[Spine] = []
        born: list[Spine] = []
        for group in groups:
            made = self._after(fields[column], group)
            column += len(group)
            born.extend(spine for spine in made if spine not in group)
            spines.extend(made)
        self.layout = Layout(spines, born)
        return Row(line, "layout", fields, self.layout)

    def _after(self, text: str, group: list[Spine]) -> list[Spine]:
        first = group[0]
        if text == "*-":
            return []
        if len(group) > 1:
            return [Spine(first.track, tuple(group))]
        if text == "*^":
            return [Spine(first.track, (first,), fresh=True) for _ in range(2)]
        if text == "*+":
            added = Track(len(self.table.tracks), "**")
            self.table.tracks.append(added)
            return [first, Spine(added, (first,), fresh=True)]
        return [first]


def _reference(table: Table, text: str) -> None:
    key, colon, value = text.lstrip("!").partition(":")
    if colon and key and " " not in key:
        table.references.append((key, value.strip()))


def read_table(lines: list[tuple[int, str]], name: str) -> Table:
    """Rows of one segment.

    Parameters: numbered lines without line ends, and the file's name for errors.
    Raises ReadError with file and line where a row has another number of tokens
    than there are spines, or spine paths do not add up.
    """
    table = Table()
    columns = _Columns(name, table)
    rows = table.rows
    for line, text in lines:
        if not text or text.isspace():
            continue
        if text[0] == "!":
            if text.startswith("!!!"):
                _reference(table, text)
            elif "!LO:TX" in text:
                rows.append(Row(line, "text", text.split("\t"), columns.layout))
            continue
        fields = text.split("\t")
        layout = columns.layout
        if len(fields) != len(layout.spines):
            if not layout.spines and text.startswith("**"):
                rows.append(columns.begin(line, fields))
                continue
            fields = [field for field in fields if field]  # doubled or trailing tabs
            if len(fields) != len(layout.spines) or not fields:
                found, expected = len(fields), len(layout.spines)
                raise _fail(name, line, f"{found} tokens where {expected} spines are open")
        if text[0] == "*":
            rows.append(_interpretations(columns, line, fields))
        elif text[0] == "=":
            rows.append(Row(line, "bar", fields, layout))
        else:
            rows.append(Row(line, "data", fields, layout))
    table.ended = not columns.layout.spines
    return table


def _interpretations(columns: _Columns, line: int, fields: list[str]) -> Row:
    if any(text in _PATHS for text in fields):
        return columns.manipulate(line, fields)
    if any(text.startswith("**") for text in fields):
        return columns.retype(line, fields)
    for text, spine in zip(fields, columns.layout.spines, strict=True):
        if len(text) > 1:
            spine.track.records.append(text)
    return Row(line, "record", fields, columns.layout)
