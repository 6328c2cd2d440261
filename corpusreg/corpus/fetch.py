"""`corpora get`: the pinned revision of a corpus, by git, into the home folder.

git names every file and the revision itself by a hash of its content and checks them on
arrival, so what has the right name is right. What is fetched is one commit without its
history: first its list of files, then the files, a few hundred at a time. An interrupted
fetch goes on with the files that are missing. It works in `corpora/NAME.part`, which is
renamed to `corpora/NAME` when it is whole: half a corpus never looks like one. Meanwhile it
holds the lock `corpora/NAME.lock`, so that two never fetch one corpus at once.

A server that cannot send a list without its files sends all at once; then an interrupted
transfer begins again.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from corpusreg.corpus.entries import Entry
from corpusreg.system import settings
from corpusreg.system.errors import ReadError, UsageError
from corpusreg.system.lock import build_lock

__all__ = ["FetchProgress", "fetch_corpus"]

_AT_ONCE = 400  # files in one request
_LAST_WORDS = 200
# What git says, and what that means for people; looked for in this order.
_MEANINGS = (
    (r"no space left|disk quota", "the disk is full; free some space and run the same command"),
    (r"not our ref|couldn't find remote ref|no such remote ref|unadvertised object",
     "the repository does not have the revision {revision}"),
    (r"could not resolve|unable to access|could not connect|connection|timed out|network|"
     r"early eof|hung up", "the repository {repository} cannot be reached; see to the network "
     "and run the same command, it goes on where it was"),
    (r"does not appear to be a git repository|repository .*not found|not found",
     "there is no repository {repository}"),
    (r"permission denied|read-only file system", "{folder} cannot be written"),
)  # fmt: skip


@dataclass(frozen=True)
class FetchProgress:
    """Files that are there, of how many."""

    name: str
    done: int
    total: int


def fetch_corpus(
    entry: Entry, on_progress: Callable[[FetchProgress], None] | None = None
) -> Path:
    """Fetch a corpus of the catalogue; returns its folder. One that is whole is kept.

    Raises UsageError for a corpus that is not fetched, ReadError (one line, with what to
    do by hand) where git is missing or fails, or where what came is not the revision, and
    StoreError where another process is fetching the same corpus, or nothing can be written.
    """
    if not entry.on or not entry.repository:
        raise UsageError(
            f"'{entry.name}' is not fetched ({entry.tier}: {entry.statement}); "
            f"{entry.instructions}"
        )
    final = settings.corpora_folder() / entry.name
    git = shutil.which("git")
    if git is None:
        raise ReadError(
            f"'{entry.name}' cannot be fetched: git is not installed; install it, or "
            f"{entry.instructions}"
        )
    with build_lock(
        final.with_name(f"{entry.name}.lock"), f"'{entry.name}' is being fetched already"
    ):
        return _fetch(git, final, entry, on_progress)


def _fetch(
    git: str,
    final: Path,
    entry: Entry,
    on_progress: Callable[[FetchProgress], None] | None,
) -> Path:
    if final.is_dir():
        _verify(_Git(git, final, entry), f"delete {final} and run the same command")
        return final
    part = final.with_name(f"{entry.name}.part")
    run = _Git(git, part, entry)
    run.prepare()
    run.list_files()
    _fetch_files(run, on_progress)
    run("checkout", "--force", "--detach", entry.revision)
    _verify(run, f"delete {part} and run the same command")
    part.replace(final)
    return final


class _Git:
    """git in one folder, with settings of our own; of the user's, the way to the network."""

    def __init__(self, program: str, folder: Path, entry: Entry) -> None:
        self.folder = folder
        self.entry = entry
        self._program = program
        self._environment = _environment(program)

    def __call__(self, *words: str, given: str | None = None) -> str:
        """Output of one git command. Raises ReadError where it fails."""
        process = subprocess.Popen(
            [self._program, *_OPTIONS, *words],
            cwd=self.folder,
            env=self._environment,
            stdin=subprocess.DEVNULL if given is None else subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            encoding="utf-8",
            errors="replace",
        )
        try:
            said, complaints = process.communicate(given)
        except BaseException:
            process.terminate()
            process.wait()
            raise
        if process.returncode:
            raise self.failure(complaints)
        return said

    def failure(self, complaints: str) -> ReadError:
        """What went wrong, in one line for people."""
        entry = self.entry
        for pattern, meaning in _MEANINGS:
            if re.search(pattern, complaints, re.I):
                words = meaning.format(
                    revision=entry.revision, repository=entry.repository, folder=self.folder
                )
                break
        else:
            lines = [line for line in complaints.splitlines() if line.strip()] or ["no reason"]
            words = f"git says: {lines[-1].strip()[:_LAST_WORDS]}"
        return ReadError(f"'{entry.name}' was not fetched: {words}; or {entry.instructions}")

    def prepare(self) -> None:
        """An empty repository that knows where to ask, or the one begun before."""
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise self.failure(f"permission denied {error.strerror}") from error
        # What a process that was killed has left would refuse every later command.
        for lock in (self.folder / ".git").glob("*.lock"):
            lock.unlink(missing_ok=True)
        self("init", "--quiet")
        for name, value in (
            ("remote.origin.url", self.entry.repository),
            ("remote.origin.promisor", "true"),
            ("remote.origin.partialclonefilter", "blob:none"),
        ):
            self("config", name, value)

    def list_files(self) -> None:
        """The commit and its folders, without the files where the server can do that."""
        if not self._has_list():
            self(
                "fetch", "--quiet", "--no-tags", "--depth=1", "--filter=blob:none",
                "origin", self.entry.revision,
            )  # fmt: skip

    def files(self) -> tuple[int, list[str]]:
        """How many different files the revision has, and the hashes of those not here."""
        said = self("ls-tree", "-r", "-z", self.entry.revision).split("\0")
        named = [line.partition("\t")[0].split() for line in said if line]
        wanted = {hash_ for _, kind, hash_ in named if kind == "blob"}
        lines = self("rev-list", "--objects", "--missing=print", self.entry.revision)
        missing = [line[1:] for line in lines.splitlines() if line.startswith("?")]
        return len(wanted), missing

    def _has_list(self) -> bool:
        """Asked of the file that git writes last: git itself would go and fetch."""
        try:
            listed = (self.folder / ".git" / "shallow").read_text("ascii").split()
        except OSError:
            return False
        return self.entry.revision in listed


