"""Open corpora: time, and what is known of them. `python tests/benchmarks/corpora.py`.

`--lilypond` also reads the pieces of the LilyPond library, which takes LilyPond an hour.

Reads the development corpora in ../shared/corpora, each by the layout of its entry in the
catalogue, in a home of its own. Prints and writes results/corpora.json:

- seconds to measure the songs with two workers, to publish them, and to add them again
  unchanged; seconds of computing of all processes, which other work hardly changes; how
  many processes wanted the computer's cores in the minute before;
- share of files that were read, and each that was not, with its reason;
- works with a named composer: share joined by the authority table, share with a date, and
  each composer without one. Named is whom the credit names: a family name alone counts;
  'Anonymous', a tradition, nation, book, collector or arranger does not (their credits are
  in the list 'nobody'). A date is a year, or a range, of the work or of the composer's life
  or activity; the century of a manuscript is none;
- share of works whose ensemble was recognised;
- counts and metadata against the corpora's own tables;
- bars, notes, lowest and highest pitch of the works in tests/data/known_works.csv;
- seconds to list a folder of 50,000 files.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import resource
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from write_known_works import CORPORA, place_of, rows

import corpusreg
from corpusreg.corpus.authority import is_anonymous, resolve
from corpusreg.corpus.corpora import Added, allowed, listed, remember
from corpusreg.corpus.licences import read_head
from corpusreg.store import open_reference

RESULTS = Path(__file__).parent / "results" / "corpora.json"
FOLDERS = {
    "songs": "songs-dev",
    "quartets": "quartets-sample",
    "orchestra": "orchestra-sample",
    "heritage": "kern-dev",
    "hymns": "hymns-sample",
    "library": "lilypond-dev",
}
MANY = 50_000
KNOWN = """
SELECT corpus, count(*) AS works,
    count(*) FILTER (composer_name IS NOT NULL) AS named,
    count(*) FILTER (composer IS NOT NULL) AS joined,
    count(*) FILTER (
        composer_name IS NOT NULL
        AND coalesce(born, died, year_from, year_to) IS NOT NULL
    ) AS dated,
    count(*) FILTER (ensemble NOT LIKE '%unnamed%') AS ensembles
