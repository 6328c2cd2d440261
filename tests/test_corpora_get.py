"""`corpora get`, from a repository on this disk: whole, interrupted, wrong, impossible."""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
import sys
import threading
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from corpusreg.corpus.corpora import Entry, FetchProgress, entry, fetch_corpus
from corpusreg.system.errors import ReadError, StoreError, UsageError

GIT = shutil.which("git")
pytestmark = pytest.mark.skipif(GIT is None, reason="git is not installed")
FILES = 7
fetching = sys.modules["corpusreg.corpus.fetch"]


def git(folder: Path, *words: str) -> str:
    return subprocess.run(
        ["git", "-c", "user.name=x", "-c", "user.email=x@example.org", *words],
        cwd=folder,
        check=True,
        capture_output=True,
        text=True,
        env=os.environ | {"GIT_CONFIG_GLOBAL": os.devnull},
    ).stdout.strip()


def folders(corpora: Path) -> list[str]:
    return [path.name for path in corpora.iterdir() if path.is_dir()]


@pytest.fixture
def source(tmp_path: Path) -> Entry:
    """An entry of the catalogue whose repository is on this disk, with two revisions."""
    folder = tmp_path / "source"
    (folder / "scores").mkdir(parents=True)
    git(folder, "init", "--quiet")
    git(folder, "config", "uploadpack.allowFilter", "true")
    git(folder, "config", "uploadpack.allowAnySHA1InWant", "true")
    for number in range(FILES):
        (folder / "scores" / f"Mädel {number}.abc").write_text(f"X:{number}\n", "utf-8")
    git(folder, "add", ".")
    git(folder, "commit", "--quiet", "-m", "one")
    revision = git(folder, "rev-parse", "HEAD")
    (folder / "later.abc").write_text("X:9\n")
    git(folder, "add", ".")
    git(folder, "commit", "--quiet", "-m", "two")
    return replace(entry("hymns"), repository=folder.as_uri(), revision=revision)


@pytest.fixture(autouse=True)
def corpora(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path / "home"))
    monkeypatch.setattr(fetching, "_AT_ONCE", 2)
    return tmp_path / "home" / "corpora"


def test_the_pinned_revision_is_fetched_without_its_history(
    source: Entry, corpora: Path
) -> None:
    seen: list[FetchProgress] = []
    path = fetch_corpus(source, seen.append)
    assert path == corpora / "hymns"
    assert len(list((path / "scores").iterdir())) == FILES
    assert not (path / "later.abc").exists()
    assert git(path, "rev-parse", "HEAD") == source.revision
    assert git(path, "rev-list", "--count", "HEAD") == "1"
    assert [each.done for each in seen] == [0, 2, 4, 6, 7]
    assert {each.total for each in seen} == {FILES}
    assert folders(corpora) == ["hymns"]


def test_a_server_that_sends_all_at_once_does_too(source: Entry, tmp_path: Path) -> None:
    for name in ("allowFilter", "allowAnySHA1InWant"):
        git(tmp_path / "source", "config", f"uploadpack.{name}", "false")
    git(tmp_path / "source", "branch", "old", source.revision)
    path = fetch_corpus(source)
    assert len(list((path / "scores").iterdir())) == FILES


@pytest.mark.parametrize("interrupt", [KeyboardInterrupt, ReadError])
def test_an_interrupted_fetch_goes_on_and_never_looks_whole(
    source: Entry, corpora: Path, interrupt: type[BaseException]
) -> None:
    def stop(progress: FetchProgress) -> None:
        if progress.done == 4:
            raise interrupt("stopped")

    with pytest.raises(interrupt):
        fetch_corpus(source, stop)
    assert folders(corpora) == ["hymns.part"]
    assert not (corpora / "hymns.part" / "scores").exists()
    seen: list[FetchProgress] = []
    fetch_corpus(source, seen.append)
    assert [each.done for each in seen] == [4, 6, 7]  # what was there is not fetched again
    assert folders(corpora) == ["hymns"]


def test_a_lock_left_by_a_killed_process_is_no_obstacle(source: Entry, corpora: Path) -> None:
    with pytest.raises(KeyError):
        fetch_corpus(source, lambda progress: {}[progress.done])
    for name in ("index.lock", "shallow.lock", "config.lock"):
        (corpora / "hymns.part" / ".git" / name).write_text("")
    assert fetch_corpus(source).is_dir()


def test_one_corpus_is_fetched_once_at_a_time(source: Entry, corpora: Path) -> None:
    """Another fetch is begun while the first one is on its way, and when it is done."""
    refused: list[str] = []

    def another(progress: FetchProgress) -> None:
        with pytest.raises(StoreError) as failure:
            fetch_corpus(source)
        refused.append(str(failure.value))

    path = fetch_corpus(source, another)
    assert len(refused) == 5
    assert set(refused) == {
        f"'hymns' is being fetched already (process {os.getpid()}); wait for it, then try again"
    }
    assert len(list((path / "scores").iterdir())) == FILES
    assert fetch_corpus(source) == path


