"""Bad input to the real command: one plain line each, the reference untouched."""

from __future__ import annotations

import io
import json
import os
import shutil
import stat
import subprocess
import sys
import tempfile
import unicodedata
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from conftest import PIECES, ROOT, Command, command
from jsonschema import Draft202012Validator

NOBODY = 65534
STAIRS = PIECES / "stairs.musicxml"

HEAD = '<?xml version="1.0"?><score-partwise version="4.0"><part-list>{parts}</part-list>'
PART = '<score-part id="P{n}"><part-name>{name}</part-name></score-part>'
TIME = (
    "<attributes><divisions>1</divisions>"
    "<time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
)
WHOLE = (
    "<note><pitch><step>{step}</step><octave>{octave}</octave></pitch>"
    "<duration>4</duration></note>"
)
REST = "<note><rest/><duration>4</duration></note>"
DRUM = (
    "<note><unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched>"
    "<duration>4</duration></note>"
)


def score(bars: int, body: str, parts: int = 1) -> str:
    """MusicXML of equal parts whose bars all hold `body`."""
    listed = "".join(PART.format(n=n, name=f"Part {n}") for n in range(1, parts + 1))
    text = HEAD.format(parts=listed)
    for part in range(1, parts + 1):
        text += f'<part id="P{part}">'
        for bar in range(1, bars + 1):
            text += f'<measure number="{bar}">{TIME if bar == 1 else ""}{body}</measure>'
        text += "</part>"
    return text + "</score-partwise>"


def swollen() -> bytes:
    """A small .mxl whose score grows to 300 MB."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        body = WHOLE.format(step="C", octave=4)
        head, tail = score(4, body).split("</part>")
        with archive.open("score.xml", "w") as member:
            member.write(head.encode())
            for _ in range(300):
                member.write(b"\n" * 1_000_000 + b"<!-- . -->")
            member.write(f"</part>{tail}".encode())
    return target.getvalue()


BOMB = (
    '<?xml version="1.0"?><!DOCTYPE score-partwise ['
    '<!ENTITY a "aaaaaaaaaaaaaaaa">'
    + "".join(
        f'<!ENTITY {b} "{f"&{a};" * 16}">' for a, b in zip("abcdefg", "bcdefgh", strict=True)
    )
    + "]><score-partwise><part-list>&h;</part-list></score-partwise>"
)
SECRET = (
    '<?xml version="1.0"?><!DOCTYPE score-partwise [<!ENTITY x SYSTEM "file:///etc/passwd">]>'
    "<score-partwise><work><work-title>&x;</work-title></work></score-partwise>"
)

BAD: dict[str, tuple[str, bytes | str, str]] = {
    "empty file": ("empty.musicxml", b"", "empty"),
    "empty archive": ("empty.mxl", b"", "empty"),
    "truncated XML": ("half.musicxml", STAIRS.read_bytes()[:20_000], ""),
    "a page, not a score": ("page.xml", "<html><body>hello</body></html>", ""),
    "wrong extension, no score": ("photo.musicxml", b"\x89PNG\r\n\x1a\n" + bytes(200), ""),
    "unknown extension": ("letter.docx", "Dear class,", "not a score"),
    "damaged archive": ("broken.mxl", b"PK\x03\x04" + bytes(100), "archive"),
    "zip bomb": ("bomb.mxl", swollen(), ""),
    "entity expansion": ("laughs.musicxml", BOMB, ""),
    "outside entity": ("outside.musicxml", SECRET, ""),
    "no notes": ("rests.musicxml", score(8, REST), "notes"),
    "only percussion": ("drums.musicxml", score(8, DRUM), "percussion"),
    "cut-off MIDI": ("cut.mid", b"MThd\x00\x00\x00\x06\x00\x01", ""),
    "kern without notes": ("empty.krn", "**kern\n*-\n", "notes"),
}


def state(home: Path) -> dict[str, tuple[int, int]]:
    """Size and time of change of every file of a home's reference."""
    return {
        str(path.relative_to(home)): (path.stat().st_size, path.stat().st_mtime_ns)
        for path in sorted((home / "reference").rglob("*"))
    }


def one_line(done: subprocess.CompletedProcess[str]) -> str:
    """The error of a failed command, after checking that it is one plain line."""
    assert done.returncode != 0
    assert "Traceback" not in done.stderr
    lines = done.stderr.splitlines()
    assert len(lines) == 1, done.stderr
    assert lines[0].startswith("corpusreg: ")
    return lines[0]


def write(folder: Path, name: str, content: bytes | str) -> Path:
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


