"""What a session answers: data that knows how to show itself.

Every answer prints as the command of its name does, `to_json` gives what `--json` gives,
`to_frame` a pandas frame, and a notebook shows it as it is. Units are in the docstrings and in
every frame's `attrs["units"]`, by column; `attrs` also holds `reference_id` and `definitions`,
so that a table can be traced to what made it. pandas is imported when a frame is made.
"""

from __future__ import annotations

import csv
import html
import io
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from corpusreg.measures.definitions import VERSION
from corpusreg.system.errors import UsageError
from corpusreg.system.isolate import StoppedError, made_of
from corpusreg.system.plaintext import listed, spreadsheet
from corpusreg.system.writing import write_files
from corpusreg.text.tabular import text_table, wrap

if TYPE_CHECKING:
    import pandas as pd

    from corpusreg.comparison.class_file import SavedClass
    from corpusreg.comparison.class_piece import Correction
    from corpusreg.comparison.classroom import Class
    from corpusreg.comparison.compared import Compared
    from corpusreg.comparison.comparison import Comparison
    from corpusreg.comparison.drafts import Drafts
    from corpusreg.comparison.examples import Example, Examples
    from corpusreg.comparison.heights import Passage
    from corpusreg.documents.pictures.svg import Picture
    from corpusreg.instruments import Instrument, Instruments
    from corpusreg.norms.coverage import Coverage
    from corpusreg.norms.periods.results import Study
    from corpusreg.norms.periods.works import Works
    from corpusreg.revision.versions import Contrast, Revised
    from corpusreg.store import Reference

__all__ = [
    "Answer", "CheckAnswer", "ClassAnswer", "ContrastAnswer", "CoverageAnswer",
    "ExamplesAnswer", "HeightsAnswer", "PeriodsAnswer", "Placed", "ProfilesAnswer",
    "RangesAnswer", "ReviseAnswer", "Rows", "SheetAnswer",
]  # fmt: skip

_RULE = "\n\n" + "=" * 88 + "\n\n"
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
_PIECE = {
    "title": "title", "path": "path", "ensemble": "ensemble", "bars": "written_bars",
    "played_bars": "played_bars", "lowest": "lowest", "highest": "highest",
}  # fmt: skip
_COMPANY = {
    "cohort": "rung", "broad": "family", "cohort_works": "works", "composers": "composers",
    "sources": "sources", "collections": "collections",
}  # fmt: skip
_EVENT = ["work", "kind", "part", "bar", "size", "unit", "strength", "first", "last", "words"]


class Answer:
    """An answer: `document` is nested data as `--json` prints it, `text` is for reading.

    reference_id: the reference it comes from, '' where it needs none.
    """

    reference_id: str = ""

    @property
    def document(self) -> Any:
        """The answer as nested data."""
        raise NotImplementedError

    @property
    def text(self) -> str:
        """The answer in words and tables, as its command prints it."""
        raise NotImplementedError

    def to_json(self) -> str:
        """The document as text."""
        return json.dumps(self.document, indent=1, default=str)

    def to_frame(self) -> pd.DataFrame:
        """The rows of the answer."""
        found = self.document
        rows = found if isinstance(found, list) else [found]
        import pandas as pd

        return self._marked(pd.json_normalize(rows), {})

    def to_csv(self) -> str:
        """The rows as comma-separated values, with a first line of names; no text of them is
        a formula to a spreadsheet.
        """
        names, rows = self._cells()
        printed = io.StringIO()
        writer = csv.writer(printed, lineterminator="\n")
        writer.writerow(map(spreadsheet, names))
        writer.writerows(map(spreadsheet, map(listed, row)) for row in rows)
        return printed.getvalue()

    def write(self, path: str | Path) -> None:
        """Write the rows into a file that ends in .csv or .parquet, the document into .json.

        Raises UsageError for another ending, CorpusregError where it cannot be written.
        """
        from corpusreg.store.exchange import parquet

        path = Path(path)
        match path.suffix.lower():
            case ".json":
                content = self.to_json().encode()
            case ".csv":
                content = self.to_csv().encode()
            case ".parquet":
                content = parquet(*self._cells())
            case _:
                raise UsageError(f"{path}: a table ends in .csv, .json or .parquet")
        write_files({path: content})

    def _cells(self) -> tuple[Sequence[str], Sequence[Sequence[Any]]]:
        """Names of the columns and rows, with no value for what is missing."""
        frame = self.to_frame().astype(object)
        return list(frame.columns), frame.where(frame.notna(), None).values.tolist()

    def _marked(self, frame: pd.DataFrame, units: Mapping[str, str]) -> pd.DataFrame:
        """The frame with its units and what made it."""
        frame.attrs["units"] = {name: unit for name, unit in units.items() if name in frame}
        frame.attrs["reference_id"] = self.reference_id
        frame.attrs["definitions"] = VERSION
        return frame

    def __str__(self) -> str:
        return self.text

    def _repr_html_(self) -> str:
        return f"<pre>{html.escape(self.text)}</pre>"


