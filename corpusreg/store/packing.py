"""The packed form of a reference: Parquet files, coded and rounded, opened in place.

A packed reference is a folder: one Parquet file a table (zstd), and about.json. It is
small enough to ship with the package, is never unpacked, and its bytes depend on the
reference alone. `pack` writes one from a published reference; `views` is the SQL by which
a database shows it under the names, columns and types of queries/store/schema.sql.

Coding
------
work        the number of the work in the order of the ids, from 0; the works file has one
            row for each, and the id is put together again from corpus, path and number where
            it is made of them
numbers     rounded to what is printed (DIGITS decimals) and stored as whole numbers
measures    one row a work, one column a measure and one for its reason
band_weights from pitch_weights, by octaves
WITHOUT     columns that are not kept; they are NULL
KEPT        which rows of the large tables are kept; of events those that are told, the
            strongest of each kind in a work; of high and low points the strongest tenth
LEFT_AT_HOME tables that are not kept at all
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from corpusreg.measures.definitions import MEASURES
from corpusreg.measures.events import KINDS, PRINTED_KINDS
from corpusreg.store import door
from corpusreg.store.tables import ORDER, columns, names
from corpusreg.system.errors import StoreError

if TYPE_CHECKING:
    import duckdb

__all__ = [
    "ABOUT", "FIRST", "LEFT_AT_HOME", "NEEDS", "THINNED", "about", "pack", "statements",
    "views",
]  # fmt: skip

ABOUT = "about.json"
FIRST = ""
_DIGITS = 2  # decimals kept of a number
# Decimals of single columns, where another number of them is printed or needed.
DIGITS: Mapping[tuple[str, str], int] = {
    ("measures", "value"): 4,
    ("measures_rebarred", "value"): 3,
    ("pitch_weights", "share"): 3,
    ("stays", "low"): 0,
    ("stays", "high"): 0,
    ("shifts", "abrupt"): 1,
    ("shifts", "size"): 1,
    ("events", "strength"): 0,
    ("events", "bars"): 1,
    ("events", "beat"): 1,
    ("parts", "mean_pitch"): 1,
    ("works", "beats"): 0,
    ("rung_quantiles", "value"): 4,
    ("profile_scales", "value"): 4,
    ("profile_scales", "score"): 4,
    ("profile_centres", "value"): 3,
    ("profile_works", "position"): 1,
}
WITHOUT = frozenset(
    (
        ("works", "content"),
        ("works", "lost"),
        ("pitch_weights", "notes"),
        ("saturation", "peak_half"),
        ("saturation", "peak_double"),
        ("saturation", "mean_half"),
        ("saturation", "mean_double"),
        ("failures", "content"),
        ("builds", "started"),
        ("builds", "finished"),
        ("builds", "seconds"),
    )
)
# Rows that are kept of a table whose others no answer needs; t is the table.
KEPT: Mapping[str, str] = {
    "saturation": "t.stay IS NULL",
    "pitch_weights": "round(t.share, 3) > 0",
    "events": "t.kind NOT IN ({untold}) AND (t.part IS NULL OR t.kind = 'edge') "
    "QUALIFY row_number() OVER "
    "(PARTITION BY t.work, t.kind ORDER BY t.strength DESC, t.position) <= 1 "
    # Every work has a highest and a lowest note, and `works` has them.
    "AND (t.kind NOT IN ('high_point', 'low_point') OR "
    "percent_rank() OVER (PARTITION BY t.kind ORDER BY t.strength) >= 0.9)",
    "shifts": "t.clear",
    # The last stay too: it tells how many bars are on the page.
    "stays": "true QUALIFY (t.bars >= 3 AND t.rank <= 10) OR (t.part IS NULL AND "
    't."last" = max(t."last") OVER (PARTITION BY t.work, t.part))',
    "steps": "t.times >= 15",
}
# What that leaves of tables which people count in.
THINNED: Mapping[str, str] = {
    "events": "of each kind of event only the strongest in a work, and few high and low points",
    "shifts": "only clear shifts",
    "stays": "only the ten main stays of three bars or more",
    "steps": "only steps that a part takes fifteen times or more",
}
# Tables that would take too much room: they are there, and empty.
LEFT_AT_HOME = frozenset(("bass_gaps",))
# So many of the smallest shingles of a work are kept, by which its copies are found.
MARKS = 7
_MADE = ("band_weights",)  # made of the others when they are shown


@dataclass(frozen=True)
class _Column:
    """A column: what codes it (expressions over t, by name in the file), what shows it.

    shown: an expression over p, the row of the file, and n, the numbers of works.
    """

    name: str
    coded: tuple[tuple[str, str], ...]
    shown: str


def packed_tables() -> tuple[str, ...]:
    """The tables of the schema that a packed reference has files of."""
    return tuple(name for name in names() if name not in _MADE and name not in LEFT_AT_HOME)


def about(folder: Path) -> dict[str, Any]:
    """What a packed reference says of itself; StoreError where it is damaged or not there."""
    try:
        found = json.loads((folder / ABOUT).read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise StoreError(f"{folder}: no packed reference here ({error})") from error
    if not isinstance(found, dict):
        raise StoreError(f"{folder / ABOUT}: not what a packed reference says of itself")
    return found


def pack(source: Path, folder: Path, told: Mapping[str, Any]) -> None:
    """Write the packed form of a published reference into an empty folder.

    told: what about.json is to say. Raises StoreError where the reference cannot be read or
    the folder not be written.
    """
    with door.storing(f"{folder}"):
        folder.mkdir(parents=True, exist_ok=True)
        connection = door.working()
        try:
            # One thread, so that the same rows give the same bytes.
            connection.execute("SET threads = 1")
            connection.execute(f"ATTACH '{_quoted(source)}' AS source (READ_ONLY)")
            connection.execute("USE source")
            connection.execute(
                "CREATE TABLE memory.numbers AS SELECT "
                "CAST(row_number() OVER (ORDER BY work) - 1 AS INTEGER) AS n, work FROM works"
            )
            for table in packed_tables():
                _write(connection, table, folder / f"{table}.parquet")
        finally:
            connection.close()
        text = json.dumps(told, indent=1, sort_keys=True, ensure_ascii=False)
        (folder / ABOUT).write_text(text + "\n", encoding="utf-8")


def views(folder: Path, own: Path | None = None) -> dict[str, tuple[str, ...]]:
    """Statements that show a packed reference under the names of the schema, by table.

    own: a published reference that was made on top of it, whose rows are shown with its
    own. The statements of FIRST come before all others; a table's own are needed once it is
    asked for, so that nobody waits for the others.
    """
    found: dict[str, tuple[str, ...]] = {FIRST: tuple(_first(folder, own))}
    for table in names():
        # A reference that was packed before a table came has none of it.
        if table in LEFT_AT_HOME or not (
            table in _MADE or (folder / f"{table}.parquet").exists()
        ):
            kinds = columns(table).items()
            none = ", ".join(f'CAST(NULL AS {kind}) AS "{name}"' for name, kind in kinds)
            shown = f"SELECT {none} WHERE false"
        else:
            shown = _BANDS if table == "band_weights" else _shown(folder, table)
        found[table] = (
            f"CREATE VIEW packed.{table} AS {shown}",
            f"CREATE VIEW main.{table} AS {_together(table, own is not None)}",
        )
    found["matrix"] = tuple(_matrix(folder, own is not None))
    return found


def statements(folder: Path, own: Path | None = None) -> Iterator[str]:
    """All statements of `views`, each after what it needs."""
    pending = views(folder, own)
    yield from pending.pop(FIRST)

    def made(table: str) -> Iterator[str]:
        for other in NEEDS.get(table, ()):
            yield from made(other)
        yield from pending.pop(table, ())

    for table in list(pending):
        yield from made(table)


def _first(folder: Path, own: Path | None) -> Iterator[str]:
    yield "CREATE SCHEMA packed"
    works = _read(folder, "works")
    yield (
        "CREATE TABLE packed.numbers AS SELECT CAST(file_row_number AS INTEGER) AS n, "
        f"coalesce(p.work, {_ID}) AS work FROM {works[:-1]}, file_row_number = true) AS p"
    )
    if own is not None:
        yield f"ATTACH '{_quoted(own)}' AS own (READ_ONLY)"


def _together(table: str, layered: bool) -> str:
    """The rows of a table: packed, and the user's own where there are any."""
    packed = f"SELECT * FROM packed.{table}"
    if not layered or table == "definitions":
        return packed
    if table == "builds":
        return f"SELECT * FROM own.{table}"
    # A group of works that was looked at again takes the place of the packed one.
    if table in _BY_RUNG:
        packed += f" WHERE rung NOT IN (SELECT rung FROM own.{_BY_RUNG[table]})"
    return f"{packed} UNION ALL SELECT * FROM own.{table}"