@pytest.fixture(scope="module")
def schema() -> Draft202012Validator:
    path = ROOT / "corpusreg" / "data" / "comparison.schema.json"
    loaded = json.loads(path.read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(loaded)
    return Draft202012Validator(loaded)


@pytest.mark.parametrize("case", BAD)
def test_one_line_and_an_exit_code(
    case: str, run: Command, small_home: Path, tmp_path: Path
) -> None:
    name, content, said = BAD[case]
    before = state(small_home)
    done = run("compare", write(tmp_path, name, content))
    line = one_line(done)
    assert name in line
    assert said in line
    assert "root:" not in line  # nothing of an outside file
    assert done.stdout == ""
    assert state(small_home) == before


def test_a_wide_terminal_and_a_narrow_one_get_the_same_line(
    run: Command, tmp_path: Path
) -> None:
    path = write(tmp_path, "a-rather-long-name-for-a-score" * 5 + ".musicxml", b"")
    wide = run("compare", path, env={"COLUMNS": "400"})
    narrow = run("compare", path, env={"COLUMNS": "20"})
    assert one_line(wide) == one_line(narrow)


def test_bad_files_beside_a_good_one_are_told_and_stop_nothing(
    run: Command, tmp_path: Path, schema: Draft202012Validator
) -> None:
    paths = [write(tmp_path, name, content) for name, content, _ in BAD.values()]
    done = run("compare", "--json", *paths, STAIRS)
    found = json.loads(done.stdout)
    schema.validate(found)
    assert [work["piece"]["title"] for work in found["works"]] == ["Stairs"]
    assert len(found["failures"]) == len(paths)
    assert all("\n" not in failure for failure in found["failures"])
    assert done.returncode == 1
    assert len(done.stderr.splitlines()) == len(paths)


def test_only_bad_files_as_json(
    run: Command, tmp_path: Path, schema: Draft202012Validator
) -> None:
    done = run("compare", "--json", write(tmp_path, "empty.mxl", b""))
    found = json.loads(done.stdout)
    schema.validate(found)
    assert found["works"] == []
    assert done.returncode == 1


def test_one_bar(run: Command, tmp_path: Path) -> None:
    path = write(tmp_path, "one-bar.musicxml", score(1, WHOLE.format(step="C", octave=4)))
    done = run("compare", "--full", path)
    assert done.returncode == 0
    assert "too short to" in done.stdout
    assert done.stdout.startswith("one-bar, solo melody, 1 bar, C4\n")


def test_thirty_parts(run: Command, tmp_path: Path, schema: Draft202012Validator) -> None:
    path = write(tmp_path, "thirty.musicxml", score(20, WHOLE.format(step="G", octave=3), 30))
    done = run("compare", "--json", path)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    schema.validate(found)
    assert len(found["works"][0]["piece"]["parts"]) == 30


@pytest.mark.parametrize("octave", [-3, 12, 99])
def test_notes_outside_midi_are_refused_or_counted(
    octave: int, run: Command, tmp_path: Path
) -> None:
    body = WHOLE.format(step="C", octave=4)
    text = score(20, body).replace("<octave>4</octave>", f"<octave>{octave}</octave>", 3)
    path = write(tmp_path, "outside.musicxml", text)
    done = run("compare", path)
    assert "Traceback" not in done.stderr
    if done.returncode:
        assert "outside.musicxml" in one_line(done)
    else:
        told = "3 places in this file could not be read"
        assert f"{told}; --full says why.\n" in done.stdout
        assert f"{told}: " in run("compare", "--full", path).stdout
        assert f"{path}: {told}.\n" in run("compare", path, PIECES / "stairs.musicxml").stdout
        assert "20 bars, C4\n" in done.stdout


def test_a_folder_of_a_thousand_other_files(
    run: Command, small_home: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "photos"
    folder.mkdir()
    for number in range(1000):
        (folder / f"{number}.jpg").write_bytes(b"\xff\xd8\xff")
    before = state(small_home)
    assert "no scores" in one_line(run("compare", folder))
    assert "no scores" in one_line(run("extract", folder))
    assert state(small_home) == before


@pytest.mark.parametrize(
    "name", ["Mein Stück.musicxml", "a b  c.musicxml", "Дом-音楽.musicxml"]
)
@pytest.mark.parametrize("form", ["NFC", "NFD"])
def test_names_with_spaces_and_other_letters(
    name: str, form: str, run: Command, tmp_path: Path
) -> None:
    folder = tmp_path / unicodedata.normalize(form, "Übung für Åse")
    folder.mkdir()
    shutil.copy(STAIRS, folder / unicodedata.normalize(form, name))
    other = "NFD" if form == "NFC" else "NFC"
    for asked in (folder / unicodedata.normalize(form, name), folder):
        done = run("compare", asked)
        assert done.returncode == 0, done.stderr
        assert done.stdout.startswith("Stairs")
    typed = Path(unicodedata.normalize(other, str(folder / name)))
    assert run("compare", typed).stdout.startswith("Stairs")


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such names")
def test_a_name_that_would_break_the_line(run: Command, tmp_path: Path) -> None:
    line = one_line(run("compare", write(tmp_path, "two\nlines\t.musicxml", b"")))
    assert "two lines .musicxml" in line


def test_bad_files_in_a_build_are_rows_in_failures(tmp_path: Path) -> None:
    folder = tmp_path / "scores"
    folder.mkdir()
    for name, content, _ in BAD.values():
        write(folder, name, content)
    shutil.copy(STAIRS, folder)
    env = {"CORPUSREG_HOME": str(tmp_path / "home")}
    done = command(["extract", folder, "--workers", "1"], env)
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    checked = json.loads(command(["check", "--json"], env).stdout)
    assert checked["counts"]["works"] == 1
    # Files whose name is no score's are passed over in a folder.
    assert checked["counts"]["failures"] == len(BAD) - 1
    # A later run without one readable file leaves that reference in force.
    (folder / STAIRS.name).unlink()
    line = command(["extract", folder], env)
    assert line.returncode == 1
    assert "no work could be read" in line.stderr.splitlines()[-1]
    assert json.loads(command(["check", "--json"], env).stdout) == checked


def test_no_reference_is_built_for_a_file_that_cannot_be_opened(tmp_path: Path) -> None:
    home = tmp_path / "home"
    done = command(["compare", tmp_path / "nowhere.mxl"], {"CORPUSREG_HOME": str(home)})
    assert "no such file" in one_line(done)
    assert not home.exists()


class Stranger:
    """Another user, who may read the small reference and a folder of scores."""

    def __init__(self, folder: Path, home: Path) -> None:
        self.folder = folder
        self.home = folder / "home"
        shutil.copytree(home / "reference", self.home / "reference")
        for path in (folder, *folder.rglob("*")):
            path.chmod(0o755 if path.is_dir() else 0o644)

    def compare(self, path: Path) -> subprocess.CompletedProcess[str]:
        """`compare` as somebody who is not the owner and not the administrator."""
        return subprocess.run(
            [sys.executable, "-c", AS_STRANGER, str(STAIRS), str(path), str(NOBODY)],
            capture_output=True,
            encoding="utf-8",
            env=os.environ | {"CORPUSREG_HOME": str(self.home)},
            check=False,
            timeout=120,
        )


# The interpreter itself may lie where no other user can read it: everything is
# loaded by a first comparison, and only then does the process become another user.
AS_STRANGER = """
import contextlib, io, os, sys
from pathlib import Path
from corpusreg.cli import main
from corpusreg.comparison.placing import Asked, measure

warm, path, user = sys.argv[1:]
with contextlib.redirect_stdout(io.StringIO()):
    assert main(["compare", warm]) == 0
# The child that measured is gone: what it loaded is loaded here too.
measure(Asked(Path(warm), False))
# Nor may the child be kept that is another user's, or one be started from the interpreter.
from corpusreg.system import isolate
isolate.let_go()
isolate._may_fork = lambda: True
if os.geteuid() == 0:
    os.setgroups([])
    os.setgid(int(user))
    os.setuid(int(user))
assert os.geteuid() != 0
sys.exit(main(["compare", path]))
"""


@pytest.fixture
def stranger(small_home: Path) -> Iterator[Stranger]:
    # Not in pytest's own folder, which no other user may enter.
    folder = Path(tempfile.mkdtemp(prefix="corpusreg-"))
    try:
        yield Stranger(folder, small_home)
    finally:
        for path in folder.rglob("*"):
            path.chmod(stat.S_IRWXU)
        shutil.rmtree(folder)


def test_another_user_can_compare_where_permissions_allow(stranger: Stranger) -> None:
    path = stranger.folder / "open.musicxml"
    shutil.copy(STAIRS, path)
    path.chmod(0o644)
    done = stranger.compare(path)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Stairs")


def test_a_file_without_permission(stranger: Stranger) -> None:
    path = stranger.folder / "closed.musicxml"
    shutil.copy(STAIRS, path)
    path.chmod(0)
    assert "permission" in one_line(stranger.compare(path))


def test_a_folder_without_permission(stranger: Stranger) -> None:
    folder = stranger.folder / "closed"
    folder.mkdir()
    shutil.copy(STAIRS, folder)
    folder.chmod(0)
    for path in (folder, folder / STAIRS.name):
        line = one_line(stranger.compare(path))
        assert "closed" in line
        assert "ermission" in line


def test_a_reference_without_permission(stranger: Stranger) -> None:
    path = stranger.folder / "open.musicxml"
    shutil.copy(STAIRS, path)
    path.chmod(0o644)
    (reference,) = (stranger.home / "reference").glob("*.duckdb")
    reference.chmod(0)
    assert reference.name in one_line(stranger.compare(path))


@pytest.mark.skipif(sys.platform == "win32", reason="Windows paths hold no such bytes")
def test_a_name_that_is_not_utf8(run: Command, tmp_path: Path) -> None:
    raw = os.fsencode(tmp_path) + b"/caf\xe9.musicxml"
    Path(os.fsdecode(raw)).touch()
    done = subprocess.run(
        [sys.executable.encode(), b"-m", b"corpusreg.cli", b"compare", raw],
        capture_output=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 1
    assert b"Traceback" not in done.stderr
    assert len(done.stderr.splitlines()) == 1
