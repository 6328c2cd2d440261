"""One open reference, the table of instruments, and what can be asked of them.

A `Session` is what Python, the command line and the browser page share: every command is a
method of it. The reference in force is opened when first needed, once, and stays the same
until the session is closed. What a method returns knows how to show itself (`answers`).
"""

from __future__ import annotations

import functools
import os
import shutil
import tempfile
import weakref
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import IO, TYPE_CHECKING, Any, Literal, cast

from corpusreg.system import settings
from corpusreg.system.errors import ReadError, StoreError, UsageError
from corpusreg.text.tabular import paragraph

if TYPE_CHECKING:
    from corpusreg.answers import (
        CheckAnswer,
        ClassAnswer,
        ContrastAnswer,
        CoverageAnswer,
        ExamplesAnswer,
        HeightsAnswer,
        PeriodsAnswer,
        Placed,
        ProfilesAnswer,
        RangesAnswer,
        ReviseAnswer,
        Rows,
        SheetAnswer,
    )
    from corpusreg.building.batch import Progress
    from corpusreg.building.build import Built
    from corpusreg.building.corpora import CorpusChange, ListedCorpus
    from corpusreg.comparison.class_file import Settings
    from corpusreg.comparison.compared import Depth
    from corpusreg.corpus.catalogue import TierRow
    from corpusreg.corpus.corpora import Added, Entry, FetchProgress
    from corpusreg.documents.handout.writing import Handout
    from corpusreg.instruments import Instruments
    from corpusreg.store import Reference

__all__ = ["Grouping", "MeasureName", "PassageKind", "Session", "Tier", "Way", "asking_once"]

# A score: a path, its bytes, an open file, or a stream of music21 (which has no types).
Piece = str | os.PathLike[str] | bytes | IO[bytes] | Any
MeasureName = Literal[
    "span", "core_span", "octaves_in_use", "movement_beat", "movement_bar",
    "movement_phrase", "travel", "shift_rate", "longest_dwell", "expected_dwell",
    "narrow_dwell", "hollow_share", "entries", "pedal_points",
]  # fmt: skip
Grouping = Literal["period", "ensemble", "composer", "corpus"]
Way = Literal["settled", "narrow", "open"]
Level = Literal["student", "professional"]
Tier = Literal["open", "permitted", "noncommercial", "reserved"]
PassageKind = Literal[
    "shift", "withheld-bass", "withheld-top", "return", "cleared", "climb", "descent",
    "wedge", "isolated", "pedal-point", "gap", "dwell", "edge", "all",
]  # fmt: skip


