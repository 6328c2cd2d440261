"""Invented work for the workers: each file's text says how to behave."""

from __future__ import annotations

import contextlib
import os
import signal
import time
from pathlib import Path
from typing import Any

from corpusreg.corpus.files import SourceFile
from corpusreg.store import columns
from corpusreg.system.errors import ReadError
from corpusreg.system.lock import build_lock


def make_files(
    folder: Path, texts: dict[str, str], corpus: str = "invented"
) -> list[SourceFile]:
    """Write files and list them as a catalogue would."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    return [
        SourceFile(corpus, path.name, path, "invented", path.stat().st_size)
        for path in sorted(folder.iterdir())
    ]


def plain(count: int) -> dict[str, str]:
    """Texts of files that behave, all different."""
    return {f"piece{number:03}.txt": f"fine {number}" for number in range(count)}


def row(table: str, **values: Any) -> tuple[Any, ...]:
    """A row of a table from named values; what is not named is NULL."""
    unknown = values.keys() - columns(table).keys()
    assert not unknown, unknown
    return tuple(values.get(column) for column in columns(table))


def rows_of(corpus: str, path: str, value: float) -> dict[str, Any]:
    """Invented rows of one file with one work."""
    work = f"{corpus}:{path}"
    head = {"work": work, "corpus": corpus, "path": path, "number": ""}
    more = {"content": f"hash of {path}", "bars": 20, "assumed": ["read as 4/4"]}
    return {
        "works": [row("works", **head, **more, title="Evening Piece", composer="invented")],
        "measures": [(work, "span", value, None), (work, "travel", None, "too short to place")],
        "pitch_weights": [(work, 60, 1.0, 100)],
    }


def work(file: SourceFile) -> dict[str, Any]:
    """Do what the file says, then return one work."""
    text = file.path.read_text(encoding="utf-8")
    verb, _, rest = text.partition(" ")
    _behave(verb, rest)
    if verb == "bad":
        return {"failures": [(file.corpus, file.relative, "", "", "read", "not a score")]}
    if verb == "nan":
        return rows_of(file.corpus, file.relative, float("nan"))
    return rows_of(file.corpus, file.relative, float(len(text)))


def _behave(verb: str, rest: str) -> None:
    if verb == "exit":
        os._exit(7)
    elif verb == "segv":
        os.kill(os.getpid(), getattr(signal, "SIGSEGV", signal.SIGTERM))
    elif verb == "hang":
        time.sleep(3600)
    elif verb == "nap":
        time.sleep(float(rest))
    elif verb == "spin":
        while True:
            pass
    elif verb == "eat":
        held = []
        while True:
            held.append(bytearray(20_000_000))
            # Filling costs computing time: wait to be seen instead of spending more.
            time.sleep(0.02)
    elif verb == "raise":
        raise ZeroDivisionError("by nothing")
    elif verb == "refuse":
        raise ReadError("the file says no")
    elif verb == "print":
        print("noise on standard output")
        os.write(1, b"\x00\x00\x00\x00\x00\x00\x00\x05noise")
    elif verb == "once":
        # Crashes the first time, behaves the second.
        mark = Path(rest)
        with contextlib.suppress(FileExistsError):
            mark.touch(exist_ok=False)
            os._exit(9)
    elif verb == "burn":
        end = time.process_time() + float(rest)
        while time.process_time() < end:
            pass
    elif verb == "meet":
        _meet(*map(Path, rest.split()))
    elif verb == "wait":
        time.sleep(float(rest.split()[0]))


def _meet(own: Path, other: Path) -> None:
    """Come back only when another worker is here at the same time."""
    own.touch()
    end = time.monotonic() + 20
    while not other.exists():
        assert time.monotonic() < end, "nobody came"
        time.sleep(0.01)


def pid_once_there(folder: Path) -> int:
    """Says its process id in a file, and answers it when another file is there."""
    (folder / "pid").write_text(str(os.getpid()), encoding="ascii")
    end = time.monotonic() + 60
    while not (folder / "go").exists():
        assert time.monotonic() < end, "nobody came"
        time.sleep(0.01)
    return os.getpid()


def cannot_load(file: SourceFile) -> dict[str, Any]:
    """Stands for a function that the workers do not find."""
    raise NotImplementedError


def build_forever(home: str) -> None:
    """A build in a process of its own, meant to be killed: 40 files, small batches.

    Publishing takes long enough to be met by whoever waits for it.
    """
    from corpusreg import store
    from corpusreg.building import batch
    from corpusreg.measures import definitions

    root = Path(home)
    files = make_files(root / "scores", {f"p{n:02}.txt": f"wait 0.06 {n}" for n in range(40)})
    with build_lock(root / "build.lock"):
        shards = store.Shards(
            root / "shards",
            store.Recipe(definitions.VERSION, "test"),
            batches=store.BatchLimits(seconds=0.1),
        )
        tally = batch.run(files, work, shards, workers=2)
        store.publish(
            shards, tally.files, folder=root / "reference", finish=lambda _: time.sleep(0.5)
        )
        shards.tidy()
    print(tally.kept, tally.measured, flush=True)
