"""The works that are changed: bundled scores, and open corpora where they are present.

Kinds: 'piano', 'quartet', 'song' (textures), 'line' (single lines: tunes and the single
parts of quartets). Works of 20 to 250 bars: shorter ones have no passage of a fifth that
a stay could fill, and longer ones cost more time than they tell.
"""

from __future__ import annotations

import hashlib
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from pathlib import Path

from corpusreg.corpus.catalogue import describe
from corpusreg.corpus.files import SourceFile, bundled, folder
from corpusreg.instruments.ensembles import ensemble_of
from corpusreg.score.notes import Score
from corpusreg.score.played import Played, perform
from corpusreg.score.readers import read_file
from corpusreg.system.errors import CorpusregError

__all__ = ["CORPORA", "KINDS", "Piece", "half_of", "in_turn", "pieces", "read_pieces"]

CORPORA = Path(__file__).resolve().parents[3] / "shared" / "corpora"
KINDS = ("piano", "quartet", "song", "line")
SHORTEST, LONGEST = 20, 250

_ENSEMBLES = {"piano": "piano", "string quartet": "quartet", "song": "song"}
# Bundled files by kind; tunes of collections that state no restriction.
_BUNDLED = {
    "piano": (
        "chopin/*", "cpebach/*", "joplin/*", "schumann_clara/polonaise*", "verdi/*",
        "mozart/k545/*", "schoenberg/*",
    ),
    "quartet": ("haydn/*", "mozart/*", "beethoven/*", "schumann_robert/opus41*"),
    "song": ("schubert/*", "schumann_robert/dichterliebe*", "beach/*"),
    "line": ("ryansMammoth/*", "oneills1850/*"),
}  # fmt: skip
# Folders of `--corpora` by kind.
_FOLDERS = {"piano": "kern-dev", "song": "songs-dev", "quartet": "quartets-sample"}


@dataclass(frozen=True)
class Piece:
    """A work as written and as heard. kind: of KINDS; half: 'tuning' or 'report'."""

    name: str
    kind: str
    composer: str
    half: str
    score: Score
    played: Played


def half_of(composer: str) -> str:
    """The half a composer belongs to, by the last bit of a fixed hash.

    >>> half_of("beethoven-ludwig-van"), half_of("haydn-joseph")
    ('tuning', 'report')
    """
    digest = hashlib.sha256(f"corpusreg:{composer}".encode()).digest()
    return ("tuning", "report")[digest[0] % 2]


def pieces(
    kind: str, count: int, seed: int, corpora: Path | None, longest: int = LONGEST
) -> list[Piece]:
    """Up to `count` works of a kind, composers in turn, the same for the same seed."""
    found: list[Piece] = []
    for file in in_turn(_files(kind, corpora), seed):
        for piece in read_pieces(file, kind):
            if SHORTEST <= len(piece.played.bars) <= longest:
                found.append(piece)
        if len(found) >= count:
            break
    return found[:count]


def read_pieces(file: SourceFile, kind: str = "") -> Iterator[Piece]:
    """Works of a file; with `kind`, only those of that kind. Unreadable files give none."""
    try:
        scores = read_file(file.path).scores
    except CorpusregError:
        return
    for score in scores[:3]:  # a tune book holds hundreds; three of each are enough
        try:
            played = perform(score)
        except CorpusregError:
            continue
        ensemble = ensemble_of(score, played).kind
        own = _ENSEMBLES.get(ensemble, "line" if ensemble == "solo melody" else ensemble)
        if kind == "line" and own == "quartet":
            yield from _lines(file, score, played)
        elif not kind or own == kind:
            composer = describe(file, score).cluster
            name = f"{file.corpus}:{file.relative}" + (
                f"#{score.number}" if score.number else ""
            )
            yield Piece(name, own, composer, half_of(composer), score, played)


def _lines(file: SourceFile, score: Score, played: Played) -> Iterator[Piece]:
    """The outer parts of a quartet, each as a single line (chords keep their top note)."""
    composer = describe(file, score).cluster
    for part in (0, len(score.parts) - 1):
        one = _top_notes(played.only(played.notes.part == part))
        if len(one.notes):
            name = f"{file.corpus}:{file.relative}, part {part + 1}"
            yield Piece(name, "line", composer, half_of(composer), score, one)


def _top_notes(played: Played) -> Played:
    notes = played.notes
    last = [*(notes.onset[1:] != notes.onset[:-1]), True]  # rows go up within an onset
    chosen = notes.take([i for i, keep in enumerate(last) if keep])  # type: ignore[arg-type]
    gap = [*(chosen.onset[1:] - chosen.onset[:-1]), max(int(chosen.duration[-1]), 1)]
    return replace(played, notes=replace(chosen, duration=chosen.duration.clip(max=gap)))


def _files(kind: str, corpora: Path | None) -> list[SourceFile]:
    globs = _BUNDLED[kind]
    if kind == "line":
        globs = (*globs, *_BUNDLED["quartet"])
    files = [f for f in bundled() if any(fnmatchcase(f.relative, g) for g in globs)]
    own = corpora / _FOLDERS[kind] if corpora and kind in _FOLDERS else None
    if own is not None and own.is_dir():
        more = folder(own, own.name)
        files += [f for f in more if f.format != "kern" or _names_piano(f.path)]
    return files


def _names_piano(path: Path) -> bool:
    """Whether a kern file names a piano: reading the rest to find out would be slow."""
    return b"*Ipiano" in path.read_bytes() or b"*Ifortp" in path.read_bytes()


def in_turn(files: Sequence[SourceFile], seed: int) -> list[SourceFile]:
    """Files in random order, one of each folder of the first two levels after another."""
    shuffled = sorted(files)
    random.Random(seed).shuffle(shuffled)
    groups: dict[str, list[SourceFile]] = {}
    for file in shuffled:
        groups.setdefault(f"{file.corpus}/{_folder_of(file)}", []).append(file)
    return [
        group[index]
        for index in range(max(map(len, groups.values()), default=0))
        for group in groups.values()
        if index < len(group)
    ]


def _folder_of(file: SourceFile) -> str:
    levels = file.relative.split("/")
    return levels[1] if levels[0] == "scores" else levels[0]