class Placed(Answer):
    """Works placed among a reference: see `corpusreg.comparison.compared.Compared`.

    failures: one line for each file or work that could not be read. full: whether text and
    rows tell all measures of each of several works. The frames have a column `work`, the
    position of the work among those that were placed, from 0.
    """

    def __init__(self, compared: Compared, reference: Reference, full: bool = False) -> None:
        self.result, self.full = compared, full
        self.comparisons: tuple[Comparison, ...] = compared.comparisons
        self.drafts: tuple[Drafts, ...] = compared.drafts
        self.studied: tuple[tuple[list[Example], list[Example]], ...] = compared.studied
        self.failures: tuple[str, ...] = compared.failures
        self.reference_id = compared.reference_id
        self._reference = reference

    @cached_property
    def document(self) -> dict[str, Any]:
        """The answer as nested data; `corpusreg/data/comparison.schema.json` describes it."""
        from corpusreg.text.document import document

        found = self.result
        return document(
            found.comparisons, found.failures, found.reference_id, found.studied, found.drafts
        )

    def _shared(self) -> str:
        """What the pieces share and who does what, where there are enough for a class."""
        from corpusreg.comparison.classroom import LEAST, MEASURES, classroom
        from corpusreg.text.classroom import class_piece
        from corpusreg.text.classroom import class_text as shared

        if len(self.comparisons) < LEAST:
            return ""
        pieces = [class_piece(c, Path(c.piece.path).name) for c in self.comparisons]
        told = shared(classroom("", pieces, MEASURES)).splitlines()
        return "\n\n" + "\n".join(part for line in told for part in wrap(line) or [""])

    @property
    def text(self) -> str:
        """One piece with its map, several in a table, drafts as what changed; in full all
        measures, events, stays and players of each work."""
        from corpusreg.text.console import class_text, comparison_text
        from corpusreg.text.drafts import drafts_text
        from corpusreg.text.examples import study_text

        made = self.reference_id
        if self.drafts:
            return _RULE.join(drafts_text(each, made) for each in self.drafts)
        if len(self.comparisons) > 1 and not self.full:
            return f"{class_text(self.comparisons)}{self._shared()}"
        texts = [comparison_text(each, made, full=self.full) for each in self.comparisons]
        if self.full and self.studied:
            texts = [
                text + study_text(each, *studied)
                for text, each, studied in zip(
                    texts, self.comparisons, self.studied, strict=True
                )
            ]
        return _RULE.join(texts)

    def plot(self, work: int = 0) -> Picture:
        """The register map of a work, as SVG; with an earlier draft on the same axes."""
        from corpusreg.documents.pictures.register_map import register_map
        from corpusreg.documents.pictures.view import view_of

        if self.drafts:
            each = self.drafts[work]
            return register_map(view_of(each.earlier), view_of(each.later), prefix="map")
        return register_map(view_of(self.comparisons[work]), prefix="map")

    def report(self, path: str | Path, paper: str | None = None) -> tuple[str, ...]:
        """Write the report, a page or a PDF; what must be known about it, one line each.

        paper: 'a4' or 'letter'. Of several works one that cannot be drawn is left out and told
        in `failures`. Raises UsageError for an unknown ending, StoppedError where nothing can
        be drawn, CorpusregError where it cannot be written; a file of that name is replaced
        only by a finished one.
        """
        from corpusreg.documents.layout import check_ending

        file = Path(path)
        check_ending(file)
        kind, all_of_them = file.suffix.lower(), range(len(self.comparisons))
        try:
            content, remarks = self._drawn(all_of_them, kind, paper)
        except StoppedError:
            drawn, told = [], []
            for work in all_of_them if len(all_of_them) > 1 else ():
                try:
                    self._drawn([work], kind, paper)
                    drawn.append(work)
                except StoppedError as error:
                    told.append(str(error))
            if not drawn:
                raise
            self.failures = (*self.failures, *told)
            content, remarks = self._drawn(drawn, kind, paper)
        write_files({file: content})
        return remarks

    def _drawn(
        self, works: Sequence[int], kind: str, paper: str | None
    ) -> tuple[bytes, tuple[str, ...]]:
        """The report of some of the works, made in bounds."""
        from corpusreg.documents.report import made_report

        comparisons = [self.comparisons[work] for work in works]
        made: tuple[bytes, tuple[str, ...]] = made_of(
            [Path(each.piece.path) for each in comparisons], made_report,
            comparisons, self.failures, self.reference_id, kind,
            studied=[self.studied[work] for work in works if self.studied],
            drafts=[self.drafts[work] for work in works if self.drafts],
            paper=paper, reference=self._reference,
        )  # fmt: skip
        return made

    def to_frame(self) -> pd.DataFrame:
        """What the text tabulates: the measures of one work, or of each in full; of several
        what each does, a row a work; of drafts the measures before and now."""
        if self.drafts:
            units = dict.fromkeys(("before", "now"), "see the column unit")
            return self._frame(self._changed(), units)
        if len(self.comparisons) > 1 and not self.full:
            return self._frame(self.document["table"], {"bars": "bars"})
        return self.measures

    def _changed(self) -> list[dict[str, Any]]:
        return [
            {"work": number, "title": work["piece"]["title"]} | each
            for number, work in enumerate(self.document["works"])
            for each in work["drafts"]["measures"]
        ]

    def __repr__(self) -> str:
        return f"<corpusreg: {', '.join(each.piece.title for each in self.comparisons)}>"

    def _repr_html_(self) -> str:
        drawn = self.plot().svg if len(self.comparisons) == 1 else ""
        return f"{drawn}{super()._repr_html_()}"

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
                    {"work": number, "title": work["piece"]["title"]}
                    | {"name": each["name"], "value": each.get("size")}
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
        return self._marked(frame, units)


