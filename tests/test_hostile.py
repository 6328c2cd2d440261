"""Text of scores and of the store that tries to become markup, and SQL that tries to act."""

from __future__ import annotations

import io
import json
import os
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import time
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import duckdb
import lxml.html
import pytest
from conftest import PIECES, Command, command
from lxml import etree
from test_store import VALUES, published

from corpusreg import cli, store
from corpusreg.store import reading
from corpusreg.system.errors import UsageError

# Every piece of markup carries `zz`, which nothing else in a page does.
FRAGMENTS = (
    "<zz-made>",
    "</text></svg><zz-made id=zz>",
    "<img src=x onerror=zz()>",
    "<svg onload=zz()>",
    "<script>zz()</script>",
    "</script><script>zz()</script>",
    "</style><zz-made>",
    "</title></head><body onload=zz()>",
    "--><zz-made><!-- zz",
    "]]><zz-made>",
    '" onmouseover="zz()',
    "' onfocus='zz()",
    '"><zz-made a="b">',
    "&lt;zz-made&gt;",
    "&#60;zz-made&#62;",
    "javascript:zz()",
    "{{ zz }}{% zz %}",
    "<a href='javascript:zz()'>zz</a>",
    "\u2028<zz-made>",
)
_ADDRESSES = {"href", "src", "action", "formaction", "xlink:href", "data", "srcset"}


def marked(chance: random.Random) -> str:
    """Some markup, with a word that stays readable in front."""
    return "zz " + "".join(chance.sample(FRAGMENTS, 3))


def made_by_text(page: str) -> list[str]:
    """Elements, attributes, comments and scripts of a page that came out of text."""
    found = []
    for element in lxml.html.document_fromstring(page).iter():
        text = element.text or ""
        if not isinstance(element.tag, str):
            found += [f"comment {text}"] if "zz" in text else []
            continue
        if "zz" in element.tag:
            found.append(f"element {element.tag}")
        if element.tag in ("script", "style") and "zz" in text:
            data = element.get("type") == "application/json"
            found += [] if data and json.loads(text) else [f"{element.tag} {text[:80]}"]
        for name, value in element.attrib.items():
            if "zz" in name or name.startswith("on"):
                found.append(f"attribute {name}={value[:60]}")
            if name in _ADDRESSES and value.strip().lower().startswith("javascript:"):
                found.append(f"address {value[:60]}")
    return found


@pytest.mark.parametrize("fragment", [f for f in FRAGMENTS if re.search("<(zz|s|img|a )", f)])
def test_the_check_sees_what_is_not_escaped(fragment: str) -> None:
    assert made_by_text(f"<!doctype html><title>a</title><body><p>{fragment}</p>")


@pytest.mark.parametrize("fragment", ['" onmouseover="zz()', "' onfocus='zz()"])
def test_the_check_sees_attributes_that_are_not_escaped(fragment: str) -> None:
    quote = fragment[0]
    assert made_by_text(f"<!doctype html><p title={quote}{fragment}{quote}>a</p>")


def evil_musicxml(target: Path, seed: int) -> Path:
    """A piece for several players with markup in every text and every bar number."""
    chance = random.Random(seed)
    root = etree.parse(PIECES / "three-at-a-table.musicxml").getroot()
    texts = 0
    for element in root.iter():
        if element.tag in ("work-title", "movement-title", "creator", "rights", "software",
                           "part-name", "part-abbreviation", "instrument-name", "text",
                           "words", "rehearsal", "credit-words"):  # fmt: skip
            element.text = marked(chance)
            texts += 1
        if element.tag == "measure":
            element.set("number", marked(chance))
    assert texts >= 5
    # What the piece does not have already.
    for tag in ("movement-title", "movement-number"):
        if root.find(tag) is None:
            root.insert(1, etree.fromstring(f"<{tag}/>"))
            root[1].text = marked(chance)
    for bar in root.iter("measure"):
        direction = etree.fromstring(
            "<direction><direction-type><rehearsal/></direction-type>"
            "<direction-type><words/></direction-type></direction>"
        )
        for element in direction.iter("rehearsal", "words"):
            element.text = marked(chance)
        bar.insert(1, direction)
    for note in root.iter("note"):
        if note.find("pitch") is not None:
            lyric = etree.SubElement(note, "lyric")
            etree.SubElement(lyric, "text").text = marked(chance)
    etree.ElementTree(root).write(target, encoding="utf-8")
    return target