def _fetch_files(run: _Git, on_progress: Callable[[FetchProgress], None] | None) -> None:
    total, missing = run.files()
    while True:
        if on_progress is not None:
            on_progress(FetchProgress(run.entry.name, total - len(missing), total))
        if not missing:
            return
        now, missing = missing[:_AT_ONCE], missing[_AT_ONCE:]
        run(
            "fetch", "--quiet", "--no-tags", "--no-write-fetch-head", "--filter=blob:none",
            "--stdin", "origin", given="\n".join(now) + "\n",
        )  # fmt: skip


def _verify(run: _Git, otherwise: str) -> None:
    """The revision is checked out, and every file is as it says."""
    head = run("rev-parse", "HEAD").strip()
    if head != run.entry.revision:
        raise ReadError(
            f"{run.folder} holds revision {head}, expected {run.entry.revision}; {otherwise}"
        )
    changed = run("status", "--porcelain", "--untracked-files=no").splitlines()
    if changed:
        raise ReadError(
            f"{run.folder}: {len(changed)} files are not as fetched, first "
            f"{changed[0][3:]}; {otherwise}"
        )


# Links become plain files, so that nothing outside is ever followed; no hooks, no
# changed line ends, and no fetching behind our back.
_OPTIONS = (
    "-c", "core.symlinks=false", "-c", "core.autocrlf=false", "-c", "core.longpaths=true",
    "-c", "core.quotepath=false", "-c", f"core.hooksPath={os.devnull}",
    "-c", "advice.detachedHead=false", "-c", "protocol.ext.allow=never", "-c", "gc.auto=0",
)  # fmt: skip


# How to the network: by which proxy, and whom to believe. It is all that is taken from the
# user's own configuration and variables, which may hold filters, hooks and other addresses.
_WAY = (
    r"^http\.(.*\.)?(proxy|proxyauthmethod|proxysslcainfo|proxysslcert|proxysslkey"
    r"|sslcainfo|sslcapath|sslcert|sslkey|sslcertpasswordprotected|sslbackend"
    r"|schannelusesslcainfo|schannelcheckrevoke)$"
)
_WAY_VARIABLES = (
    "GIT_SSL_CAINFO", "GIT_SSL_CAPATH", "GIT_SSL_CERT", "GIT_SSL_KEY",
    "GIT_PROXY_SSL_CAINFO", "GIT_PROXY_SSL_CERT", "GIT_PROXY_SSL_KEY",
    "GIT_HTTP_PROXY_AUTHMETHOD",
)  # fmt: skip


def _environment(program: str) -> dict[str, str]:
    kept = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith("GIT_") or name in _WAY_VARIABLES
    }
    # In variables, since a proxy's address may hold a password, which others could read
    # in the list of processes.
    way = _users_way(program)
    own = {"GIT_CONFIG_COUNT": str(len(way))}
    for place, (name, value) in enumerate(way):
        own |= {f"GIT_CONFIG_KEY_{place}": name, f"GIT_CONFIG_VALUE_{place}": value}
    return kept | own | {
        "LC_ALL": "C",
        "GIT_TERMINAL_PROMPT": "0",
        "GIT_CONFIG_GLOBAL": os.devnull,
    }  # fmt: skip


def _users_way(program: str) -> list[tuple[str, str]]:
    """The user's own settings of the way to the network, in their order."""
    said = subprocess.run(
        [
            program, f"--git-dir={os.devnull}", "config", "--includes", "-z",
            "--get-regexp", _WAY,
        ],
        stdin=subprocess.DEVNULL, capture_output=True, encoding="utf-8", errors="replace",
        check=False,
    ).stdout  # fmt: skip
    pairs = (each.partition("\n") for each in said.split("\0") if each)
    return [(name, value if sign else "true") for name, sign, value in pairs]
