"""What the commands do, as plain functions: no argument parsing, no printing.

Modules that are heavy to import, or that only some commands need, are imported
inside the functions.
"""

from __future__ import annotations

import datetime
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from corpusreg import settings
from corpusreg.definitions import BY_NAME, VERSION
from corpusreg.errors import CorpusregError, ReadError, StoreError, UsageError

if TYPE_CHECKING:
    from corpusreg.building.batch import Progress
    from corpusreg.catalogue import SourceFile, TierRow
    from corpusreg.comparison import Comparison
    from corpusreg.heights import Passage
    from corpusreg.instruments import Instrument, Instruments
    from corpusreg.store import Draft, Reference, Result

__all__ = [
    "DEFAULT_TIERS",
    "GROUPS",
    "Built",
    "Compared",
    "check",
    "compare_paths",
    "corpora_list",
    "extract",
    "heights",
    "profiles",
    "query",
    "ranges",
    "score_files",
    "some_readable",
    "table",
]

DEFAULT_TIERS = ("open", "permitted")
# What `table --by` groups by: the word for people, and the column.
GROUPS = {
    "period": "period",
    "ensemble": "ensemble",
    "composer": "composer",
    "corpus": "collection",
}


@dataclass(frozen=True)
class Built:
    """A published build: where it is and what it holds."""

    path: Path
    reference_id: str
    works: int
    measured: int
    kept: int
    failed: int
    problems: tuple[str, ...]


@dataclass(frozen=True)
class Compared:
    """Comparisons of all works that could be read, and the failures, one line each."""

    comparisons: tuple[Comparison, ...]
    failures: tuple[str, ...]
    reference_id: str


def corpora_list() -> list[TierRow]:
    """Files and works of the bundled corpus by collection and licence tier, and why."""
    from corpusreg import catalogue

    return catalogue.tiers_summary(catalogue.bundled())


def extract(
    corpora: Sequence[str] = (),
    *,
    workers: int | None = None,
    fresh: bool = False,
    tiers: Sequence[str] = DEFAULT_TIERS,
    on_progress: Callable[[Progress], None] | None = None,
) -> Built:
    """Measure corpora and publish the reference made of them.

    corpora: 'bundled' (the default) or folders of scores. workers: processes,
    by default one for each processor. fresh: measure everything again. tiers:
    licence tiers of the bundled corpus that may enter. What was measured before
    and has not changed is kept, so that an interrupted run goes on where it was.

    Raises UsageError for an unknown corpus, ReadError when not one work could be
    read, StoreError when nothing can be written; the reference in force stays then.
    """
    from corpusreg.building import batch
    from corpusreg.building.extract import EXTRACTION_VERSION, extract_file
    from corpusreg.store import Recipe, Shards, build_lock, publish

    started = datetime.datetime.now(datetime.UTC)
    problems: list[str] = []
    files = [
        file for name in corpora or ("bundled",) for file in _corpus(name, tiers, problems)
    ]
    if not files:
        raise UsageError(f"no scores in {', '.join(corpora)}; name a folder that holds scores")
    recipe = Recipe(definitions=VERSION, extraction=EXTRACTION_VERSION)
    with build_lock(settings.lock_file()):
        shards = Shards(settings.shards_folder(), recipe, fresh=fresh)
        tally = batch.run(
            files,
            extract_file,
            shards,
            workers=workers or _processors(),
            on_progress=on_progress,
        )
        path = publish(
            shards,
            tally.files,
            tables={"corpora": _corpora_rows(files)},
            finish=_finishing(tiers, problems),
            started=started,
        )
        shards.tidy()
    with _open() as reference:
        return Built(
            path=path,
            reference_id=reference.reference_id,
            works=reference.works,
            measured=tally.measured,
            kept=tally.kept,
            failed=tally.failed,
            problems=tuple(problems),
        )


