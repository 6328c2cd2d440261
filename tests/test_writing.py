"""Files that are whole or not there."""

from __future__ import annotations

import re
import threading
from pathlib import Path

import pytest

from corpusreg.system import writing
from corpusreg.system.errors import CorpusregError
from corpusreg.system.writing import replace_text, replacing, write_files


def test_a_reader_sees_the_old_file_until_the_new_one_is_whole(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    path.write_text("old")
    with replacing(path) as aside:
        aside.write_text("new")
        assert path.read_text() == "old"
        assert list(tmp_path.glob("*.json")) == [path], "what is unfinished is of no format"
    assert path.read_text() == "new"
    assert list(tmp_path.iterdir()) == [path]


def test_two_who_write_one_file_do_not_mix(tmp_path: Path) -> None:
    path = tmp_path / "a"
    with replacing(path) as one, replacing(path) as two:
        one.write_text("one")
        two.write_text("two")
    assert path.read_text() == "one", "who ends last"


def test_what_fails_leaves_the_old_file_alone(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_text("old")
    with pytest.raises(KeyboardInterrupt), replacing(path) as aside:
        aside.write_text("ne")
        raise KeyboardInterrupt
    with pytest.raises(OSError), replacing(path):
        pass  # nothing was written
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_text_is_the_same_bytes_on_every_system(tmp_path: Path) -> None:
    replace_text(tmp_path / "a", "é\n")
    assert (tmp_path / "a").read_bytes() == b"\xc3\xa9\n"


def test_files_that_belong_together_come_together(tmp_path: Path) -> None:
    contents = {tmp_path / name: name.encode() for name in "abc"}
    write_files(contents)
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == contents
    nowhere = tmp_path / "none" / "d"
    said = f"{nowhere}: cannot be written (No such file or directory); name a file in a folder"
    with pytest.raises(CorpusregError, match=re.escape(said)):
        write_files(dict.fromkeys([*contents, nowhere], b"changed"))
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == contents


def test_the_file_that_cannot_be_put_is_named(tmp_path: Path) -> None:
    taken = tmp_path / "b"
    taken.mkdir()
    with pytest.raises(CorpusregError, match=re.escape(f"{taken}: cannot be written")):
        write_files({tmp_path / name: b"" for name in "abc"})
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]


def test_a_pointer_that_is_being_read_is_replaced_a_moment_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # On Windows a file that another program has open can be neither replaced nor removed.
    held = threading.Event()
    real = Path.replace

    def replace(path: Path, target: Path) -> Path:
        if not held.is_set():
            held.set()
            raise PermissionError(13, "in use")
        return real(path, target)

    monkeypatch.setattr(Path, "replace", replace)
    replace_text(tmp_path / "current", "new\n")
    assert held.is_set()
    assert (tmp_path / "current").read_text() == "new\n"


def test_a_file_that_stays_in_use_is_an_error_and_leaves_the_old_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "current").write_text("old\n")

    def refuse(path: Path, target: Path) -> Path:
        raise PermissionError(13, "in use")

    monkeypatch.setattr(Path, "replace", refuse)
    monkeypatch.setattr(writing, "_PATIENCE", 0.1)
    with pytest.raises(PermissionError):
        replace_text(tmp_path / "current", "new\n")
    assert [path.name for path in tmp_path.iterdir()] == ["current"]
    assert (tmp_path / "current").read_text() == "old\n"
