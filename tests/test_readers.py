"""Which reader reads what, and what people are told about a file that none can read."""

from __future__ import annotations

import os
import stat
import struct
import subprocess
import sys
import tempfile
import unicodedata
from pathlib import Path

import pytest

from corpusreg.score.readers import FORMATS, read_file, read_scores, sniff
from corpusreg.system.errors import ReadError

ABC = "X:1\nT:Small\nM:4/4\nL:1/4\nK:C\nCDEF|\n"
KERN = "**kern\n*M4/4\n=1\n4c\n4d\n4e\n4f\n==\n*-\n"
XML = (
    '<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1">'
    '<part-name>Flute</part-name></score-part></part-list><part id="P1"><measure number="1">'
    "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
    "</attributes><note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration>"
    "</note></measure></part></score-partwise>"
)


def midi(channel: int = 0) -> bytes:
    data = bytes((0, 0x90 | channel, 60, 80, 96, 0x80 | channel, 60, 0, 0, 0xFF, 0x2F, 0))
    return (
        b"MThd"
        + struct.pack(">LhhhL", 6, 0, 1, 96, 0)[:10]
        + b"MTrk"
        + struct.pack(">L", len(data))
        + data
    )


def write(folder: Path, name: str, content: str | bytes) -> Path:
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def refusal(path: Path) -> str:
    """The one line that reading a path gives instead of a score."""
    with pytest.raises(ReadError) as caught:
        read_scores(path)
    text = str(caught.value)
    assert "\n" not in text and not text.endswith(".")
    return text


@pytest.mark.parametrize(
    ("name", "content", "family"),
    [
        ("a.abc", ABC, "abc"),
        ("a.krn", KERN, "kern"),
        ("a.musicxml", XML, "musicxml"),
        ("a.mid", midi(), "midi"),
        ("A.MID", midi(), "midi"),
    ],
)
def test_each_family_is_read_by_its_reader(
    tmp_path: Path, name: str, content: str | bytes, family: str
) -> None:
    path = write(tmp_path, name, content)
    assert sniff(path) == family
    (score,) = read_scores(path)
    assert score.format == family and len(score.notes)
    assert not any("by its content" in said for said in score.assumed)


@pytest.mark.parametrize(
    ("name", "content", "family"),
    [
        ("tune.xml", ABC, "abc"),
        ("tune.txt", ABC, "abc"),
        ("tune", KERN, "kern"),
        ("tune.mid", XML, "musicxml"),
        ("tune.abc", midi(), "midi"),
    ],
)
def test_content_outweighs_a_wrong_suffix_and_that_is_said(
    tmp_path: Path, name: str, content: str | bytes, family: str
) -> None:
    (score,) = read_scores(write(tmp_path, name, content))
    assert score.format == family
    assert f"the file is {family} by its content, not by its name '{name}'" in score.assumed


def test_utf16_xml_is_known_by_its_content(tmp_path: Path) -> None:
    assert sniff(write(tmp_path, "a.txt", XML.encode("utf-16"))) == "musicxml"


def test_every_suffix_has_a_family_and_starts_with_a_dot() -> None:
    assert all(suffix.startswith(".") and suffix == suffix.lower() for suffix in FORMATS)
    assert {"musicxml", "kern", "abc", "midi", "mei"} <= set(FORMATS.values())


def test_a_failing_tune_is_reported_and_the_rest_are_read(tmp_path: Path) -> None:
    path = write(tmp_path, "two.abc", ABC + "\nX:2\nK:C\nz4|\n\nX:3\nK:C\n" + "{" * 99 + "C|\n")
    result = read_file(path)
    assert [s.number for s in result.scores] == ["1"]
    reasons = dict(result.failures)
    assert sorted(reasons) == ["2", "3"]
    assert "no notes" in reasons["2"] and "nested" in reasons["3"]


def test_what_no_reader_can_read_is_told_in_one_line(tmp_path: Path) -> None:
    assert "no such file" in refusal(tmp_path / "none.mid")
    assert "a folder" in refusal(tmp_path)
    assert "empty" in refusal(write(tmp_path, "empty.musicxml", b""))
    unknown = refusal(write(tmp_path, "letter.docx", b"Dear Sir"))
    assert "formats read" in unknown and all(suffix in unknown for suffix in FORMATS)
    assert "formats read" in refusal(write(tmp_path, "noise", bytes(range(256))))
    assert "no notes" in refusal(write(tmp_path, "rest.abc", "X:1\nM:4/4\nK:C\nz4|\n"))
    assert "percussion" in refusal(write(tmp_path, "drums.mid", midi(channel=9)))


@pytest.mark.parametrize("suffix", sorted(FORMATS))
@pytest.mark.parametrize("content", [b"garbage", b"\x00" * 50, b"<a>", b"PK\x03\x04broken"])
def test_garbage_under_any_suffix_is_refused_with_the_name(
    tmp_path: Path, suffix: str, content: bytes
) -> None:
    assert f"bad{suffix}" in refusal(write(tmp_path, f"bad{suffix}", content))


def test_spaces_letters_and_both_unicode_forms_of_a_name(tmp_path: Path) -> None:
    path = write(tmp_path, unicodedata.normalize("NFC", "\xc9tude n\xba 1 \u6b4c.abc"), ABC)
    if Path(unicodedata.normalize("NFD", str(path))).exists():  # the disk knows both
        pytest.fail("this file system folds the forms: run the test on one that does not")
    assert len(read_scores(Path(unicodedata.normalize("NFD", str(path))))) == 1
    assert len(read_scores(path)) == 1


def test_importing_the_readers_imports_no_library() -> None:
    code = (
        "import sys, corpusreg.score.readers\n"
        "heavy = {'music21', 'mido', 'lytk', 'pandas', 'scipy', 'lxml'} & set(sys.modules)\n"
        "print(sorted(heavy))"
    )
    found = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
    )
    assert found.stdout.strip() == "[]"


AS_ANOTHER_USER = """
import os, sys
from pathlib import Path
import corpusreg.score.readers
from corpusreg.system.errors import ReadError
corpusreg.score.readers.read_scores(Path(sys.argv[-1]))  # loads what the other user may not see
if os.getuid() == 0:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
for name in sys.argv[1:]:
    try:
        corpusreg.score.readers.read_scores(Path(name))
        print("read")
    except ReadError as error:
        print(error)
"""


def test_files_and_folders_without_permission() -> None:
    """As a user who is not root, for whom permissions count."""
    assert hasattr(os, "getuid"), "permissions cannot be tried here: run the test on POSIX"
    with tempfile.TemporaryDirectory() as folder:
        top = Path(folder)
        top.chmod(0o755)
        shut = write(top, "shut.abc", ABC)
        shut.chmod(0)
        inside = top / "closed"
        inside.mkdir()
        hidden = write(inside, "hidden.mid", midi())
        inside.chmod(0)
        readable = write(top, "open.abc", ABC)
        readable.chmod(0o644)
        found = subprocess.run(
            [sys.executable, "-c", AS_ANOTHER_USER, str(shut), str(hidden), str(readable)],
            capture_output=True,
            text=True,
            env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        )
        inside.chmod(stat.S_IRWXU)
    assert found.returncode == 0, found.stderr
    first, second, third = found.stdout.splitlines()
    assert first == f"{shut}: no permission to read it; change its permissions"
    assert second == f"{hidden}: no permission to read it; change its permissions"
    assert third == "read"