def _finishing(tiers: Sequence[str], problems: list[str]) -> Callable[[Draft], None]:
    """The last step of a build, which is no build when there is no work in it."""
    from corpusreg.building.finish import finishing

    finish = finishing(tiers, problems)

    def finish_some(draft: Draft) -> None:
        finish(draft)
        if draft.fetch_columns("SELECT count(*) AS works FROM works")["works"][0]:
            return
        failed = draft.fetch_columns("SELECT path, reason FROM failures ORDER BY path LIMIT 1")
        first = [f" (first {p}: {r})" for p, r in zip(*failed.values(), strict=True)]
        raise ReadError(
            f"no work could be read{''.join(first)}; the reference in force stays; "
            "name a folder that holds scores"
        )

    return finish_some


def _processors() -> int:
    return os.cpu_count() or 1


def _corpus(name: str, tiers: Sequence[str], problems: list[str]) -> list[SourceFile]:
    from corpusreg import catalogue

    if name == catalogue.BUNDLED:
        return [f for f in catalogue.bundled() if catalogue.licence(f).tier in tiers]
    path = Path(name)
    if not path.is_dir():
        raise UsageError(
            f"'{name}' is neither 'bundled' nor a folder; see 'corpusreg corpora list'"
        )
    return catalogue.folder(path, path.resolve().name, problems)


def _corpora_rows(files: Iterable[SourceFile]) -> list[tuple[Any, ...]]:
    from corpusreg import catalogue

    merged: dict[str, list[Any]] = {}
    for row in catalogue.tiers_summary(files):
        known = merged.setdefault(
            row.collection, [row.collection, row.name, row.tier, row.reason, row.corpus, 0, 0]
        )
        known[5] += row.files
        known[6] += row.works
    return [tuple(row) for row in merged.values()]


def _open() -> Reference:
    from corpusreg.store import open_reference

    return open_reference()


def check() -> dict[str, Any]:
    """The state of the present reference: where it is, what made it, whether all is well."""
    from corpusreg.store import open_reference

    found: dict[str, Any] = {
        "home": str(settings.home()),
        "definitions": VERSION,
        "schema": settings.SCHEMA_VERSION,
        "ok": False,
    }
    try:
        with open_reference() as reference:
            counts = reference.fetch_columns(
                "SELECT (SELECT count(*) FROM works) AS works, "
                "(SELECT count(*) FROM matrix) AS counted, "
                "(SELECT count(*) FROM failures) AS failures, "
                "(SELECT count(*) FROM stays) AS stays, "
                "(SELECT count(*) FROM shifts) AS shifts"
            )
            found |= {
                "path": str(reference.path),
                "reference_id": reference.reference_id,
                "tool": reference.tool,
                "counts": {name: int(values[0]) for name, values in counts.items()},
                "ok": True,
            }
    except StoreError as error:
        found["problem"] = str(error)
    return found


def table(measure: str, by: str) -> list[dict[str, Any]]:
    """Composer-weighted percentiles of a measure by group, one row a group.

    Columns: group, works, units (composers, or sources of anonymous works), and
    the percentiles p10, p25, p50, p75, p90 in the measure's unit.
    """
    if measure not in BY_NAME:
        raise UsageError(f"no measure '{measure}'{_nearest(measure, BY_NAME)}")
    if by not in GROUPS:
        raise UsageError(f"cannot group by '{by}'; choose among {', '.join(GROUPS)}")
    import numpy as np

    from corpusreg.reference import unit_weights, weighted_quantile

    column = GROUPS[by]
    with _open() as reference:
        found = reference.fetch_columns(
            f'SELECT "{column}" AS "group", unit_number, "{measure}" AS value FROM matrix '
            f'WHERE "{measure}" IS NOT NULL AND "{column}" IS NOT NULL ORDER BY ALL'
        )
    rows = []
    for group in dict.fromkeys(found["group"].tolist()):
        chosen = found["group"] == group
        values, unit = found["value"][chosen], found["unit_number"][chosen]
        weights = unit_weights(unit, np.ones(len(unit)))
        rows.append(
            {"group": group, "works": len(unit), "units": len(np.unique(unit))}
            | {
                f"p{share}": round(weighted_quantile(values, weights, share / 100), 4)
                for share in (10, 25, 50, 75, 90)
            }
        )
    return rows