class Rows(Answer):
    """Rows of a table: `names` of the columns, `rows`, and what the columns mean."""

    def __init__(
        self,
        names: Sequence[str],
        rows: Sequence[Sequence[Any]],
        *,
        reference_id: str = "",
        meanings: Mapping[str, str] | None = None,
        units: Mapping[str, str] | None = None,
        note: str = "",
    ) -> None:
        """note: what stands below the table when it is printed."""
        self.names = tuple(names)
        self.rows = list(rows)
        self.reference_id = reference_id
        self.meanings = dict(meanings or {})
        self.note = note
        self._units = dict(units or {})

    @property
    def document(self) -> list[dict[str, Any]]:
        """One dictionary a row."""
        return [dict(zip(self.names, row, strict=True)) for row in self.rows]

    @property
    def text(self) -> str:
        """The table, then what its columns mean."""
        blocks = [text_table(self.names, self.rows)]
        if self.meanings:
            blocks.append(text_table(["column", "meaning"], list(self.meanings.items())))
        return "\n\n".join([*blocks, *filter(None, [self.note])])

    def _cells(self) -> tuple[Sequence[str], Sequence[Sequence[Any]]]:
        return self.names, self.rows

    def to_frame(self) -> pd.DataFrame:
        """The rows; attrs["columns"] has the meaning of every column that has one."""
        import pandas as pd

        frame = pd.DataFrame(self.rows, columns=list(self.names))
        frame.attrs["columns"] = self.meanings
        told = {
            column: found.group(1)
            for column, words in self.meanings.items()
            if (found := re.search(r"\[([^\]]+)\]$", words))
        }
        return self._marked(frame, told | self._units)

    def _repr_html_(self) -> str:
        return str(self.to_frame().to_html(index=False))