_BY_RUNG = {
    "rungs": "rungs",
    "rung_quantiles": "rungs",
    "profile_rungs": "rungs",
    "profile_scales": "rungs",
    "profiles": "rungs",
    "profile_centres": "rungs",
    "profile_works": "rungs",
}


def _matrix(folder: Path, layered: bool) -> Iterator[str]:
    """The matrix as queries/store/matrix.sql makes it, from the measures side by side.

    It is a view, so that a question about one medium does not read the works of the others.
    """
    scale = 10.0 ** DIGITS["measures", "value"]
    values = ", ".join(
        f'CASE WHEN p."{m.name}_reason" IS NULL AND NOT '
        f"coalesce(list_contains(o.measures, '{m.name}'), false) "
        f'THEN p."{m.name}" / {scale} END AS "{m.name}"'
        for m in MEASURES
    )
    facts = ", ".join(f"w.{name}" for name in _FACTS)
    names = f"{', '.join(_FACTS)}, {_names()}"
    own = f"UNION ALL SELECT {names} FROM own.matrix" if layered else ""
    also = "UNION SELECT unit FROM own.matrix" if layered else ""
    yield (
        "CREATE TABLE packed.units AS SELECT unit, "
        "CAST(row_number() OVER (ORDER BY unit) AS INTEGER) AS unit_number FROM "
        f"(SELECT DISTINCT unit FROM packed.works WHERE same_as IS NULL {also})"
    )
    yield (
        f"CREATE VIEW packed.counted AS SELECT {facts}, {values} "
        "FROM packed.works AS w JOIN packed.numbers AS n USING (work) "
        f"JOIN {_read(folder, 'measures')} AS p ON p.work = n.n "
        "LEFT JOIN (SELECT work, list(measure) AS measures FROM packed.left_out GROUP BY work) "
        f"AS o USING (work) WHERE w.same_as IS NULL {own}"
    )
    yield (
        f"CREATE VIEW main.matrix AS SELECT {', '.join(_FACTS[:5])}, unit_number, "
        f"{', '.join(_FACTS[5:])}, {_names()} FROM packed.counted "
        "JOIN packed.units USING (unit)"
    )


