"""A small reference of real works, built once a session in a home of its own."""

from __future__ import annotations

import contextlib
import io
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING
from unittest.mock import patch

import pytest
from filelock import FileLock

import corpusreg
from corpusreg import cli
from corpusreg.building import build, finish
from corpusreg.building.batch import Measuring
from corpusreg.building.build import DEFAULT_TIERS
from corpusreg.corpus import catalogue
from corpusreg.corpus.catalogue import SourceFile
from corpusreg.norms.profiles import clustering
from corpusreg.store import EXTRACTED, Draft, Reference
from corpusreg.system import isolate

if TYPE_CHECKING:
    from playwright.sync_api import Browser

ROOT = Path(__file__).parents[1]
# Tests see the references that they build; `test_shipped` asks for the one that ships.
os.environ["CORPUSREG_SHIPPED"] = str(ROOT / "no-such-folder")
PIECES = ROOT / "demo" / "pieces"
# How many files of each bundled folder, the smallest first: enough composers for
# the cohort of choirs, of single melodies and, played at the piano, of piano works.
QUOTAS = {
    "bach": 25,
    "beethoven": 4,
    "haydn": 6,
    "josquin": 6,
    "monteverdi": 8,
    "mozart": 8,
    "oneills1850": 2,
    "ryansMammoth": 30,
    "schumann_clara": 3,
    "schumann_robert": 5,
    "trecento": 14,
}
SINGLE = (
    "corelli",
    "cpebach",
    "handel",
    "johnson_j_r",
    "joplin",
    "lusitano",
    "verdi",
    "webern",
)
BROWSER_ARGUMENTS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip

# Variables that only corpusreg reads, whenever it needs them.
OWN = ("CORPUSREG_", "COLUMNS")

Command = Callable[..., subprocess.CompletedProcess[str]]


def chosen_files() -> list[SourceFile]:
    """The files of the small reference, the same every time."""
    taken: dict[str, int] = {}
    chosen = []
    for file in sorted(catalogue.bundled(), key=lambda file: (file.size, file.relative)):
        folder = file.relative.split("/")[0]
        quota = QUOTAS.get(folder, 1 if folder in SINGLE else 0)
        if taken.get(folder, 0) < quota and catalogue.licence(file).tier in DEFAULT_TIERS:
            taken[folder] = taken.get(folder, 0) + 1
            chosen.append(file)
    return chosen


def at_the_piano(
    tiers: Sequence[str], before: Reference | None = None, below: Reference | None = None
) -> Callable[[Draft], None]:
    """The last step of a build, before which works of several voices come in once more as
    piano works: the bundled scores have few of them, and pieces are placed among no others.
    """
    last = _finishing(tiers, before, below)

    def finished(draft: Draft) -> None:
        for table in (each for each in EXTRACTED if each not in ("shingles", "failures")):
            other = "'piano/' || work AS work"
            if table == "works":
                other += ", 'piano' AS ensemble, 'works for keyboard' AS family"
                other += ", NULL AS fingerprint"
            draft.execute(
                f"INSERT INTO {table} SELECT * REPLACE ({other}) FROM {table} WHERE work IN "
                "(SELECT work FROM works WHERE texture = 'several voices')"
            )
        last(draft)

    return finished


_finishing = finish.finishing


def fewer_nulls(patch: pytest.MonkeyPatch) -> None:
    """Hold groups of works against few data sets without groups, which takes most of the
    time of a small build.
    """
    patch.setattr(clustering, "NULLS", 9)
    patch.setattr(clustering, "FIRST_NULLS", 5)


@pytest.fixture(scope="session")
def small_home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A home with a published reference of some 140 works. Read it, never write to it.

    Test processes that run side by side share it: the first one builds it.
    """
    base = tmp_path_factory.getbasetemp()
    home = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "home-small"
    with FileLock(home.with_suffix(".lock")):
        if not (home / "built").exists():
            files = chosen_files()
            with pytest.MonkeyPatch.context() as patch:
                patch.setenv("CORPUSREG_HOME", str(home))
                patch.setattr(catalogue, "bundled", lambda: files)
                patch.setattr(build, "finishing", at_the_piano)
                fewer_nulls(patch)
                built = corpusreg.extract(["bundled"], workers=2)
            assert built.failed == 0
            assert built.works >= 120
            (home / "built").touch()
    yield home


@pytest.fixture(autouse=True)
def no_child_of_another_test() -> Iterator[None]:
    """A copy of this process that is kept for the next child has what a test put into it."""
    yield
    if any(isinstance(process, isolate._Forked) for process in isolate._kept):
        isolate.let_go()


@pytest.fixture
def in_home(small_home: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The small reference as the one in force, in this process."""
    monkeypatch.setenv("CORPUSREG_HOME", str(small_home))
    return small_home


@pytest.fixture
def measured_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Builds that measure in this process, for tests of what is built and not of workers."""

    @contextlib.contextmanager
    def here(_: str | None) -> Iterator[Measuring]:
        yield lambda call, files, _: (isolate.Outcome(file, call(file)) for file in files)

    monkeypatch.setattr(build, "_far", here)


@pytest.fixture(scope="session")
def demonstrated(small_home: Path) -> str:
    """What `corpusreg demo` prints."""
    done = command(["demo"], {"CORPUSREG_HOME": str(small_home)})
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture
def run(small_home: Path) -> Command:
    """`run('compare', path, …)`: a command with the small reference."""

    def call(
        *arguments: str | Path, env: dict[str, str] | None = None, **options: object
    ) -> subprocess.CompletedProcess[str]:
        return command(arguments, {"CORPUSREG_HOME": str(small_home)} | (env or {}), **options)

    return call


def command(
    arguments: Sequence[str | Path], env: dict[str, str], **options: object
) -> subprocess.CompletedProcess[str]:
    """`corpusreg ARGUMENTS` with some environment changed, its output as text.

    In this process, which has everything loaded; in one of its own where options of
    `subprocess.run` are given, or an environment that Python reads when it starts.
    """
    if options or any(not name.startswith(OWN) for name in env):
        return apart(arguments, env, **options)
    out, err = io.StringIO(), io.StringIO()
    words = list(map(str, arguments))
    with (
        patch.dict(os.environ, env),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        code = cli.main(words)
    return subprocess.CompletedProcess(words, code, out.getvalue(), err.getvalue())


def apart(
    arguments: Sequence[str | Path], env: dict[str, str], **options: object
) -> subprocess.CompletedProcess[str]:
    """The same in a process of its own."""
    given: dict[str, object] = {"encoding": "utf-8", "timeout": 120} | options
    return subprocess.run(
        [sys.executable, "-m", "corpusreg.cli", *map(str, arguments)],
        capture_output=True,
        env=os.environ | env,
        check=False,
        **given,  # type: ignore[call-overload]
    )


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Debian's Chromium, or what CORPUSREG_TEST_BROWSER names; the shell without windows where
    it is there, which opens a page in a fifth of the time.

    Where there is none its tests are skipped, except in CI, where that is a failure.
    """
    names = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
    found = os.environ.get("CORPUSREG_TEST_BROWSER") or next(
        (path for name in names if (path := shutil.which(name))), None
    )
    if not found:
        reason = "no Chromium: install it, or set CORPUSREG_TEST_BROWSER"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=found, args=BROWSER_ARGUMENTS)
        yield opened
        opened.close()