def test_another_corpus_can_be_fetched_meanwhile(source: Entry, corpora: Path) -> None:
    def another(progress: FetchProgress) -> None:
        if progress.done == 0:
            fetch_corpus(replace(source, name="songs"))

    fetch_corpus(source, another)
    assert sorted(folders(corpora)) == ["hymns", "songs"]


def test_what_is_whole_is_not_fetched_again(source: Entry, tmp_path: Path) -> None:
    path = fetch_corpus(source)
    shutil.rmtree(tmp_path / "source", onerror=_writable)
    assert fetch_corpus(source) == path


def test_a_changed_file_in_what_was_fetched_is_found(source: Entry) -> None:
    path = fetch_corpus(source)
    (path / "scores" / "Mädel 3.abc").write_text("X:33\n")
    with pytest.raises(ReadError, match=r"1 files are not as fetched, first .*Mädel 3"):
        fetch_corpus(source)


def test_another_revision_than_expected_is_found(source: Entry, corpora: Path) -> None:
    fetch_corpus(source)
    other = "1" * 40
    with pytest.raises(ReadError, match=f"expected {other}; delete"):
        fetch_corpus(replace(source, revision=other))


def test_a_revision_that_is_not_there(source: Entry, corpora: Path) -> None:
    with pytest.raises(ReadError, match="does not have the revision 1111") as failure:
        fetch_corpus(replace(source, revision="1" * 40))
    assert "by hand: git clone" in str(failure.value)
    assert "\n" not in str(failure.value)
    assert not (corpora / "hymns").exists()


def test_a_repository_that_is_not_there(source: Entry, tmp_path: Path) -> None:
    nowhere = (tmp_path / "nowhere").as_uri()
    with pytest.raises(ReadError, match=r"there is no repository .*; or by hand"):
        fetch_corpus(replace(source, repository=nowhere))


def test_without_git(source: Entry, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(ReadError, match="git is not installed; install it, or by hand"):
        fetch_corpus(source)


@pytest.mark.skipif(sys.platform == "win32", reason="the stand-in is a shell script")
@pytest.mark.parametrize(
    ("complaint", "words"),
    [
        ("error: file write error: No space left on device", "the disk is full"),
        ("fatal: unable to access 'x': Could not resolve host: x", "cannot be reached"),
        ("fatal: the remote end hung up unexpectedly", "goes on where it was"),
        ("fatal: something new", "git says: fatal: something new"),
        ("", "git says: no reason"),
    ],
)
def test_what_git_complains_of_is_said_in_one_line(
    source: Entry, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, complaint: str, words: str
) -> None:
    """A stand-in for git that only complains, since a full disk cannot be had for a test."""
    program = tmp_path / "bin" / "git"
    program.parent.mkdir()
    program.write_text(f'#!/bin/sh\necho "{complaint}" >&2\nexit 128\n')
    program.chmod(program.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", f"{program.parent}{os.pathsep}{os.environ['PATH']}")
    with pytest.raises(ReadError, match=words) as failure:
        fetch_corpus(source)
    assert "\n" not in str(failure.value)
    assert "by hand" in str(failure.value)


def test_the_users_proxy_and_certificates_count_and_nothing_else_does(
    source: Entry, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []

    class Proxy(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

        def log_message(self, *_: object) -> None:
            pass

    proxy = ThreadingHTTPServer(("127.0.0.1", 0), Proxy)
    threading.Thread(target=proxy.serve_forever, daemon=True).start()
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "none"))
    for name in ("GIT_CONFIG_GLOBAL", "http_proxy", "no_proxy", "NO_PROXY"):
        monkeypatch.delenv(name, raising=False)
    more = tmp_path / "more"
    more.write_text(
        f'[http "http://corpus.invalid"]\nproxy = http://127.0.0.1:{proxy.server_port}\n'
    )
    (tmp_path / ".gitconfig").write_text(
        f"[include]\npath = {more}\n[http]\nsslCAInfo = ~/school.pem\nsslVerify = false\n"
        '[url "http://other.invalid/"]\ninsteadOf = http://corpus.invalid/\n'
    )
    try:
        there = "http://corpus.invalid/scores.git"
        with pytest.raises(ReadError, match="there is no repository"):
            fetch_corpus(replace(source, repository=there))
    finally:
        proxy.shutdown()
        proxy.server_close()
    assert asked and all(path.startswith(there) for path in asked)
    program = shutil.which("git")
    assert program
    environment = fetching._environment(program)
    for name, value in (("http.sslCAInfo", "~/school.pem"), ("http.sslVerify", "")):
        ran = subprocess.run(
            [program, "config", "--get", name], cwd=tmp_path, env=environment,
            capture_output=True, encoding="utf-8", check=False,
        )  # fmt: skip
        assert ran.stdout.strip() == value


def test_what_is_off_is_not_fetched() -> None:
    for name in ("keyboard-noncommercial", "renaissance-unclear"):
        with pytest.raises(UsageError, match=r"is not fetched .*get it yourself"):
            fetch_corpus(entry(name))


def _writable(function: object, path: str, error: object) -> None:
    """git's own files are read-only, which Windows does not delete."""
    Path(path).chmod(stat.S_IWRITE)
    Path(path).unlink()