# The facts of a work that stand in the matrix.
_FACTS = (
    "work", "corpus", "collection", "composer", "unit", "period", "year", "ensemble",
    "family", "texture", "genre", "tier", "fingerprint", "bars", "voices",
)  # fmt: skip


def _names() -> str:
    return ", ".join(f'"{measure.name}"' for measure in MEASURES)


_ID = "p.corpus || ':' || p.path || CASE WHEN p.number = '' THEN '' ELSE '#' || p.number END"
_BANDS = (
    "SELECT work, CAST(floor(pitch / 12) AS INTEGER) - 1 AS band, sum(share) AS share FROM "
    "main.pitch_weights GROUP BY ALL"
)
# What a table's statements need first.
NEEDS: Mapping[str, tuple[str, ...]] = {
    "band_weights": ("pitch_weights",),
    "matrix": ("works", "left_out"),
}


def _write(connection: duckdb.DuckDBPyConnection, table: str, path: Path) -> None:
    if table == "measures":
        selected = _wide()
    elif table == "shingles":
        selected = (
            "SELECT n.n AS work, t.shingle FROM shingles AS t JOIN memory.numbers AS n "
            "USING (work) QUALIFY row_number() OVER (PARTITION BY t.work ORDER BY t.shingle) "
            f"<= {MARKS} ORDER BY 1, 2"
        )
    else:
        stored = [each for c in _columns(table) for each in c.coded]
        coded = ", ".join(f'{what} AS "{name}"' for name, what in stored)
        by_work = "work" in columns(table) and table != "works"
        joined = "JOIN memory.numbers AS n USING (work)" if by_work else ""
        order = ", ".join(
            "t." + each.strip() for each in ORDER.get(table, "").split(",") if each.strip()
        )
        selected = (
            f"SELECT {coded} FROM {table} AS t {joined} WHERE {_kept(table)} "
            f"ORDER BY {order or 'ALL'}"
        )
    # Without dictionaries, whose packed bits compress badly.
    connection.execute(
        f"COPY ({selected}) TO '{_quoted(path)}' (FORMAT parquet, COMPRESSION zstd, "
        "COMPRESSION_LEVEL 22, DICTIONARY_SIZE_LIMIT 1, ROW_GROUP_SIZE 1048576)"
    )