class ContrastAnswer(Answer):
    """A piece in other registers: see `corpusreg.revision.versions.Contrast`."""

    def __init__(self, contrast: Contrast) -> None:
        self.result = contrast

    @cached_property
    def document(self) -> dict[str, Any]:
        """The answer as nested data."""
        from corpusreg.text.revision import contrast_document

        return contrast_document(self.result)

    @property
    def text(self) -> str:
        """What moves, and what that does to the measures."""
        from corpusreg.text.revision import contrast_text

        return contrast_text(self.result)

    def to_frame(self) -> pd.DataFrame:
        """One row a measure: its value as it is and in this way [in `unit`]."""
        import pandas as pd

        from corpusreg.text.revision import contrast_cells

        units = dict.fromkeys(("as_it_is", "in_this_way"), "see the column unit")
        return self._marked(pd.DataFrame(contrast_cells(self.result)), units)

    def report(self, path: str | Path) -> tuple[str, ...]:
        """Write a page with both versions, to see and to hear, or a PDF; as `Placed.report`."""
        from corpusreg.documents.contrast import made_contrast
        from corpusreg.documents.layout import check_ending

        file = Path(path)
        check_ending(file)
        content, remarks = made_of(
            [self.result.path], made_contrast, self.result, file.suffix.lower()
        )
        write_files({file: content})
        return remarks


class ReviseAnswer(Answer):
    """Changes toward an intention: see `corpusreg.revision.versions.Revised`."""

    def __init__(self, revised: Revised) -> None:
        self.result = revised
        self.reference_id = revised.reference_id

    @cached_property
    def document(self) -> dict[str, Any]:
        """The answer as nested data."""
        from corpusreg.text.revision import revised_document

        return revised_document(self.result)

    @property
    def text(self) -> str:
        """Each option, and what it does to the measures."""
        from corpusreg.text.revision import revised_text

        return revised_text(self.result)

    def to_frame(self) -> pd.DataFrame:
        """One row an option and measure: as it is and with it [in `unit`], its percentile."""
        import pandas as pd

        from corpusreg.text.revision import revised_cells

        units = dict.fromkeys(("as_it_is", "with_it"), "see the column unit")
        return self._marked(pd.DataFrame(revised_cells(self.result)), units)


class ExamplesAnswer(Answer):
    """Passages: see `corpusreg.comparison.examples.Examples`.

    failures: one line for each row of a table of passages that is doubtful.
    """

    def __init__(
        self, examples: Examples, reference: Reference, failures: Sequence[str] = ()
    ) -> None:
        self.result = examples
        self.failures = tuple(failures)
        self.reference_id = examples.reference_id
        self._reference = reference

    @cached_property
    def document(self) -> dict[str, Any]:
        """The answer as nested data."""
        from corpusreg.text.examples import examples_document

        return examples_document(self.result)

    @property
    def text(self) -> str:
        """Each passage, and what can be studied there."""
        from corpusreg.text.examples import examples_text

        return examples_text(self.result)

    def to_frame(self) -> pd.DataFrame:
        """One row a passage."""
        import pandas as pd

        return self._marked(pd.json_normalize(self.document["examples"]), {})

    def report(self, path: str | Path) -> tuple[str, ...]:
        """Write a page or a PDF with maps, and with notation that may be shown.

        The file and the errors are those of `Placed.report`.
        """
        from corpusreg.documents.examples import write_examples

        return write_examples(self.result, self._reference, Path(path))


class HeightsAnswer(Answer):
    """A passage on instruments: see `corpusreg.comparison.heights.Passage`."""

    def __init__(self, passage: Passage) -> None:
        self.result = passage

    @cached_property
    def document(self) -> dict[str, Any]:
        """The answer as nested data."""
        from corpusreg.text.heights import passage_document

        return passage_document(self.result)

    @property
    def text(self) -> str:
        """A row an instrument."""
        from corpusreg.text.heights import passage_text

        return passage_text(self.result)

    def to_frame(self) -> pd.DataFrame:
        """One row an instrument and level; heights from 0, the lowest note, to 1."""
        import pandas as pd

        from corpusreg.text.heights import passage_rows

        units = {"tires": "share, 0 to 1", "dull": "share, 0 to 1", "semitones": "semitones"}
        return self._marked(pd.DataFrame(passage_rows(self.result)), units)

    def plot(self) -> Any:
        """The passage over the ranges, on axes of matplotlib."""
        from corpusreg.documents.figures.heights import heights_figure

        return heights_figure(self.result)

    def draw(self, path: str | Path) -> None:
        """The same into a file that ends in .png, .svg or .pdf; raises as `Placed.report`."""
        from corpusreg.documents.figures.heights import write_heights

        write_heights(self.result, Path(path))


