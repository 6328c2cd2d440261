"""What a build costs, stage by stage, and how it grows: `python tests/benchmarks/suite.py`.

Prints a table and writes results/suite.json, all from one run:

- stages: milliseconds of processor time a file and notes a second for reading, measuring,
  writing shards and publishing, by format, on a sample of the bundled scores;
- ratios of the same files, in interleaved pairs, the median of them: reading and measuring
  against the floor (unzip and parse with lxml), against plain music21 (parse, lowest and
  highest pitch) and against lytk's nested lists of notes; publishing against a scan of the
  same rows by DuckDB;
- two workers against one, the largest process, times of commands (from pipeline.py);
- growth: publishing 1,000, 5,000 and 15,000 works, which are copies of the bundled works
  under other names and with other fingerprints; cost a work must not grow.

    --million     the same with 1,000,000 works, copies of the shortest ones: publish, size,
                  memory, then `compare`, `table` and every query (half an hour, 6 GB)
    --corpora     all of ../shared/corpora in one `extract`, where that folder exists
    --only        some parts; the others keep their figures

Processor time leaves out what else the machine does; wall time does not.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import tempfile
import time
import zipfile
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

import pipeline
from lxml import etree
from pipeline import command, default_files, run

from corpusreg import store
from corpusreg.building.extract import EXTRACTION_VERSION, extract_file
from corpusreg.building.finish import finishing
from corpusreg.corpus.catalogue import SourceFile
from corpusreg.measures import definitions
from corpusreg.score.readers import read_file
from corpusreg.store import door, sql
from corpusreg.store.shards import _Label, file_hash
from corpusreg.store.tables import EXTRACTED, Rows
from corpusreg.system.errors import CorpusregError

RESULTS = Path(__file__).parent / "results" / "suite.json"
CORPORA = Path(__file__).parents[3] / "shared" / "corpora"
PIECE = Path(__file__).parents[2] / "demo" / "pieces" / "stairs.musicxml"
RECIPE = store.Recipe(definitions.VERSION, EXTRACTION_VERSION)
TIERS = ("open", "permitted")
_CHUNK = 1000  # works in a generated shard
_FORMATS = ("musicxml", "kern", "abc")
Figures = dict[str, Any]


def cpu(call: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds of processor time of a call, and its result."""
    began = time.process_time()
    result = call()
    return time.process_time() - began, result


def floor(path: Path) -> Any:
    """The least that must be done: unzip and parse."""
    data = path.read_bytes()
    if data[:2] == b"PK":
        with zipfile.ZipFile(path) as archive:
            scores = [n for n in archive.namelist() if n.endswith((".xml", ".musicxml"))]
            name = next(n for n in scores if not n.startswith("META-INF"))
            data = archive.read(name)
    return etree.fromstring(data)


def music21(path: Path) -> Any:
    """Plain music21: parse, lowest and highest pitch."""
    import music21

    found = music21.converter.parse(path, forceSource=True)
    pitches = [pitch.ps for pitch in found.flatten().pitches]
    return min(pitches), max(pitches)


def lytk(path: Path) -> Any:
    """A library of notes as nested lists and tables."""
    import lytk

    return lytk.from_musicxml(str(path)).to_dict()


def stages(count: int) -> Figures:
    """Processor time of reading, measuring, writing and publishing, by format."""
    found: Figures = {}
    for kind in _FORMATS:
        files = pipeline.spread([f for f in default_files() if f.format == kind], count)
        with tempfile.TemporaryDirectory() as name:
            found[kind] = _stages(files, Path(name))
    return found