def _kept(table: str) -> str:
    untold = ", ".join(f"'{kind}'" for kind in sorted(set(KINDS) - PRINTED_KINDS))
    return KEPT.get(table, "true").format(untold=untold or "''")


def _wide() -> str:
    scale = 10 ** DIGITS["measures", "value"]
    cells = ", ".join(
        f"max(CAST(round(t.value * {scale}) AS INTEGER)) FILTER (t.name = '{m.name}') "
        f'AS "{m.name}", max(t.reason) FILTER (t.name = \'{m.name}\') AS "{m.name}_reason"'
        for m in MEASURES
    )
    return (
        f"SELECT n.n AS work, {cells} FROM measures AS t JOIN memory.numbers AS n USING (work) "
        "GROUP BY n.n ORDER BY n.n"
    )


def _shown(folder: Path, table: str) -> str:
    if table == "measures":
        scale = 10.0 ** DIGITS["measures", "value"]
        return " UNION ALL ".join(
            f"SELECT n.work, '{m.name}' AS name, p.\"{m.name}\" / {scale} AS value, "
            f'p."{m.name}_reason" AS reason FROM {_read(folder, table)} AS p '
            "JOIN packed.numbers AS n ON n.n = p.work"
            for m in MEASURES
        )
    shown = ", ".join(f'{c.shown} AS "{c.name}"' for c in _columns(table))
    if table == "works":
        read = f"{_read(folder, table)[:-1]}, file_row_number = true)"
        joined = (
            "JOIN packed.numbers AS n ON n.n = p.file_row_number "
            "LEFT JOIN packed.numbers AS s ON s.n = p.same_as"
        )
        return f"SELECT {shown} FROM {read} AS p {joined}"
    by_work = "work" in columns(table)
    joined = "JOIN packed.numbers AS n ON n.n = p.work" if by_work else ""
    return f"SELECT {shown} FROM {_read(folder, table)} AS p {joined}"


def _columns(table: str) -> list[_Column]:
    return [_column(table, name, kind) for name, kind in columns(table).items()]