FROM works GROUP BY corpus ORDER BY corpus
"""
UNDATED = """
SELECT corpus, composer_name, count(*) AS works FROM works
WHERE composer_name IS NOT NULL AND coalesce(born, died, year_from, year_to) IS NULL
GROUP BY ALL ORDER BY works DESC, composer_name
"""


def main() -> None:
    """Measure, print, write."""
    if not CORPORA.is_dir():
        raise SystemExit(f"{CORPORA} is not there; nothing to measure")
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--lilypond", action="store_true", help="read the LilyPond pieces too")
    names = [*FOLDERS] if parser.parse_args().lilypond else [*FOLDERS][:-1]
    found: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as home:
        os.environ["CORPUSREG_HOME"] = home
        found["songs"] = songs()
        found["corpora"] = all_corpora(names)
        found["songs_against_their_tables"] = against_tables()
    found["lilypond_headers"] = headers()
    found["known_works"] = known_works()
    found["listing_50000_seconds"] = listing()
    text = json.dumps(found, indent=1, ensure_ascii=False)
    print(text)
    RESULTS.write_text(text + "\n", encoding="utf-8")


def computing() -> float:
    """Seconds of computing of this process and of its children that have ended."""
    kinds = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return sum(sum(resource.getrusage(kind)[:2]) for kind in kinds)


def songs() -> dict[str, float]:
    """The songs alone: measured and published, then once more unchanged."""
    remember(Added("songs", CORPORA / FOLDERS["songs"]))
    load = os.getloadavg()[0]
    began, used = time.perf_counter(), computing()
    ends: list[float] = []
    corpusreg.extract(
        ["songs"], workers=2, on_progress=lambda _: ends.append(time.perf_counter())
    )
    done = time.perf_counter()
    spent = computing() - used
    corpusreg.add_corpus(CORPORA / FOLDERS["songs"], "songs", workers=2)
    unchanged = time.perf_counter()
    assert corpusreg.add_corpus(CORPORA / FOLDERS["songs"], "songs").built is None
    return {
        "measuring_seconds": round(ends[-1] - began, 2),
        "publishing_seconds": round(done - ends[-1], 2),
        "computing_seconds": round(spent, 2),
        "unchanged_seconds": round(time.perf_counter() - unchanged, 2),
        "load_before": round(load, 2),
    }


def all_corpora(names: list[str]) -> dict[str, Any]:
    """Some corpora in one reference."""
    for name in names:
        remember(Added(name, CORPORA / FOLDERS[name]))
    built = corpusreg.extract(names, workers=2)
    with open_reference() as reference:
        table = reference.query(KNOWN)
        undated = reference.query(UNDATED).rows
        failures = reference.query(
            "SELECT corpus, path, reason FROM failures ORDER BY ALL"
        ).rows
        files = reference.query("SELECT count(DISTINCT (corpus, path)) FROM works").rows[0][0]
    by_corpus = {row[0]: dict(zip(table.names[1:], row[1:], strict=True)) for row in table.rows}
    total = {name: sum(row[name] for row in by_corpus.values()) for name in table.names[1:]}
    return {
        "by_corpus": by_corpus,
        "share_of_files_read": round(files / (files + len({f[:2] for f in failures})), 4),
        "failures": failures,
        "share_joined": round(total["joined"] / total["named"], 4),
        "share_dated": round(total["dated"] / total["named"], 4),
        "undated": undated,
        "nobody": nobody(names),
        "share_dated_songs": by_corpus["songs"]["dated"] / by_corpus["songs"]["named"],
        "share_of_ensembles": round(total["ensembles"] / total["works"], 4),
        "left_out": built.left_out,
    }


def nobody(names: list[str]) -> dict[str, int]:
    """Credits that name no person, with the number of files that have them."""
    credits: Counter[str] = Counter()
    for name in names:
        for file in listed(Added(name, CORPORA / FOLDERS[name])).files:
            told = dict(file.known).get("composer")
            credits[told or read_head(file.path, file.format).composer] += 1
    return {text: count for text, count in sorted(credits.items()) if is_anonymous(text)}


def against_tables() -> dict[str, int]:
    """Songs whose title, composer's dates or set differ from the corpus's own tables."""
    root = CORPORA / FOLDERS["songs"]

    def table(name: str) -> dict[str, dict[str, str]]:
        with (root / "data" / name).open(encoding="utf-8", newline="") as stream:
            read = csv.DictReader(stream, delimiter="\t", quoting=csv.QUOTE_NONE)
            return {row["id"]: row for row in read}

    scores, sets, composers = map(table, ("scores.tsv", "sets.tsv", "composers.tsv"))
    with open_reference() as reference:
        works = reference.query(
            "SELECT w.path, w.title, w.born, w.died, c.value FROM works AS w "
            "LEFT JOIN work_columns AS c ON c.work = w.work AND c.name = 'set' "
            "WHERE corpus = 'songs'"
        ).rows
    counts = {"works": len(works), "listed": 0, "title": 0, "dates": 0, "set": 0}
    for path, title, born, died, group in works:
        # Joined by id, and not by path as corpusreg does.
        score = scores.get(Path(path).stem.removeprefix("lc"))
        if score is None:
            continue
        counts["listed"] += 1
        own = sets[score["set_id"]]
        composer = composers[own["composer_id"]]
        years = tuple(int(composer[end]) if composer[end] else None for end in ("born", "died"))
        counts["title"] += title != score["name"]
        counts["set"] += group != own["name"]
        counts["dates"] += (born, died) != years
    return counts


def headers() -> dict[str, Any]:
    """What the headers of the LilyPond library say."""
    corpus = Added("library", CORPORA / FOLDERS["library"])
    began = time.perf_counter()
    listing = listed(corpus)
    seconds = time.perf_counter() - began
    kept, refused = allowed(corpus.entry, listing.files)
    names = [dict(file.known).get("composer", "") for file in kept]
    named = [name for name in names if not is_anonymous(name)]
    bach = {name for name in named if (who := resolve(name)) and who.id.endswith("-sebastian")}
    return {
        "pieces": len(kept),
        "left_out": dict(listing.left_out + refused),
        "seconds": round(seconds, 2),
        "named": len(named),
        "joined": sum(resolve(name) is not None for name in named),
        "spellings_of_one_composer": len(bach),
    }


def known_works() -> dict[str, Any]:
    """Works whose bars, notes and range are those that music21 counted."""
    from test_corpora_known import own_counts

    wrong, there = [], 0
    for row in rows():
        path = place_of(row["corpus"], row["path"])
        if path.exists():
            there += 1
            mine = own_counts(path, row["number"])
            expected = tuple(int(row[name]) for name in ("bars", "notes", "lowest", "highest"))
            if mine != expected:
                wrong.append([row["path"], list(expected), list(mine)])
    return {"checked": there, "wrong": wrong}


def listing() -> float:
    """Seconds to list many small files."""
    with tempfile.TemporaryDirectory() as folder:
        for place in range(50):
            below = Path(folder) / f"{place:02}"
            below.mkdir()
            for number in range(MANY // 50):
                (below / f"{number:04}.abc").touch()
        began = time.perf_counter()
        found = listed(Added("many", Path(folder)))
        assert len(found.files) == MANY
        return round(time.perf_counter() - began, 2)


if __name__ == "__main__":
    main()