def evil_text(target: Path, seed: int) -> Path:
    """An ABC or kern piece with markup in its headers and texts."""
    chance = random.Random(seed)
    source = PIECES / ("field-path.abc" if target.suffix == ".abc" else "attic-and-cellar.krn")
    lines = source.read_text(encoding="utf-8").splitlines()
    fields = re.compile(r"^([TCOARNSZHBDFGw]:)(?!.*\|)|^(!!![A-Z]+\w*:)")
    changed = [
        f"{found[0]} {marked(chance)}" if (found := fields.match(line)) else line
        for line in lines
    ]
    if target.suffix == ".abc":
        changed[1:1] = [f"{field}: {marked(chance)}" for field in "CORNZ"]
    else:
        changed[:0] = [f"!!!{key}: {marked(chance)}" for key in ("COM", "OTL", "OPR", "YEC")]
    assert changed != lines
    target.write_text("\n".join(changed) + "\n", encoding="utf-8")
    return target


@pytest.fixture(scope="module")
def evil_home(small_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A reference whose texts are all markup: titles, composers, collections, reasons."""
    home = tmp_path_factory.mktemp("evil") / "home"
    shutil.copytree(small_home / "reference", home / "reference")
    path = store.pointed(home / "reference")
    assert path is not None
    chance = random.Random(7)
    with duckdb.connect(str(path)) as base:
        for table, names in {
            "works": ("title", "movement", "composer_name", "statement", "evidence", "lost"),
            "parts": ("name",),
            "corpora": ("title", "statement", "evidence"),
            "stays": ("start_bar", "end_bar"),
            "shifts": ("bar",),
            "events": ("bar",),
        }.items():
            for name in names:
                base.execute(f"UPDATE {table} SET {name} = ?", [marked(chance)])
    return home


@pytest.fixture
def in_evil_home(evil_home: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("CORPUSREG_HOME", str(evil_home))
    return evil_home


def checked(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    assert "zz" in lxml.html.document_fromstring(text).text_content()
    assert made_by_text(text) == []


needs_names = pytest.mark.skipif(
    sys.platform == "win32", reason="Windows allows no < and > in names"
)
EVIL_NAME = "zz<img src=x onerror=zz()>&\"'"


@needs_names
@pytest.mark.parametrize("suffix, seed", [(".musicxml", 1), (".abc", 2), (".krn", 3)])
def test_the_report_escapes_every_text(
    in_evil_home: Path, tmp_path: Path, seed: int, suffix: str
) -> None:
    make = evil_musicxml if suffix == ".musicxml" else evil_text
    piece = make(tmp_path / f"{EVIL_NAME}{suffix}", seed)
    page = tmp_path / "page.html"
    assert cli.main(["compare", str(piece), "--report", str(page)]) == 0
    checked(page)


@needs_names
def test_contrasts_maps_and_examples_escape_every_text(
    in_evil_home: Path, tmp_path: Path
) -> None:
    piece = evil_musicxml(tmp_path / f"{EVIL_NAME}.musicxml", 4)
    pages = [tmp_path / name for name in ("contrast.html", "examples.html", "map.svg")]
    assert cli.main(["contrast", str(piece), "--how", "open", "--report", str(pages[0])]) == 0
    assert cli.main(["examples", "shift", "--count", "2", "--report", str(pages[1])]) == 0
    assert cli.main(["map", str(piece), "--to", str(pages[2])]) == 0
    for page in pages:
        checked(page)


@needs_names
def test_handouts_escape_every_text(in_evil_home: Path, tmp_path: Path) -> None:
    folder = tmp_path / "zz<b>class"
    folder.mkdir()
    evil_musicxml(folder / f"{EVIL_NAME}.musicxml", 5)
    evil_text(folder / "two.abc", 6)
    assert cli.main(["handout", str(folder), "--to", str(tmp_path / "sheets")]) == 0
    pages = list((tmp_path / "sheets").rglob("*.html"))
    assert len(pages) >= 3
    for page in pages:
        checked(page)


# SQL of users beyond the list in test_store

REFUSED = [
    "CREATE SECRET s (TYPE s3)",
    "IMPORT DATABASE 'x'",
    "VACUUM",
    "RESET memory_limit",
    "USE memory",
    "DETACH memory",
    "BEGIN",
    "PREPARE q AS SELECT 1",
    "SET VARIABLE a = 1",
    "ALTER TABLE works RENAME TO w",
    "COMMENT ON TABLE works IS 'x'",
    "CREATE MACRO m() AS 1",
    "MERGE INTO works USING works ON true WHEN MATCHED THEN DELETE",
    "WITH w AS (DELETE FROM works RETURNING *) SELECT * FROM w",
    "EXPLAIN ANALYZE COPY works TO 'out.csv'",
    "EXPLAIN COPY works TO 'out.csv'",
    "EXPLAIN ANALYZE ATTACH 'out.duckdb'",
    "EXPLAIN ANALYZE EXPORT DATABASE 'out'",
    "EXPLAIN ANALYZE INSTALL httpfs",
    "EXPLAIN ANALYZE SET memory_limit = '9GB'",
    "EXPLAIN ANALYZE UPDATE works SET title = ''",
    "SELECT getenv('PATH')",
    "SELECT * FROM duckdb_secrets()",
    "SELECT * FROM parquet_metadata('x.parquet')",
    "SELECT * FROM parquet_schema('x.parquet')",
    "SELECT * FROM read_duckdb('x.duckdb')",
    "SELECT * FROM read_ndjson('/etc/hostname')",
    "SELECT * FROM query_table('/etc/hostname')",
    "SELECT * FROM query('SELECT * FROM read_text(''/etc/hostname'')')",
    "SELECT * FROM 's3://bucket/x.parquet'",
    "SELECT * FROM sqlite_scan('x.db', 't')",
    "SELECT * FROM postgres_scan('host=127.0.0.1', 'public', 't')",
    "SELECT pg_read_file('/etc/hostname')",
    "SELECT * FROM enable_logging()",
    "FROM enable_profiling()",
    # Values of the running program are no tables.
    "SELECT * FROM text",
    "SELECT * FROM params",
    "SELECT * FROM frame",
]


@pytest.fixture(scope="module")
def reference(tmp_path_factory: pytest.TempPathFactory) -> Iterator[store.Reference]:
    with store.Reference(published(tmp_path_factory.mktemp("sql"), VALUES)) as opened:
        yield opened


@pytest.mark.parametrize("text", REFUSED)
def test_sql_only_reads_the_reference(
    reference: store.Reference, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str
) -> None:
    monkeypatch.chdir(tmp_path)
    frame = {"a": [1]}
    with pytest.raises(UsageError) as caught:
        reference.query(text)
    assert "\n" not in str(caught.value)
    assert list(tmp_path.iterdir()) == []
    assert reference.query("SELECT count(*) FROM works").rows == [(3,)]
    assert frame


def test_limits_hold_and_cannot_be_changed(reference: store.Reference) -> None:
    row = reference.query(
        "SELECT current_setting('temp_directory'), current_setting('memory_limit'), "
        "current_setting('enable_external_access'), current_setting('lock_configuration')"
    ).rows[0]
    assert row == ("", "488.2 MiB", False, True)


def test_rows_beyond_all_bounds_are_refused_before_they_fill_memory(
    reference: store.Reference, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading, "_MOST_VALUES", 30_000)
    assert len(reference.query("SELECT range, 1 FROM range(15000)").rows) == 15_000
    with pytest.raises(UsageError, match="gives more than 30,000 values; take fewer"):
        reference.query("SELECT range, 1 FROM range(15001)")


COUNTING = "SELECT count(*) FROM range(30000000000) AS t(i) WHERE hash(i) % 7 = 1"
# Within it the database itself does not look whether it is to stop.
ONE_LONG_CALL = "SELECT levenshtein(repeat('a', 200000), repeat('b', 200000))"


@pytest.mark.skipif(sys.platform == "win32", reason="sends SIGINT to a process")
def test_ctrl_c_ends_a_runaway_query(tmp_path: Path) -> None:
    published(tmp_path, VALUES)
    (tmp_path / "runaway.sql").write_text(ONE_LONG_CALL, encoding="utf-8")
    # A process started in the background of a shell ignores interrupts. The wrapper says
    # when the statement is about to run.
    code = (
        "import signal, sys; signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "from corpusreg import cli\nfrom corpusreg.system import isolate\n"
        "inner = isolate.call\n"
        "def told(*given):\n    print('runs', flush=True)\n    return inner(*given)\n"
        "isolate.call = told\n"
        f"sys.exit(cli.main(['query', {str(tmp_path / 'runaway.sql')!r}]))"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"CORPUSREG_HOME": str(tmp_path)},
    ) as query:
        assert query.stdout is not None
        assert query.stdout.readline() == "runs\n"
        time.sleep(0.3)
        assert query.poll() is None
        query.send_signal(signal.SIGINT)
        # Left alone it runs for minutes or for ever. It ends within a second on an idle
        # machine; a busy one is no fault of the query's.
        _, err = query.communicate(timeout=60)
    assert query.returncode == 130
    assert "stopped" in err and "Traceback" not in err


# What the database's own limit of memory does not count.
HUNGRY = {
    "a list": "SELECT list_aggregate(range(400000000), 'sum')",
    "a text": "SELECT repeat('a', 2000000000)",
    "texts that grow": "WITH RECURSIVE r AS (SELECT 'a' AS s UNION ALL SELECT s || s FROM r) "
    "SELECT max(length(s)) FROM r",
    "many texts": "SELECT repeat('a', 1000000) FROM range(1000)",
}


@pytest.mark.parametrize("text", HUNGRY.values(), ids=HUNGRY)
def test_a_query_of_the_users_own_is_bounded_in_memory(tmp_path: Path, text: str) -> None:
    published(tmp_path, VALUES)
    (tmp_path / "hungry.sql").write_text(text, encoding="utf-8")
    done = command(["query", tmp_path / "hungry.sql"], {"CORPUSREG_HOME": str(tmp_path)})
    assert done.returncode and not done.stdout
    (line,) = done.stderr.splitlines()
    assert line.startswith("corpusreg: query: ")
    # Kilobytes, of the largest child of this process so far, and its children.
    assert resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss < 2_100_000


def test_a_query_of_the_users_own_is_bounded_in_time(
    reference: store.Reference, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading, "_APART", replace(reading._APART, cpu_seconds=2))
    assert reference.query_apart("SELECT $a + 1", {"a": 1}).rows == [(2,)]
    with pytest.raises(UsageError, match="query: takes more than 2 s of computing"):
        reference.query_apart(COUNTING)


# Archives


@pytest.mark.parametrize("name", ["../outside.xml", "/tmp/zz-outside.xml", "a/../../out.xml"])
def test_names_in_an_archive_are_never_written_to(
    run: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    inside = tmp_path / "inside"
    inside.mkdir()
    score = (PIECES / "stairs.musicxml").read_text(encoding="utf-8")
    with zipfile.ZipFile(inside / "piece.mxl", "w") as archive:
        archive.writestr(name, score)
        archive.writestr(
            "META-INF/container.xml",
            f'<container><rootfiles><rootfile full-path="{name}"/></rootfiles></container>',
        )
    monkeypatch.chdir(inside)
    done = run("compare", inside / "piece.mxl")
    assert done.returncode == 0, done.stderr
    assert "Stairs" in done.stdout
    assert [path.name for path in tmp_path.rglob("*")] == ["inside", "piece.mxl"]
    assert not Path("/tmp/zz-outside.xml").exists()


def test_the_room_escapes_names_and_titles(in_evil_home: Path, tmp_path: Path) -> None:
    from corpusreg.room.app import room
    from corpusreg.room.desk import Desk

    piece = evil_musicxml(tmp_path / "piece.musicxml", 8).read_bytes()
    name = EVIL_NAME.partition("&")[0]  # quotes end a name in the header of a form
    here = "http://127.0.0.1:8765"
    with Desk() as desk:
        client = room(desk, 8765).test_client()
        token = re.search(r'name="token" value="([^"]+)"', client.get("/", base_url=here).text)
        assert token
        scores = [(io.BytesIO(piece), f"{name}.musicxml"), (io.BytesIO(b"zz"), f"{name}.abc")]
        given = client.post(
            "/scores", base_url=here, data={"token": token[1], "scores": scores}
        )
        assert given.status_code == 303, given.text
        address = given.headers["Location"]
        while desk.piles[address.rpartition("/")[2]].doing:
            time.sleep(0.05)
        page = tmp_path / "room.html"
        page.write_text(client.get(address, base_url=here).text, encoding="utf-8")
    checked(page)