def _stages(files: list[SourceFile], folder: Path) -> Figures:
    extract_file(files[0])
    read = sum(cpu(lambda f=file: read_file(f.path))[0] for file in files)
    both, rows = cpu(lambda: [extract_file(file) for file in files])
    shards = store.Shards(folder / "shards", RECIPE)

    def write() -> None:
        for file, part in zip(files, rows, strict=True):
            shards.add(file.corpus, file.relative, "", part)
        shards.flush()

    written, _ = cpu(write)
    wanted = [(file.corpus, file.relative, "") for file in files]
    published, _ = cpu(lambda: _publish(shards, wanted, folder / "reference"))
    scanned, _ = cpu(lambda: _scan(shards))
    notes, works = _notes(rows)
    spent = {"read": read, "measure": both - read, "write": written, "publish": published}
    return {
        "files": len(files),
        "works": works,
        "notes": notes,
        "shard_megabytes_per_1000_works": _megabytes(folder / "shards") * 1000 / works,
        "milliseconds_a_file": {name: 1000 * s / len(files) for name, s in spent.items()},
        "notes_a_second": {name: notes / s for name, s in spent.items()},
        "publish_over_scan": published / scanned,
    }


def _notes(rows: list[Rows]) -> tuple[int, int]:
    works = [work for part in rows for work in part.get("works", [])]
    at = list(store.columns("works")).index("notes")
    return sum(work[at] for work in works), len(works)


def _publish(shards: store.Shards, wanted: list[tuple[str, str, str]], folder: Path) -> Path:
    return store.publish(shards, wanted, folder=folder, finish=finishing(TIERS))


def _scan(shards: store.Shards) -> None:
    """Every value of the same rows read once by DuckDB."""
    connection = door.working()
    for table in EXTRACTED:
        if files := shards.table_files(table):
            connection.execute(
                "SELECT bit_xor(hash(t)) FROM read_parquet($files) AS t", {"files": files}
            ).fetchall()


def ratios(count: int, slow: int) -> Figures:
    """Medians of ratios in interleaved pairs over MusicXML files."""
    files = pipeline.spread([f for f in default_files() if f.format == "musicxml"], count)
    for warm in (floor, lytk, music21):
        warm(files[0].path)
    pairs: dict[str, list[float]] = defaultdict(list)
    for number, file in enumerate(files):
        ours, _ = cpu(lambda f=file: extract_file(f))
        read, _ = cpu(lambda f=file: read_file(f.path))
        least, _ = cpu(lambda f=file: floor(f.path))
        table, _ = cpu(lambda f=file: lytk(f.path))
        pairs["extract_over_floor"].append(ours / least)
        pairs["read_over_floor"].append(read / least)
        pairs["read_over_lytk"].append(read / table)
        if number < slow:
            parsed, _ = cpu(lambda f=file: music21(f.path))
            pairs["music21_over_read"].append(parsed / read)
            pairs["music21_over_extract"].append(parsed / ours)
    return {"files": count, "files_by_music21": slow} | {
        name: statistics.median(values) for name, values in pairs.items()
    }


def whole(folder: Path) -> Figures:
    """Build, workers, commands; see pipeline.py."""
    return (
        pipeline.whole_corpus(folder)
        | pipeline.workers(folder, 3)
        | pipeline.commands(folder)
        | {"partitura": "not installed, left out"}
    )


