"""Answers as bare findings, each from a session of its own."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from corpusreg.building.build import DEFAULT_TIERS as DEFAULT_TIERS
from corpusreg.building.build import Built as Built
from corpusreg.building.build import check as check
from corpusreg.building.build import extract as extract
from corpusreg.building.corpora import add_corpus as add_corpus
from corpusreg.building.corpora import get_corpus as get_corpus
from corpusreg.building.corpora import remove_corpus as remove_corpus
from corpusreg.comparison.compared import Compared as Compared
from corpusreg.comparison.compared import one_draft as one_draft
from corpusreg.comparison.compared import score_files as score_files
from corpusreg.comparison.compared import some_readable as some_readable
from corpusreg.comparison.examples import Examples
from corpusreg.comparison.heights import Passage
from corpusreg.documents.pictures.save import draw_map as draw_map
from corpusreg.norms import asking
from corpusreg.norms.asking import COLUMNS as COLUMNS
from corpusreg.norms.asking import GROUPS as GROUPS
from corpusreg.norms.coverage import Coverage
from corpusreg.revision.intentions import intention as intention
from corpusreg.revision.versions import Contrast as Contrast
from corpusreg.revision.versions import Revised as Revised
from corpusreg.session import Session
from corpusreg.store import Reference


def compare_paths(paths: Sequence[Path], **named: Any) -> Compared:
    """See `corpusreg.comparison.compared.compare_paths`."""
    from corpusreg.comparison.compared import compare_paths

    with Session() as session:
        return compare_paths(lambda: session.reference, paths, **named)


def contrast(path: Path, way: Any = "settled", **named: Any) -> Contrast:
    """See `corpusreg.revision.versions.contrast`."""
    from corpusreg.revision.versions import contrast

    return contrast(path, way, **named)


def revise(path: Path, toward: str, **named: Any) -> Revised:
    """See `corpusreg.revision.versions.revise`."""
    from corpusreg.revision.versions import revise

    return revise(path, toward, **named)


def heights(path: Path, bars: str, **named: Any) -> Passage:
    """See `corpusreg.comparison.heights.passage`."""
    return Session().heights(path, bars, **named).result


def examples(kind: Any, filters: Any = None, count: int = 5) -> Examples:
    """See `corpusreg.comparison.examples.examples`."""
    from corpusreg.comparison.examples import examples

    with Session() as session:
        return examples(session.reference, kind, filters, count)


def table(measure: Any, by: Any) -> list[dict[str, Any]]:
    """See `corpusreg.norms.asking.table`."""
    with Session() as session:
        return asking.table(session.reference, measure, by)


def ungrouped(measure: Any, by: Any) -> tuple[int, int]:
    """See `corpusreg.norms.asking.ungrouped`."""
    with Session() as session:
        return asking.ungrouped(session.reference, measure, by)


def coverage() -> Coverage:
    """See `corpusreg.norms.coverage.coverage`."""
    with Session() as session:
        return session.coverage().result


TABLES = """
SELECT table_name AS name FROM duckdb_tables()
WHERE NOT internal AND schema_name = 'main' AND database_name = current_database()
UNION SELECT view_name FROM duckdb_views()
WHERE NOT internal AND schema_name = 'main' AND database_name = current_database()
ORDER BY name
"""
ROWS = """
SELECT
    count(*)::BIGINT AS rows,
    coalesce(bit_xor(md5_number(rowid::VARCHAR || to_json(t)::VARCHAR)), 0)::VARCHAR AS hash
FROM {} AS t
"""


def row_hashes(of: Reference | Path) -> dict[str, str]:
    """Number of rows and hash of all rows in their order, by table, builds left out."""
    if isinstance(of, Path):
        with Reference(of) as reference:
            return row_hashes(reference)
    tables = [str(name) for name in of.fetch_columns(TABLES)["name"] if name != "builds"]
    found = {table: of.fetch_columns(ROWS.format(table)) for table in tables}
    return {table: f"{own['rows'][0]}:{own['hash'][0]}" for table, own in found.items()}