class Session:
    """Questions to the reference in force. Close it, or use it in a with block.

    ranges: a table of your own ranges, which replace or join those of the instruments.
    """

    def __init__(self, *, ranges: str | os.PathLike[str] | None = None) -> None:
        self._ranges = Path(ranges) if ranges is not None else None
        self._reference: Reference | None = None
        self._aside: Path | None = None

    # --- what is held ----------------------------------------------------------------------

    @property
    def reference(self) -> Reference:
        """The reference in force when it was first needed.

        Raises StoreError when there is none ('corpusreg extract' makes one), when it is
        held for writing, damaged, or made by other definitions.
        """
        if self._reference is None:
            from corpusreg.store import open_reference

            self._reference = open_reference()
        return self._reference

    @property
    def reference_id(self) -> str:
        """Hash of the works, definitions and settings of the reference."""
        return self.reference.reference_id

    @property
    def works(self) -> int:
        """How many works the reference holds."""
        return self.reference.works

    @property
    def has_reference(self) -> bool:
        """Whether there is a reference, be it usable or not."""
        from corpusreg.store import pointed, ships

        if self._reference is not None or ships():
            return True
        return pointed(settings.reference_folder()) is not None

    @property
    def instruments(self) -> Instruments:
        """The table of instruments, with your own ranges in it."""
        from corpusreg.instruments import load

        return load(self._ranges)

    def close(self) -> None:
        """Close the reference; closing twice is no error, and the next question opens anew."""
        if self._reference is not None:
            self._reference.close()
            self._reference = None

    def __enter__(self) -> Session:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    # --- pieces of music -------------------------------------------------------------------

    def compare(
        self,
        pieces: Piece | Sequence[Piece],
        cohort: str | None = None,
        *,
        as_written: bool = False,
        against: Piece | None = None,
    ) -> Placed:
        """Place every work of one or several scores among the reference.

        pieces: a path, a folder, bytes, an open file or a stream of music21, or several of
        them. cohort: works to compare with, as in 'ensemble=piano,period=romantic'; by default
        the narrowest that is large enough. as_written: keep the page's order instead of
        unfolding repeats. against: an earlier draft; the answer then says what changed.

        What cannot be read stands in `failures` and stops nothing; ReadError where nothing at
        all can be. Raises UsageError for a cohort that does not exist and for drafts that
        cannot be paired.
        """
        found = self.compare_all(pieces, cohort, as_written=as_written, against=against)
        if not found.comparisons:
            raise ReadError(found.failures[0] if found.failures else "no works to place")
        return found

    def compare_all(
        self,
        pieces: Piece | Sequence[Piece],
        cohort: str | None = None,
        *,
        as_written: bool = False,
        against: Piece | None = None,
        depth: Depth = "all",
        number: str | None = None,
        full: bool = False,
    ) -> Placed:
        """`compare` that answers with `failures` alone where no work can be read.

        depth: 'first' for what the first screen tells, sooner; 'numbers' without passages to
        study. number: which work of a file of several; UsageError where there is none of that
        number. full: whether the answer tells all of each of several works.
        """
        from corpusreg.answers import Placed
        from corpusreg.comparison.compared import compare_paths

        found = compare_paths(
            lambda: self.reference,
            self._files(pieces),
            cohort=cohort,
            as_written=as_written,
            ranges=self._ranges,
            depth=depth,
            against=self._file(against) if against is not None else None,
        )
        chosen = found if number is None else found.only(number)
        return Placed(chosen, self.reference, full)

    def contrast(
        self,
        piece: Piece,
        how: Way = "settled",
        bars: str | None = None,
        to: Iterable[str | os.PathLike[str]] = (),
        number: str | None = None,
    ) -> ContrastAnswer:
        """A version of a piece in other registers, and what it does to the measures.

        how: 'settled' (each entry in the register before it), 'narrow' or 'open'. bars:
        printed, as in '5-8', else all. to: files to write it to (.musicxml, .mid). number:
        which work of a file of several.

        Raises ReadError when the piece cannot be read, UsageError when nothing can be moved
        within the limits and for bars and files that cannot be.
        """
        from corpusreg.answers import ContrastAnswer
        from corpusreg.revision.versions import contrast

        files = [Path(each) for each in to]
        path = self._file(piece)
        return ContrastAnswer(
            contrast(path, how, bars=bars, to=files, ranges=self._ranges, number=number)
        )

    def revise(
        self,
        piece: Piece,
        toward: str,
        to: str | os.PathLike[str] | None = None,
        cohort: str | None = None,
        number: str | None = None,
    ) -> ReviseAnswer:
        """At most five small changes toward an intention, each measured and placed.

        toward: as in 'clear before 24' or 'move more at 9'; another is answered with all
        that there are. to: a folder to write the options to. cohort: as in `compare`. number:
        which work of a file of several.

        Raises ReadError when the piece cannot be read, UsageError when the intention or a
        bar is not known or no change within the limits serves.
        """
        from corpusreg.answers import ReviseAnswer
        from corpusreg.revision.versions import revise

        folder = Path(to) if to is not None else None
        found = revise(
            self._file(piece), toward,
            to=folder, cohort=cohort, ranges=self._ranges, number=number,
        )  # fmt: skip
        if found.reference_id != self.reference_id:  # the child opened what is in force now
            raise StoreError("another reference is in force than this session has; close it")
        return ReviseAnswer(found)

    def draw_map(
        self,
        piece: Piece,
        to: str | os.PathLike[str],
        other: Piece | None = None,
        part: str | None = None,
        wide: bool = False,
        number: str | None = None,
    ) -> list[Path]:
        """Draw the register map of a piece into a file; the files written.

        to: ends in .svg, .png or .pdf. other: another version, drawn below it on the same
        axes. part: name or number of a part, by default the whole. wide: for a projector,
        16:9. number: which work of a file of several.

        Raises ReadError when a piece cannot be read, UsageError for a part, work or ending
        that does not exist, CorpusregError where the file cannot be written.
        """
        from corpusreg.documents.pictures.save import draw_map

        second = self._file(other) if other is not None else None
        first = self._file(piece)
        return draw_map(first, second, Path(to), part=part, wide=wide, number=number)

    def heights(
        self,
        piece: Piece,
        bars: str,
        part: str | None = None,
        on: Sequence[str] = (),
        level: Level | None = None,
        number: str | None = None,
    ) -> HeightsAnswer:
        """How high a passage lies on instruments.

        bars: printed, as in '5-8'. part: name or number, where there are several. on: names of
        instruments, by default those of the piece. level: by default both. number: which work
        of a file of several. Raises UsageError for what is not there.
        """
        from corpusreg.answers import HeightsAnswer
        from corpusreg.comparison.heights import among, heights
        from corpusreg.system.isolate import bounded

        lies = bounded(
            heights, self._file(piece), bars, self._ranges,
            part=part, on=on, level=level, number=number,
        )  # fmt: skip
        return HeightsAnswer(among(self.reference, lies) if self.has_reference else lies)

    def ranges(self, instrument: str | None = None) -> RangesAnswer:
        """The table of instruments, or all that it tells of one.

        Raises UsageError for an instrument that is not in it.
        """
        from corpusreg.answers import RangesAnswer
        from corpusreg.instruments import find

        table = self.instruments
        rows = [find(table, instrument)] if instrument else list(table.values())
        return RangesAnswer(rows, table, instrument)

    def open_class(
        self,
        source: str | os.PathLike[str],
        roster: str | os.PathLike[str] | None = None,
        *,
        measures: Sequence[MeasureName] | None = None,
        codes: bool = False,
        cohort: str | None = None,
        workers: int = 2,
        on_piece: Callable[[int, int], None] | None = None,
    ) -> ClassAnswer:
        """A class, from the folder of its pieces or the file in which it was saved.

        roster: a table of names and codes. measures: those of the lines. codes: whether the
        codes stand for names. cohort: as in `compare`. on_piece: told how many files are done,
        and of how many.

        Raises ReadError where no piece can be read, DataError for a roster or a saved class
        that cannot be used, UsageError for what does not exist.
        """
        from corpusreg.answers import ClassAnswer
        from corpusreg.comparison.class_file import Settings, opened
        from corpusreg.documents.handout.reading import coded, read_class
        from corpusreg.documents.handout.roster import NO_ROSTER, read_roster

        path = Path(source)
        if path.is_file():
            return ClassAnswer(opened(path))
        if codes and roster is None:
            raise UsageError("codes come from a roster; give one")
        names = read_roster(Path(roster), codes=codes) if roster is not None else NO_ROSTER
        own = Settings(measures=tuple(measures)) if measures else None
        found = read_class(
            path.resolve(), names=names, settings=own, cohort=cohort, workers=workers,
            on_piece=on_piece,
        )  # fmt: skip
        problems = [problem.line for problem in found.problems]
        # Of scores with names in them nothing is kept under codes.
        kept = None if names.hidden else path.resolve()
        return ClassAnswer(coded(found.saved, names.hidden), problems, kept)

    def make_handout(
        self,
        folder: str | os.PathLike[str],
        to: str | os.PathLike[str],
        roster: str | os.PathLike[str] | None = None,
        *,
        measures: Sequence[MeasureName] | None = None,
        codes: bool = False,
        paper: Literal["a4", "letter"] = "a4",
        cohort: str | None = None,
        settings: Settings | None = None,
        earlier: ClassAnswer | None = None,
        workers: int = 2,
        on_piece: Callable[[int, int], None] | None = None,
    ) -> Handout:
        """Sheets for a class: an overview, one for each piece, and one for the teacher.

        folder: the class's pieces, or a class saved with its scores. to: the folder that the
        sheets go to. roster: a table of names and codes. measures: those to speak of. codes:
        whether the codes stand for names. settings: corrections and what was asked of all, by
        default those of a saved class. earlier: a class to set beside it. on_piece: as in
        `open_class`. The answer has `pieces` [number], as lines of text `problems` and
        `remarks`, and the class as `saved`.

        Raises ReadError where no piece can be read, DataError for a roster that cannot be
        used, UsageError for what does not exist, CorpusregError where nothing can be written.
        """
        from corpusreg.documents.handout.writing import handout

        return handout(
            Path(folder), Path(to),
            roster=Path(roster) if roster is not None else None,
            measures=measures, codes=codes, paper=paper, cohort=cohort, workers=workers,
            settings=settings, earlier=earlier.saved if earlier else None, on_piece=on_piece,
        )  # fmt: skip

    # --- the repertoire --------------------------------------------------------------------

    def examples(
        self,
        kind: PassageKind,
        *,
        ensemble: str | None = None,
        period: str | None = None,
        difficulty: Literal["easy", "middle", "hard"] | None = None,
        licence: Tier | None = None,
        count: int | None = None,
    ) -> ExamplesAnswer:
        """Passages of the reference that show one thing clearly, strongest first.

        kind: 'all' for a library of all kinds. count: how many at most; left out, 5 of one
        kind, 200 of all. Raises UsageError for what does not exist; `example_kinds` has the
        kinds.
        """
        from corpusreg.answers import ExamplesAnswer
        from corpusreg.comparison.examples import ALL, COUNT, Filters, examples
        from corpusreg.comparison.library import COUNT as OF_ALL
        from corpusreg.comparison.library import library

        wanted = Filters(ensemble, period, difficulty, licence)
        if kind == ALL:
            found = library(self.reference, wanted, OF_ALL if count is None else count)
        else:
            found = examples(self.reference, kind, wanted, COUNT if count is None else count)
        return ExamplesAnswer(found, self.reference)

    def library(self, path: str | os.PathLike[str]) -> ExamplesAnswer:
        """The passages of a table that `examples` wrote and anyone has edited since.

        What stands in the reference in force is told anew from it; what is doubtful in the
        table is told in `failures`. Raises DataError for a file that is no such table.
        """
        from corpusreg.answers import ExamplesAnswer
        from corpusreg.comparison.library import read_library

        found, problems = read_library(self.reference, Path(path))
        return ExamplesAnswer(found, self.reference, problems)

    def example_kinds(self) -> Rows:
        """The kinds of passages that `examples` finds."""
        from corpusreg.answers import Rows
        from corpusreg.comparison.examples import ALL, KINDS

        rows = [(kind.name, kind.title, kind.shows) for kind in KINDS.values()]
        rows += [(ALL, "A library of model passages", "some two hundred passages of all kinds")]
        return Rows(["kind", "title", "what can be studied there"], rows)

    def table(self, measure: MeasureName, by: Grouping = "ensemble") -> Rows:
        """Percentiles of a measure by group, every composer counting the same.

        Columns: group; works [works]; units [composers, or sources of anonymous works];
        collections [collections]; p10, p25, p50, p75, p90 [the measure's unit].

        Raises UsageError for an unknown measure or group.
        """
        from corpusreg.answers import Rows
        from corpusreg.measures.definitions import BY_NAME
        from corpusreg.norms.asking import COLUMNS, table, ungrouped
        from corpusreg.text.reference import table_text

        rows = table(self.reference, measure, by)
        left_out = ungrouped(self.reference, measure, by)
        units = {
            "works": "works", "units": "composers or sources", "collections": "collections",
        } | dict.fromkeys(COLUMNS[4:], BY_NAME[measure].unit)  # fmt: skip
        return Rows(
            COLUMNS,
            [tuple(row[name] for name in COLUMNS) for row in rows],
            reference_id=self.reference_id,
            units=units,
            note=table_text(measure, by, rows, left_out),
        )

    def query(self, name: str, **parameters: object) -> Rows:
        """`ask` with the parameters as keywords."""
        return self.ask(name, parameters)

    def ask(self, name: str, parameters: Mapping[str, object]) -> Rows:
        """Rows of a query that `queries` lists, or of an .sql file of your own.

        Raises UsageError for an unknown name or parameter, and where nothing has a value.
        """
        from corpusreg.answers import Rows
        from corpusreg.measures.definitions import BY_NAME, VERSION
        from corpusreg.norms.asking import query
        from corpusreg.store import sql

        result, wanted = query(self.reference, name, parameters)
        measure = BY_NAME.get(str(parameters.get("measure")))
        unit = measure.unit if measure else "definitions.unit"
        asked = " ".join(sql.asked(name, str(value)) for name, value in parameters.items())
        thinned = "; ".join(self.reference.thinned(wanted.text))
        said = [
            " ".join(wanted.about.split()),
            f"Reference {self.reference_id}, definitions {VERSION}: {wanted.name} {asked}",
            f"Counted in what comes with corpusreg: {thinned}." if thinned else "",
        ]
        return Rows(
            result.names,
            result.rows,
            reference_id=self.reference_id,
            meanings={
                c.name: c.words.replace("definitions.unit", unit) for c in wanted.columns
            },
            note="\n".join(paragraph(text) for text in said if text),
        )

    def queries(self) -> Rows:
        """The questions that can be asked."""
        from corpusreg.answers import Rows
        from corpusreg.store import sql

        return Rows(["query", "what it answers"], [(q.name, q.title) for q in sql.listed()])

    def profiles(self) -> ProfilesAnswer:
        """Kinds of register use among the works, where they fall into kinds."""
        from corpusreg.answers import ProfilesAnswer
        from corpusreg.norms.profiles.stored import listed_profiles

        return ProfilesAnswer(listed_profiles(self.reference), self.reference_id)

    def periods(
        self, measures: Sequence[MeasureName] = (), ensemble: str | None = None
    ) -> PeriodsAnswer:
        """What differs between periods, and what repeating it in other ways says.

        measures: some of them; the correction is for all either way. ensemble: works for one
        ensemble only. Raises UsageError for what does not exist.
        """
        from corpusreg.answers import PeriodsAnswer
        from corpusreg.norms.periods.answer import study
        from corpusreg.norms.periods.works import check_words, fetch_works, unit_names

        check_words(measures)
        works = fetch_works(self.reference, ensemble)
        names = unit_names(self.reference)
        found = study(works, measures, ensemble)
        return PeriodsAnswer(found, works, names, self.reference_id)

    def atlas(self, to: str | os.PathLike[str]) -> list[Path]:
        """Draw figures of the reference for the wall into a folder; the files written."""
        from corpusreg.documents.atlas import write_atlas
        from corpusreg.norms.atlas import atlas

        return write_atlas(atlas(self.reference), Path(to))

    def demo(self) -> str:
        """The invented class of eight pieces, compared and told."""
        from corpusreg.demonstration import demo_text

        return demo_text(self.reference)

    def reference_sheet(self) -> SheetAnswer:
        """What pieces are placed among: works, sources, licences, gaps."""
        from corpusreg.answers import SheetAnswer
        from corpusreg.building.reference import reference_facts

        return SheetAnswer(reference_facts(self.reference))

    # --- scores and the reference ----------------------------------------------------------

    def extract(
        self,
        corpora: Sequence[str] = (),
        *,
        workers: int | None = None,
        fresh: bool = False,
        tiers: Sequence[Tier] = ("open", "permitted"),
        on_progress: Callable[[Progress], None] | None = None,
        cluster: str | None = None,
        shards: str | None = None,
    ) -> Built:
        """Measure corpora and put the reference made of them in force.

        See `corpusreg.building.build.extract`.
        """
        from corpusreg.building.build import extract

        self.close()
        return extract(
            corpora, workers=workers, fresh=fresh, tiers=tiers,
            on_progress=on_progress, cluster=cluster, shards=shards,
        )  # fmt: skip

    def export_reference(self, folder: str | os.PathLike[str]) -> Path:
        """Write the reference as Parquet for other programs, with a page on its columns.

        folder: must not exist yet.
        """
        from corpusreg.building.reference import export_reference

        return export_reference(self.reference, Path(folder))

    def import_reference(self, folder: str | os.PathLike[str]) -> Path:
        """Put a reference in force that `export_reference` wrote; its file."""
        from corpusreg.building.reference import import_reference

        self.close()
        return import_reference(Path(folder))

    def check(self) -> CheckAnswer:
        """Which reference is in force, what made it, and whether all is well."""
        from corpusreg.answers import CheckAnswer
        from corpusreg.building.build import check

        return CheckAnswer(check())

    def reference_state(self) -> dict[str, Any]:
        """`check` without reading what the next reference would be made from."""
        from corpusreg.building.build import reference_state

        return reference_state()

    def corpora(self) -> tuple[list[TierRow], list[tuple[Entry | None, Added | None]]]:
        """The bundled corpus by collection and tier; then catalogue and added corpora."""
        from corpusreg.building.corpora import corpora_list

        return corpora_list()

    def show_corpus(self, name: str) -> ListedCorpus:
        """One corpus: licence, source, what was left out and why."""
        from corpusreg.building.corpora import show_corpus

        return show_corpus(name)

    def get_corpus(
        self,
        name: str,
        *,
        workers: int | None = None,
        on_fetch: Callable[[FetchProgress], None] | None = None,
        on_progress: Callable[[Progress], None] | None = None,
    ) -> CorpusChange:
        """Fetch a corpus of the catalogue with git, and measure it."""
        from corpusreg.building.corpora import get_corpus

        self.close()
        return get_corpus(name, workers=workers, on_fetch=on_fetch, on_progress=on_progress)

    def add_corpus(
        self,
        path: str | os.PathLike[str],
        name: str | None = None,
        *,
        workers: int | None = None,
        on_progress: Callable[[Progress], None] | None = None,
    ) -> CorpusChange:
        """Measure a folder of scores, or what is new there.

        See `corpusreg.building.corpora.add_corpus`.
        """
        from corpusreg.building.corpora import add_corpus

        self.close()
        return add_corpus(Path(path), name, workers=workers, on_progress=on_progress)

    def remove_corpus(
        self,
        name: str,
        *,
        workers: int | None = None,
        on_progress: Callable[[Progress], None] | None = None,
    ) -> CorpusChange:
        """Take the works of a corpus out of the reference.

        A folder that corpusreg fetched is deleted; one of your own is not touched.
        """
        from corpusreg.building.corpora import remove_corpus

        self.close()
        return remove_corpus(name, workers=workers, on_progress=on_progress)

    def corpus_template(self, path: str | os.PathLike[str]) -> Path:
        """Write a table to fill in, with a row for each score of a folder."""
        from corpusreg.building.corpora import corpora_template

        return corpora_template(Path(path))

    def coverage(self) -> CoverageAnswer:
        """Where the reference is thin, and what would help."""
        from corpusreg.answers import CoverageAnswer
        from corpusreg.norms.coverage import coverage

        return CoverageAnswer(coverage(self.reference), self.reference_id)

    def duplicates(self) -> Rows:
        """The same music found twice, and which copy counts."""
        found = self.query("copies")
        kept = len({row[found.names.index("counts")] for row in found.rows})
        found.meanings = {}
        found.note = (
            f"{len(found.rows):,} copies of {kept:,} works; in every table each counts once.\n"
            "Of copies the one with the freest licence counts, then the one with most notes,\n"
            "so that a whole counts before its parts."
        )
        return found

    # --- scores that are no files ----------------------------------------------------------

    def _files(self, pieces: Piece | Sequence[Piece]) -> list[Path]:
        if isinstance(pieces, list | tuple):
            return [self._file(piece) for piece in pieces]
        return [self._file(cast("Piece", pieces))]

    def _file(self, piece: Piece) -> Path:
        """A path of the piece; what is no file is written into a folder of the session's."""
        if isinstance(piece, str | os.PathLike):
            return Path(piece)
        if self._aside is None:
            self._aside = Path(tempfile.mkdtemp(prefix="corpusreg-"))
            weakref.finalize(self, shutil.rmtree, self._aside, ignore_errors=True)
        own = Path(tempfile.mkdtemp(dir=self._aside))
        if hasattr(piece, "read"):
            name = Path(str(getattr(piece, "name", "score"))).name
            content = piece.read()
        elif isinstance(piece, bytes | bytearray):
            name, content = "score", piece
        elif hasattr(piece, "write"):
            try:
                return Path(piece.write("musicxml", fp=own / "score.musicxml"))
            except Exception as error:
                raise ReadError(f"a stream that cannot be MusicXML ({error})") from error
        else:
            raise UsageError(
                f"a {type(piece).__name__} is not a score; give a path, bytes, an open file or "
                "a stream of music21"
            )
        path = own / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path


def asking_once(name: str) -> Callable[..., Any]:
    """The method `name` as a function with a session of its own."""
    method = getattr(Session, name)

    @functools.wraps(method)
    def ask(*given: Any, **named: Any) -> Any:
        ranges = named.pop("ranges", None)
        return getattr(Session(ranges=ranges), name)(*given, **named)

    return ask