class Copies:
    """Shards of many works: copies of the works of a real build under other names."""

    def __init__(self, base: Path, works: int, shortest: bool) -> None:
        """Take `works` of the works whose shards are at `base`."""
        self._base = door.working()
        source = store.Shards(base, RECIPE)
        order = "notes, work" if shortest else "hash(work)"
        for table in EXTRACTED:
            files = source.table_files(table)
            if table == "failures" or not files:
                continue
            by = "SEMI JOIN taken USING (work)" if table != "works" else ""
            last = f"ORDER BY {order} LIMIT {works}" if table == "works" else ""
            self._base.execute(
                f"CREATE TABLE {table} AS SELECT * FROM read_parquet($files) {by} {last}",
                {"files": files},
            )
            if table == "works":
                # A file is in one shard, with all its works.
                self._base.execute(
                    "CREATE TABLE taken AS WITH files AS (SELECT path, count(*) AS works "
                    "FROM works GROUP BY path), placed AS (SELECT path, (sum(works) OVER "
                    f"(ORDER BY path) - 1) // {_CHUNK} AS chunk FROM files) "
                    "SELECT work, chunk FROM works JOIN placed USING (path)"
                )
        self.chunks = -(-works // _CHUNK)
        self._tables = [row[0] for row in self._base.execute("SHOW TABLES").fetchall()]

    def write(self, folder: Path, count: int) -> list[tuple[str, str, str]]:
        """Write shards of `count` chunks of works; returns their files."""
        shards = store.Shards(folder, RECIPE)
        found: list[tuple[str, str, str]] = []
        for number in range(count):
            copy, chunk = divmod(number, self.chunks)
            files = self._files(copy, chunk)
            name = f"{number:032x}"
            hashes = self._write_tables(folder / name, name, copy, chunk)
            marked = tuple((*file, True) for file in files)
            # By hand, since the rows never come into Python, as `Shards.add` would need.
            shards._write_label(_Label(name, RECIPE.key, number + 1, hashes, marked))
            found += files
        return found

    def _files(self, copy: int, chunk: int) -> list[tuple[str, str, str]]:
        rows = self._base.execute(
            f"SELECT DISTINCT 'copy{copy}', path, content FROM works JOIN taken USING (work) "
            f"WHERE chunk = {chunk} ORDER BY ALL"
        ).fetchall()
        return [(corpus, path, content) for corpus, path, content in rows]

    def _write_tables(self, target: Path, name: str, copy: int, chunk: int) -> dict[str, str]:
        target.mkdir()
        hashes = {}
        for table in EXTRACTED:
            if table not in self._tables:
                continue
            other = f"'copy{copy}' || substr(work, instr(work, ':')) AS work, '{name}' AS shard"
            if table == "works":
                other += f", 'copy{copy}' AS corpus, fingerprint || {copy} AS fingerprint"
            if table == "shingles":
                other += f", hash(shingle, {copy}) AS shingle"
            path = target / f"{table}.parquet"
            self._base.execute(
                f"COPY (SELECT * REPLACE ({other}) FROM {table} WHERE work IN "
                f"(SELECT work FROM taken WHERE chunk = {chunk})) TO '{path}' "
                "(FORMAT parquet, COMPRESSION zstd)"
            )
            hashes[table] = file_hash(path)
        return hashes


def grown(base: Path, folder: Path, works: int, shortest: bool) -> Figures:
    """Publish so many works: wall and processor time, sizes."""
    taken = min(works, 1000 if shortest else 5000)
    copies = Copies(base, taken, shortest)
    files = copies.write(folder / "shards", works // _CHUNK)
    # In a process of its own, so that its memory can be told.
    code = (
        "import json, sys, time; sys.path.insert(0, sys.argv[1]); import suite\n"
        "from pathlib import Path; folder = Path(sys.argv[2])\n"
        "files = [tuple(f) for f in json.loads((folder / 'files.json').read_text())]\n"
        "began, used = time.perf_counter(), time.process_time()\n"
        "shards = suite.store.Shards(folder / 'shards', suite.RECIPE)\n"
        "opened = time.perf_counter() - began\n"
        "suite._publish(shards, files, folder / 'reference')\n"
        "told = opened, time.perf_counter() - began, time.process_time() - used\n"
        "(folder / 'told.json').write_text(json.dumps(told))"
    )
    (folder / "files.json").write_text(json.dumps(files))
    own = str(Path(__file__).parent)
    _, peak, _ = run([sys.executable, "-c", code, own, str(folder)], folder)
    opened, wall, used = json.loads((folder / "told.json").read_text())
    with store.open_reference(folder / "reference") as reference:
        count = reference.works
    return {
        "works": count,
        "shard_megabytes": _megabytes(folder / "shards"),
        "reference_megabytes": _megabytes(folder / "reference"),
        "open_shards_seconds": opened,
        "publish_seconds": wall,
        "publish_cpu_seconds": used,
        "cpu_milliseconds_a_work": 1000 * used / count,
        "peak_megabytes": peak,
    }


def growth(base: Path, folder: Path) -> Figures:
    """Publishing 1,000, 5,000 and 15,000 works."""
    found = {}
    for works in (1000, 5000, 15_000):
        target = folder / str(works)
        target.mkdir()
        found[str(works)] = grown(base, target, works, False)
    return found


def million(base: Path, folder: Path, works: int) -> Figures:
    """A million works: publish, then what people ask of it, process start to end."""
    target = folder / "million"
    target.mkdir()
    found = grown(base, target, works, True)
    asked = {
        "compare": command("compare", str(PIECE)),
        "table": command("table", "span", "--by", "period"),
        "check": command("check"),
    }
    for name, words in asked.items():
        found[f"{name}_seconds"], found[f"{name}_megabytes"], _ = run(words, target)
    found["query_seconds"] = {}
    with store.open_reference(target / "reference") as reference:
        for query in sql.listed():
            began = time.perf_counter()
            try:
                reference.query(query.text, query.values({}))
                found["query_seconds"][query.name] = time.perf_counter() - began
            except CorpusregError as error:
                found["query_seconds"][query.name] = str(error)
    return found


def open_corpora(folder: Path) -> Figures:
    """All of ../shared/corpora in one run."""
    folders = [str(path) for path in sorted(CORPORA.iterdir()) if path.is_dir()]
    seconds, peak, _ = run(command("extract", *folders, "--workers", "2"), folder / "open")
    _, _, printed = run(command("check", "--json"), folder / "open", "")
    counts = json.loads(printed)["counts"]
    return {"seconds": seconds, "peak_megabytes": peak} | counts


def _megabytes(folder: Path) -> float:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file()) / 1e6


def rounded(value: Any) -> Any:
    """Figures with four digits that count."""
    if isinstance(value, dict):
        return {name: rounded(part) for name, part in value.items()}
    return float(f"{value:.4g}") if isinstance(value, float) else value


def show(figures: Figures, indent: str = "") -> None:
    """A table of nested figures."""
    for name, value in figures.items():
        if isinstance(value, dict):
            print(f"{indent}{name}")
            show(value, indent + "  ")
        else:
            print(f"{indent}{name:<{40 - len(indent)}} {value}")


def main() -> None:
    """Measure, print and keep."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parts = ("stages", "ratios", "whole", "growth")
    parser.add_argument("--only", nargs="*", choices=parts, default=list(parts))
    parser.add_argument("--sample", type=int, default=150, help="files of each format")
    parser.add_argument("--music21", type=int, default=25, help="files given to music21")
    parser.add_argument("--million", type=int, nargs="?", const=1_000_000, metavar="WORKS")
    parser.add_argument("--corpora", action="store_true")
    options = parser.parse_args()
    kept: Figures = json.loads(RESULTS.read_text()) if RESULTS.exists() else {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        base = folder / "home" / "shards"
        jobs: dict[str, Callable[[], Figures]] = {
            "stages": lambda: stages(options.sample),
            "ratios": lambda: ratios(options.sample, options.music21),
            "whole": lambda: whole(folder),
            "growth": lambda: growth(base, folder),
        }
        jobs = {name: job for name, job in jobs.items() if name in options.only}
        if options.million:
            jobs["million"] = lambda: million(base, folder, options.million)
        if options.corpora and CORPORA.is_dir():
            jobs["corpora"] = lambda: open_corpora(folder)
        if "whole" not in jobs and {"growth", "million"} & jobs.keys():
            run(command("extract", "--workers", "2"), folder / "home")
        for name, job in jobs.items():
            kept[name] = rounded(job())
            show({name: kept[name]})
            RESULTS.write_text(json.dumps(kept, indent=1) + "\n")


if __name__ == "__main__":
    main()