class RangesAnswer(Answer):
    """Rows of the table of instruments; name: the one that was asked for, None for all."""

    def __init__(self, rows: list[Instrument], table: Instruments, name: str | None) -> None:
        self.rows = rows
        self._table, self._name = table, name

    @cached_property
    def document(self) -> list[dict[str, Any]]:
        """One dictionary an instrument."""
        from corpusreg.text.ranges import ranges_document

        return ranges_document(self.rows, self._table)

    @property
    def text(self) -> str:
        """All in a table, or all that is told of one."""
        from corpusreg.text.ranges import ranges_text, row_text

        if self._name:
            return "\n\n".join(row_text(row, self._table) for row in self.rows)
        return (
            f"{ranges_text(self.rows)}\n\n"
            "The first three columns are sounding pitches; 'written' is the professional "
            "range\nas read.\n"
            "More about one instrument: 'corpusreg ranges INSTRUMENT'."
        )


class ProfilesAnswer(Answer):
    """Kinds of register use by rung; see `corpusreg.norms.profiles.stored.listed_profiles`."""

    def __init__(self, rows: list[dict[str, Any]], reference_id: str) -> None:
        self.result = rows
        self.reference_id = reference_id

    @property
    def document(self) -> list[dict[str, Any]]:
        """One dictionary a rung."""
        return self.result

    @property
    def text(self) -> str:
        """The kinds of each group that divides into some."""
        from corpusreg.text.reference import profiles_text

        return profiles_text(self.document)


class SheetAnswer(Answer):
    """The data sheet of a reference; see
    `corpusreg.building.reference.reference_facts`."""

    def __init__(self, found: dict[str, Any]) -> None:
        self.result = found
        self.reference_id = str(found["reference"])

    @property
    def document(self) -> dict[str, Any]:
        """The sheet as nested data."""
        return self.result

    def to_frame(self) -> pd.DataFrame:
        """One row a medium, period, kind of year or corpus, with how many works it has."""
        import pandas as pd

        from corpusreg.text.reference import sheet_rows

        return self._marked(pd.DataFrame(sheet_rows(self.result)).convert_dtypes(), {})

    @property
    def text(self) -> str:
        """What is in it, from where, what is missing, how to cite it."""
        from corpusreg.text.reference import reference_text

        return reference_text(self.result)


class CheckAnswer(Answer):
    """Which reference is in force and whether all is well: see `building.build.check`."""

    def __init__(self, found: dict[str, Any]) -> None:
        self.result = found

    @property
    def document(self) -> dict[str, Any]:
        """The answer as nested data; `ok` says whether all is well."""
        return self.result

    @property
    def text(self) -> str:
        """One fact a line."""
        from corpusreg.text.reference import check_text

        return check_text(self.result)


class CoverageAnswer(Rows):
    """Where a reference is thin: see `corpusreg.norms.coverage.Coverage`."""

    def __init__(self, coverage: Coverage, reference_id: str) -> None:
        super().__init__(coverage.names, coverage.rows, reference_id=reference_id)
        self.result = coverage

    @property
    def text(self) -> str:
        """Works by ensemble and period, and which corpus would help."""
        from corpusreg.text.reference import coverage_text

        return coverage_text(self.result)