def profiles() -> list[dict[str, Any]]:
    """Profiles of the present reference by rung; see `profiles.stored.listed_profiles`."""
    from corpusreg.profiles.stored import listed_profiles

    with _open() as reference:
        return listed_profiles(reference)


def query(name: str, given: Mapping[str, str]) -> tuple[Result, Any]:
    """Rows of a stored query or of a user's SQL file, and the query itself."""
    from corpusreg import sql

    wanted = sql.find(name)
    with _open() as reference:
        return reference.query(wanted.text, wanted.values(given)), wanted


def _nearest(word: str, known: Iterable[str]) -> str:
    import difflib

    names = list(known)
    near = difflib.get_close_matches(word, names, n=3, cutoff=0.5)
    return f"; did you mean {' or '.join(near)}?" if near else f"; there are {', '.join(names)}"


def score_files(paths: Sequence[Path], problems: list[str] | None = None) -> list[Path]:
    """The files themselves, and the scores in the folders among them.

    What cannot be entered in these folders is appended to `problems`, one line each.
    Raises ReadError for a folder in which no score can be found.
    """
    from corpusreg.catalogue import folder
    from corpusreg.readers import existing

    files: list[Path] = []
    for path in map(existing, paths):
        # Path.is_dir raises an error inside a folder that may not be entered.
        if not os.path.isdir(path):  # noqa: PTH112
            files.append(path)
            continue
        faults: list[str] = []
        inside = [file.path for file in folder(path, "pieces", faults)]
        if not inside:
            nothing = f"{path}: no scores in this folder; give a score or another folder"
            raise ReadError(faults[0] if faults else nothing)
        files += inside
        if problems is not None:
            problems += faults
    return files


def some_readable(paths: Sequence[Path]) -> None:
    """Raise before a reference is built for nothing: where no file can even be opened."""
    from corpusreg.readers import sniff
    from corpusreg.store import pointed

    files = score_files(paths)
    if pointed(settings.reference_folder()) is not None:
        return
    problems: list[CorpusregError] = []
    for file in files:
        try:
            sniff(file)
        except CorpusregError as error:
            problems.append(error)
    if len(problems) == len(files):
        raise problems[0]


def compare_paths(
    paths: Sequence[Path],
    *,
    cohort: str | None = None,
    as_written: bool = False,
    ranges: Path | None = None,
) -> Compared:
    """Place every work in some files among the present reference.

    ranges: a user's table of instruments, as `corpusreg.instruments.load` takes it.
    A file that cannot be read is a failure and stops nothing. Raises StoreError
    without a usable reference, UsageError for a cohort that does not exist.
    """
    from corpusreg.instruments import load
    from corpusreg.placing import place_file

    table = load(ranges)
    comparisons: list[Comparison] = []
    failures: list[str] = []
    with _open() as reference:
        for path in score_files(paths, failures):
            try:
                found, failed = place_file(reference, path, cohort, as_written, table)
            except UsageError:
                raise
            except CorpusregError as error:
                failures.append(str(error))
            else:
                comparisons += found
                failures += failed
        return Compared(tuple(comparisons), tuple(failures), reference.reference_id)


def heights(
    path: Path,
    bars: str,
    *,
    part: str | None = None,
    on: Sequence[str] = (),
    level: str | None = None,
    ranges: Path | None = None,
) -> Passage:
    """A passage of one piece on instruments; see `corpusreg.heights.passage`."""
    from corpusreg.heights import passage
    from corpusreg.instruments import load

    return passage(path, bars, part=part, on=on, level=level, table=load(ranges))


def ranges(name: str | None, file: Path | None) -> tuple[list[Instrument], Instruments]:
    """Rows of the table of instruments, or the one that is named, and the table itself.

    Raises UsageError for a name that is not there, DataError for a bad file.
    """
    from corpusreg.instruments import find, load

    table = load(file)
    return [find(table, name)] if name else list(table.values()), table