def _column(table: str, name: str, kind: str) -> _Column:
    here, there = f't."{name}"', f'p."{name}"'
    if (table, name) in WITHOUT:
        empty = "''" if name == "content" and table == "works" else "NULL"
        return _Column(name, (), f"CAST({empty} AS {kind})")
    if name == "work":
        # Most ids are put together from other columns of the works; the others are kept.
        number = "n.n" if table != "works" else f"NULLIF(t.work, {_ID.replace('p.', 't.')})"
        return _Column(name, ((name, number),), "n.work")
    if (table, name) in _FROM_OTHERS:
        coded, shown = _FROM_OTHERS[table, name]
        return _Column(name, ((name, coded),), f"CAST({shown} AS {kind})")
    if (table, name) in _LABELS:
        # The printed number of a bar mostly counts on from the first: then only by how much
        # it differs from the position is kept.
        position = _LABELS[table, name]
        number = f"TRY_CAST({here} AS INTEGER)"
        plain = f"CAST({number} AS VARCHAR) = {here}"
        both = (
            (f"{name}_by", f"CASE WHEN {plain} THEN {number} - {position[0]} END"),
            (name, f"CASE WHEN {plain} THEN NULL ELSE {here} END"),
        )
        again = f'CAST(p."{name}_by" + {position[1]} AS VARCHAR)'
        return _Column(name, both, f"coalesce({there}, {again})")
    if (table, name) == ("works", "same_as"):
        number = f"(SELECT m.n FROM memory.numbers AS m WHERE m.work = {here})"
        return _Column(name, ((name, number),), "s.work")
    if name == "fingerprint":
        marked = ((name, f"CAST('0x' || {here} AS UBIGINT)"),)
        return _Column(name, marked, f"lower(printf('%016x', {there}))")
    if table == "bar_edges":
        # A character for each bar, since single bytes compress better.
        text = f"array_to_string(list_transform({here}, lambda x: chr(x + 2)), '')"
        shown = f"list_transform(string_split({there}, ''), lambda x: ascii(x) - 2)"
        return _Column(name, ((name, text),), f"CAST({shown} AS {kind})")
    if name == "bands":
        mask = f"list_sum(list_transform({here}, lambda x: CAST(1 AS INTEGER) << (x + 1)))"
        shown = f"list_filter(range(-1, 10), lambda x: ({there} >> (x + 1)) & 1 = 1)"
        return _Column(name, ((name, f"CAST({mask} AS INTEGER)"),), f"CAST({shown} AS {kind})")
    digits = DIGITS.get((table, name), _DIGITS)
    if kind == "DOUBLE":
        rounded = f"CAST(round({here} * {10**digits}) AS INTEGER)"
        return _Column(name, ((name, rounded),), f"{there} / {10.0**digits}")
    if kind == "DOUBLE[]":
        rounded = f"list_transform({here}, lambda x: CAST(round(x * {10**digits}) AS SMALLINT))"
        shown = f"list_transform({there}, lambda x: x / {10.0**digits})"
        return _Column(name, ((name, rounded),), shown)
    return _Column(name, ((name, here),), f"CAST({there} AS {kind})")


# Columns that are told by others of their row: what is stored, what shows it.
_FROM_OTHERS: Mapping[tuple[str, str], tuple[str, str]] = {
    ("stays", "first"): ("t.first - t.played_first", "p.first + p.played_first"),
    ("stays", "last"): (
        "t.last - t.first - t.bars",
        "p.last + p.first + p.played_first + p.bars",
    ),
    ("stays", "played_last"): (
        "t.played_last - t.played_first - t.bars",
        "p.played_last + p.played_first + p.bars",
    ),
    ("events", "played_first"): ("t.played_first - t.position", "p.played_first + p.position"),
    ("events", "played_last"): (
        "t.played_last - t.played_first",
        "p.played_last + p.played_first + p.position",
    ),
}
# Printed numbers of bars, and the positions that they mostly follow: coded, shown.
_LABELS: Mapping[tuple[str, str], tuple[str, str]] = {
    ("stays", "start_bar"): ("t.first", "p.first + p.played_first"),
    ("stays", "end_bar"): ("t.last", "p.last + p.first + p.played_first + p.bars"),
    ("shifts", "bar"): ("t.position", "p.position"),
    ("events", "bar"): ("t.position", "p.position"),
}


def _read(folder: Path, table: str) -> str:
    return f"read_parquet('{_quoted(folder / f'{table}.parquet')}')"


def _quoted(path: Path) -> str:
    return str(path).replace("'", "''")
