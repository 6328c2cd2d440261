"""The toolkit from Python: the same answers as the commands, as pandas frames.

Units are in the docstrings and in every frame's `attrs["units"]`, by column;
`attrs` also holds `reference_id` and `definitions`, so that a table can be
traced to what made it. pandas is imported when a frame is made.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from corpusreg.measures.definitions import BY_NAME, VERSION
from corpusreg.system.errors import ReadError

if TYPE_CHECKING:
    import pandas as pd

    from corpusreg import store
    from corpusreg.documents.handout.writing import Handout

__all__ = [
    "PlacedFile", "Reference", "Told", "compare", "contrast", "draw_map", "make_handout",
    "open_reference", "revise",
]  # fmt: skip

_MEASURE_UNITS = {
    "value": "see the column unit",
    "median": "see the column unit",
    "percentile": "percentile, 0 to 100",
    "low": "percentile, 0 to 100",
    "high": "percentile, 0 to 100",
}
_STAY_UNITS = {
    "start_bar": "printed bar",
    "end_bar": "printed bar",
    "first": "bars as played, from 0",
    "last": "bars as played, half-open",
    "bars": "bars",
}


def compare(
    path: str | os.PathLike[str],
    cohort: str | None = None,
    as_written: bool = False,
    against: str | os.PathLike[str] | None = None,
) -> PlacedFile:
    """Place every work of a score file among the present reference.

    path: a score in any format that is read. cohort: works to compare with, as in
    'ensemble=piano,period=romantic'; by default the narrowest that is large enough.
    as_written: keep the page's order instead of unfolding repeats. against: an earlier draft;
    the text then says what changed, and each work of the document has 'drafts'.

    Raises ReadError when no work in a file can be read, StoreError when there is
    no usable reference ('corpusreg extract' makes one), UsageError for a cohort
    that does not exist and for drafts that cannot be paired.
    """
    from corpusreg import workflow
    from corpusreg.text.outputs.console import comparison_text
    from corpusreg.text.outputs.document import document
    from corpusreg.text.outputs.drafts_text import drafts_text

    found = workflow.compare_paths(
        [Path(path)],
        cohort=cohort,
        as_written=as_written,
        with_study=True,
        against=Path(against) if against is not None else None,
    )
    if not found.comparisons:
        raise ReadError(found.failures[0] if found.failures else f"{path}: no works in it")
    made = found.reference_id
    texts = [drafts_text(each, made) for each in found.drafts] or [
        comparison_text(each, made) for each in found.comparisons
    ]
    told = document(found.comparisons, found.failures, made, found.studied, found.drafts)
    return PlacedFile(told, "\n\n".join(texts))


def contrast(
    path: str | os.PathLike[str],
    how: str = "settled",
    bars: str | None = None,
    to: Sequence[str | os.PathLike[str]] = (),
    number: str | None = None,
) -> Told:
    """A version of a piece in other registers, and what it does to the measures.

    how: 'settled' (each entry in the register before it), 'narrow' or 'open'. bars:
    printed, as in '5-8', else all. to: files to write it to (.musicxml, .mid). number:
    which work of a file of several.

    Raises ReadError when the piece cannot be read, UsageError when nothing can be moved
    within the limits and for bars and files that cannot be.
    """
    from corpusreg import workflow
    from corpusreg.text.outputs.revision_text import contrast_document, contrast_text

    found = workflow.contrast(
        Path(path), how, bars=bars, to=[Path(each) for each in to], number=number
    )
    return Told(contrast_document(found), contrast_text(found))


def revise(
    path: str | os.PathLike[str],
    toward: str,
    to: str | os.PathLike[str] | None = None,
    cohort: str | None = None,
    number: str | None = None,
) -> Told:
    """At most five small changes toward an intention, each measured and placed.

    toward: as in 'clear before 24' or 'move more at 9'; another is answered with all
    that there are. to: a folder to write the options to. cohort: as in `compare`. number:
    which work of a file of several.

    Raises ReadError when the piece cannot be read, UsageError when the intention or a
    bar is not known or no change within the limits serves, StoreError when there is no
    usable reference.
    """
    from corpusreg import workflow
    from corpusreg.text.outputs.revision_text import revised_document, revised_text

    folder = Path(to) if to is not None else None
    found = workflow.revise(Path(path), toward, to=folder, cohort=cohort, number=number)
    return Told(revised_document(found), revised_text(found))


def draw_map(
    path: str | os.PathLike[str],
    to: str | os.PathLike[str],
    other: str | os.PathLike[str] | None = None,
    part: str | None = None,
    wide: bool = False,
    number: str | None = None,
) -> list[Path]:
    """Draw the register map of a piece into a file; the files written.

    to: ends in .svg, .png or .pdf. other: another version, drawn below it on the same axes.
    part: name or number of a part, by default the whole. wide: for a projector, 16:9.
    number: which work of a file of several.

    Raises ReadError when a piece cannot be read, UsageError for a part, work or ending that
    does not exist, CorpusregError where the file cannot be written or typst is missing.
    """
    from corpusreg import workflow

    second = Path(other) if other is not None else None
    return workflow.draw_map(Path(path), second, Path(to), part=part, wide=wide, number=number)


def make_handout(
    folder: str | os.PathLike[str],
    to: str | os.PathLike[str],
    roster: str | os.PathLike[str] | None = None,
    **options: Any,
) -> Handout:
    """Sheets for a class: an overview, one for each piece, and one for the teacher.

    folder: the class's pieces. to: the folder that the sheets go to. roster: a table of
    names and codes. options: measures [names], codes [whether the codes stand for names],
    paper ['a4' or 'letter'], cohort [as in `compare`], workers [processes].
    The answer has `pieces` [number], and as lines of text `problems` and `remarks`.

    Raises ReadError where no piece can be read, DataError for a roster that cannot be used,
    UsageError for what does not exist, StoreError when there is no usable reference,
    CorpusregError where nothing can be written or a library is missing.
    """
    from corpusreg.documents.handout.writing import handout

    table = Path(roster) if roster is not None else None
    return handout(Path(folder), Path(to), roster=table, **options)


class Told:
    """An answer as nested data, as `--json` prints it, and in words, which `print` shows."""

    def __init__(self, document: dict[str, Any], text: str) -> None:
        self.document = document
        self.text = text

    def __str__(self) -> str:
        return self.text


class PlacedFile:
    """The placed works of one file.

    document: the answer as nested data, as `compare --json` prints it. text: the
    answer in words, as `compare` prints it; also what `print` shows. failures: one
    line for each work in the file that could not be read.

    The frames have a column `work`, the position of the work in the file from 0.
    """

    def __init__(self, document: dict[str, Any], text: str) -> None:
        self.document = document
        self.text = text
        self.failures: tuple[str, ...] = tuple(document["failures"])
        self.reference_id: str = document["reference_id"]

    def __str__(self) -> str:
        return self.text

    def __repr__(self) -> str:
        titles = ", ".join(work["piece"]["title"] for work in self.document["works"])
        return f"<corpusreg: {titles}>"

    @cached_property
    def works(self) -> pd.DataFrame:
        """One row a work: title, ensemble, bars, cohort and its numbers.

        bars, played_bars [bars]; lowest, highest [note names]; cohort_works,
        composers, sources, collections [counts]; broad: whether the cohort is.
        """
        rows = [
            {
                **{name: work["piece"][key] for name, key in _PIECE.items()},
                **{name: work["company"][key] for name, key in _COMPANY.items()},
            }
            for work in self.document["works"]
        ]
        return self._frame(rows, {"bars": "bars", "played_bars": "bars"})

    @cached_property
    def measures(self) -> pd.DataFrame:
        """One row a work and measure.

        value and median of the cohort [in `unit`]; percentile and its 95 % interval
        low to high [percentile, 0 to 100], NaN where not placed, with the `reason`.
        """
        rows = []
        for number, work in enumerate(self.document["works"]):
            for each in work["measures"]:
                rank = each.get("rank")
                low, high = rank["interval"] if rank else (None, None)
                rows.append(
                    {"work": number, "name": each["name"], "value": each.get("size")}
                    | {"unit": each["unit"], "percentile": rank and rank["percentile"]}
                    | {"low": low, "high": high, "median": rank and rank["median"]}
                    | {"words": each["words"], "reason": each.get("reason", "")}
                )
        return self._frame(rows, _MEASURE_UNITS)

    @cached_property
    def stays(self) -> pd.DataFrame:
        """One row a stay of the whole (`part` is None) or of a part, by rank.

        start_bar, end_bar [printed bars]; first, last [bars as played, half-open];
        bars [bars]; low, high [note names].
        """
        rows = []
        for number, work in enumerate(self.document["works"]):
            for each in work["stays"]:
                at = each["place"]
                rows.append(
                    {"work": number, "part": each.get("part"), "rank": each["order"]}
                    | {"start_bar": at["start"]["number"], "end_bar": at["end"]["number"]}
                    | {"bars": each["size"], "low": each["low"], "high": each["high"]}
                    | {"narrow": each.get("narrow", False)}
                    | {"first": at["first"], "last": at["last"]}
                )
        return self._frame(rows, _STAY_UNITS)

    @cached_property
    def events(self) -> pd.DataFrame:
        """One row an event of the whole (`part` is None) or of a part, strongest first.

        bar [printed]; first, last [bars as played, half-open]; size [in `unit`]; strength
        [0 to 1, within a kind].
        """
        rows = [
            {"work": number, "kind": each["name"], "part": each.get("part")}
            | {"bar": each["bar"]["number"], "size": each.get("size")}
            | {"unit": each.get("unit", ""), "strength": each["strength"]}
            | {"first": each["place"]["first"], "last": each["place"]["last"]}
            | {"words": each["words"]}
            for number, work in enumerate(self.document["works"])
            for each in work["events"]
        ]
        return self._frame(rows, {"first": "bars", "last": "bars"}, _EVENT)

    def _frame(
        self, rows: Sequence[Mapping[str, Any]], units: Mapping[str, str], columns: Any = None
    ) -> pd.DataFrame:
        import pandas as pd

        frame = pd.DataFrame(list(rows), columns=columns if not rows else None)
        return _marked(frame, units, self.reference_id)


_PIECE = {
    "title": "title", "path": "path", "ensemble": "ensemble", "bars": "written_bars",
    "played_bars": "played_bars", "lowest": "lowest", "highest": "highest",
}  # fmt: skip
_COMPANY = {
    "cohort": "rung", "broad": "family", "cohort_works": "works", "composers": "composers",
    "sources": "sources", "collections": "collections",
}  # fmt: skip
_EVENT = ["work", "kind", "part", "bar", "size", "unit", "strength", "first", "last", "words"]


class Reference:
    """The reference in force, open for reading. Close it, or use it in a with block.

    reference_id: hash of its works, definitions and settings. works: their number.
    """

    def __init__(self, opened: store.Reference) -> None:
        self._opened = opened
        self.reference_id: str = opened.reference_id
        self.works: int = opened.works

    def table(self, measure: str, by: str = "ensemble") -> pd.DataFrame:
        """Percentiles of a measure by group, every composer counting the same.

        by: 'period', 'ensemble', 'composer' or 'corpus'. Columns: group; works
        [works]; units [composers, or sources of anonymous works]; collections
        [collections]; p10, p25, p50, p75, p90 [the measure's unit, in attrs["units"]].

        Raises UsageError for an unknown measure or group.
        """
        import pandas as pd

        from corpusreg import workflow

        rows = workflow.table(measure, by)
        columns = list(workflow.COLUMNS)
        units = {
            "works": "works",
            "units": "composers or sources",
            "collections": "collections",
        }
        units |= dict.fromkeys(columns[4:], BY_NAME[measure].unit)
        return _marked(pd.DataFrame(rows, columns=columns), units, self.reference_id)

    def query(self, name: str, **parameters: object) -> pd.DataFrame:
        """Rows of a query that `corpusreg query` lists, or of an .sql file.

        attrs["columns"] has the meaning of every column, attrs["units"] the unit of
        those that have one. Raises UsageError for an unknown name or parameter.
        """
        import pandas as pd

        from corpusreg.store import sql

        wanted = sql.find(name)
        ask = self._opened.query_apart if wanted.own else self._opened.query
        result = ask(wanted.text, wanted.values(parameters))
        frame = pd.DataFrame(result.rows, columns=list(result.names))
        meanings = {column.name: column.words for column in wanted.columns}
        units = {
            column: found.group(1)
            for column, words in meanings.items()
            if (found := re.search(r"\[([^\]]+)\]$", words))
        }
        frame.attrs["columns"] = meanings
        return _marked(frame, units, self.reference_id)

    def close(self) -> None:
        """Close the file; closing twice is no error."""
        self._opened.close()

    def __enter__(self) -> Reference:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def open_reference() -> Reference:
    """Open the reference in force.

    Raises StoreError when there is none ('corpusreg extract' makes one), when it is
    held for writing, damaged, or made by other definitions.
    """
    from corpusreg import store

    return Reference(store.open_reference())


def _marked(frame: pd.DataFrame, units: Mapping[str, str], reference_id: str) -> pd.DataFrame:
    """The frame with its units and what made it."""
    frame.attrs["units"] = {name: unit for name, unit in units.items() if name in frame}
    frame.attrs["reference_id"] = reference_id
    frame.attrs["definitions"] = VERSION
    return frame