class PeriodsAnswer(Answer):
    """What differs between periods: see `corpusreg.norms.periods.results.Study`."""

    def __init__(
        self, study: Study, works: Works, names: Mapping[int, str], reference_id: str
    ) -> None:
        self.result = study
        self.reference_id = reference_id
        self._works, self._names = works, names

    @cached_property
    def document(self) -> dict[str, Any]:
        """The answer as nested data."""
        from corpusreg.text.periods import study_document

        return study_document(self.result, self.reference_id)

    @property
    def text(self) -> str:
        """Each finding with its checks."""
        from corpusreg.text.periods import study_text

        return study_text(self.result, self.reference_id)

    @property
    def rows(self) -> Rows:
        """The figures as a table."""
        from corpusreg.text.periods import COLUMNS, study_rows

        return Rows(COLUMNS, study_rows(self.result), reference_id=self.reference_id)

    def to_frame(self) -> pd.DataFrame:
        """The figures as a table."""
        return self.rows.to_frame()

    def _cells(self) -> tuple[Sequence[str], Sequence[Sequence[Any]]]:
        return self.rows._cells()

    def report(self, path: str | Path) -> tuple[str, ...]:
        """Write a page with pictures, .html or .pdf; what must be known about it."""
        from corpusreg.documents.figures.periods import charts
        from corpusreg.documents.periods import write_periods

        drawn = charts(self._works, self.result, self._names)
        return write_periods(self.result, drawn, self.reference_id, Path(path))


class ClassAnswer(Answer):
    """A class: `group` has its pieces, lines, habits and devices as its teacher reads them.

    See `corpusreg.comparison.classroom.Class`; `saved` is what `save` keeps, with the pieces
    as they were found. `problems`: one line for each file that could not be read.
    """

    def __init__(
        self, saved: SavedClass, problems: Sequence[str] = (), folder: Path | None = None
    ) -> None:
        self.saved, self.problems = saved, tuple(problems)
        self.reference_id = saved.reference_id
        self._folder = folder

    @cached_property
    def group(self) -> Class:
        """The class with the teacher's corrections."""
        from corpusreg.documents.handout.reading import class_of

        return class_of(self.saved)

    @property
    def document(self) -> dict[str, Any]:
        """The class as nested data."""
        return asdict(self.group)

    @property
    def text(self) -> str:
        """What the class shares, who does what, and what was asked of everybody."""
        from corpusreg.text.classroom import class_text

        return class_text(self.group, self.saved.settings.asked)

    def to_frame(self) -> pd.DataFrame:
        """One row a piece and measure: value in words, percentile, 0 to 100, and its side."""
        import pandas as pd

        rows = [
            {
                "piece": member.label,
                "who": member.who,
                "medium": member.piece.kind,
                "measure": line.measure.name,
                "value": place.value,
                "percentile": place.percentile,
                "tied": place.tied,
                "words": place.words,
            }
            for line in self.group.lines
            for member in self.group.members
            for place in [member.piece.places[line.measure.name]]
        ]
        return self._marked(pd.DataFrame(rows), {"percentile": "percentile, 0 to 100"})

    def corrected(self, *corrections: Correction) -> ClassAnswer:
        """The class with more corrections. Raises UsageError for bars that are not there."""
        return self._with(corrections=(*self.saved.settings.corrections, *corrections))

    def assigned(self, device: str, bar: str = "", number: int = 0) -> ClassAnswer:
        """The class with an intention for all: `corpusreg.comparison.class_piece.ASKED`."""
        from corpusreg.comparison.class_piece import assignment

        return self._with(asked=assignment(device, bar, str(number or "")))

    def _with(self, **settings: Any) -> ClassAnswer:
        changed = replace(self.saved.settings, **settings)
        found = ClassAnswer(replace(self.saved, settings=changed), self.problems, self._folder)
        _ = found.group
        return found

    def since(self, earlier: ClassAnswer) -> str:
        """What is otherwise than in an earlier class, line by line."""
        from corpusreg.comparison.classroom import since
        from corpusreg.text.classroom import since_words

        return "\n".join(since_words(since(earlier.group, self.group)))

    def save(self, path: str | Path, *, scores: bool = False) -> None:
        """Write the class into one file; scores: whether these go into it too.

        Raises UsageError where scores are wanted and are not at hand, CorpusregError where
        the file cannot be written.
        """
        from corpusreg.comparison.class_file import saved
        from corpusreg.documents.handout.reading import with_scores

        found = self.saved
        if scores and not found.scores:
            if self._folder is None:
                raise UsageError("the class was opened without its scores; open its folder")
            found = with_scores(found, self._folder)
        saved(found if scores else replace(found, scores={}), Path(path))
