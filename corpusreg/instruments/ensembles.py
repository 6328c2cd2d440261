"""What kind of ensemble a score is for, from facts about its parts.

Aim: works are compared with works for similar forces. The kinds are a fixed
vocabulary, described with words for people in `data/ensembles.csv`.

Conventions
-----------
active       the part has at least one pitched note; the others are ignored.
polyphonic   the part sounds two or more notes at once somewhere.
texture      'single line' where one active part never sounds two notes at once,
             otherwise 'several voices'.
Nothing is guessed from compass: four parts without names stay 'unnamed parts'.
"""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import resources

import numpy as np

from corpusreg.instruments import SUNG_SYLLABLES, Instrument, load
from corpusreg.score.notes import Part, Score
from corpusreg.score.played import Played

__all__ = ["Ensemble", "classify", "ensemble_of", "kinds"]

# Parts up to which mixed instruments count as chamber music (a nonet): common
# practice, no source.
LARGEST_CHAMBER = 9

_WINDS = frozenset(("woodwind", "brass"))
_ACCOMPANYING = frozenset(("keyboard", "plucked"))
_ORCHESTRAS = frozenset(("orchestra", "voices and orchestra"))
_ALONE = {
    "piano": "piano",
    "fortepiano": "piano",
    "organ": "organ",
    "guitar": "guitar",
    "harp": "harp",
}


@dataclass(frozen=True)
class Ensemble:
    """kind: a word of `kinds()`; families: sorted; size: active parts (0 for none)."""

    kind: str
    texture: str
    families: tuple[str, ...]
    size: int


@dataclass(frozen=True)
class Kind:
    """A kind with words for sentences ('songs for …'), its wider family, and its meaning.

    family: words for the group in which a work is compared where its own kind is
    too small, '' where no other kind is near enough. placed: whether works of this kind
    share a medium, so that a piece can be placed among them.
    """

    kind: str
    works: str
    family: str
    placed: bool
    meaning: str


@lru_cache(maxsize=1)
def kinds() -> Mapping[str, Kind]:
    """Every kind of ensemble, by name, in the order of the table."""
    table = resources.files("corpusreg") / "data" / "ensembles.csv"
    lines = table.read_text(encoding="utf-8").splitlines()
    return {
        row["kind"]: Kind(
            kind=row["kind"],
            works=row["works"],
            family=row["family"],
            placed=row["placed"] == "yes",
            meaning=row["meaning"],
        )
        for row in csv.DictReader(lines)
    }


def classify(
    score_parts: Sequence[Part],
    active: Sequence[bool],
    polyphonic: Sequence[bool],
) -> Ensemble:
    """Kind, texture, families and size of the ensemble of one score.

    Parameters: parts in score order; `active` and `polyphonic`, one entry a part.
    Raises ValueError when the sequences differ in length.
    """
    table = load()
    matched = table.match_all(score_parts)
    playing = [
        _Player(part, found, table.is_section(part), poly)
        for part, found, on, poly in zip(score_parts, matched, active, polyphonic, strict=True)
        if on and not table.is_unpitched(part)
    ]
    families = sorted({p.family for p in playing if p.family})
    one_line = len(playing) == 1 and not playing[0].polyphonic
    kind = _kind(playing, one_line)
    texture = "single line" if one_line else "several voices"
    return Ensemble(kind, texture, tuple(families), len(playing))


@dataclass(frozen=True)
class _Player:
    part: Part
    instrument: Instrument | None
    section: bool
    polyphonic: bool

    @property
    def family(self) -> str:
        return self.instrument.family if self.instrument else ""

    @property
    def id(self) -> str:
        return self.instrument.id if self.instrument else ""


def _kind(players: Sequence[_Player], one_line: bool) -> str:
    if len(players) == 1:
        return _one(players[0], one_line)
    unnamed = sum(player.instrument is None for player in players)
    if unnamed == len(players):
        return "unnamed parts"
    if unnamed:
        named = _kind([player for player in players if player.instrument], one_line=False)
        # An orchestra is one whoever else plays in it.
        return named if named in _ORCHESTRAS else "mixed and unnamed parts"
    voices = [player for player in players if player.family == "voice"]
    others = [player for player in players if player.family != "voice"]
    if not voices:
        return _instrumental(others)
    return _vocal(voices, others)


def _one(player: _Player, one_line: bool) -> str:
    """A single part. One line on one staff is a melody whatever it is named for."""
    if one_line and player.part.staves == 1:
        return "solo melody"
    if player.instrument is None:
        sung = player.part.lyrics >= SUNG_SYLLABLES  # a hymn on two staves
        return "keyboard" if player.part.staves >= 2 and not sung else "unnamed parts"
    if player.family == "voice":
        return "choir"  # one singer cannot sound two notes at once
    if player.id in _ALONE:
        return _ALONE[player.id]
    return "keyboard" if player.family == "keyboard" else "solo instrument"


def _vocal(voices: Sequence[_Player], others: Sequence[_Player]) -> str:
    families = {player.family for player in others}
    if families <= _ACCOMPANYING:
        choral = any(player.id == "choir" or player.section for player in voices)
        small = len(voices) == 1 or (len(voices) == 2 and bool(others))
        return "song" if small and not choral else "choir"
    return "voices and orchestra" if _is_orchestra(others) else "voices and instruments"


def _instrumental(players: Sequence[_Player]) -> str:
    families = {player.family for player in players}
    if len(families) == 1:
        return _one_family(families.pop(), players)
    if families <= _WINDS | {"percussion-pitched"} and families & _WINDS:
        return "wind ensemble" if "woodwind" in families else "brass ensemble"
    return "orchestra" if _is_orchestra(players) else "chamber"


def _one_family(family: str, players: Sequence[_Player]) -> str:
    count = Counter(player.id for player in players)
    if family in _ACCOMPANYING:
        alone = {_ALONE.get(name, "") for name in count}
        if len(alone) == 1 and "" not in alone:
            return alone.pop()
        return "keyboard" if family == "keyboard" else "plucked ensemble"
    if family == "strings":
        quartet = count == {"violin": 2, "viola": 1, "cello": 1}
        return "string quartet" if quartet else "string ensemble"
    return {
        "woodwind": "wind ensemble",
        "brass": "brass ensemble",
        "percussion-pitched": "percussion ensemble",
    }[family]


def _is_orchestra(players: Sequence[_Player]) -> bool:
    """More than nine parts; or strings with winds in sections, in pairs or with timpani."""
    if len(players) > LARGEST_CHAMBER:
        return True
    strings = [player for player in players if player.family == "strings"]
    winds = [player for player in players if player.family in _WINDS]
    if len(strings) < 2 or not winds:  # church orchestras may have violins and organ only
        return False
    if any(player.section for player in players) or any(p.id == "timpani" for p in players):
        return True
    pairs = [name for name, n in Counter(player.id for player in winds).items() if n >= 2]
    return len(pairs) >= 2


def ensemble_of(score: Score, played: Played) -> Ensemble:
    """The ensemble of a work, from its parts and from what they play."""
    part = played.notes.part
    active = [bool((part == index).any()) for index in range(len(score.parts))]
    chords = [on and _sounds_together(played, index) for index, on in enumerate(active)]
    found = classify(score.parts, active, chords)
    # Older keyboards have neither a pedal that lifts the dampers nor touch that makes
    # loud and soft (common practice, no source).
    if found.kind == "keyboard" and not found.families and (score.dynamics or score.pedals):
        return replace(found, kind="piano")
    return found


def _sounds_together(played: Played, index: int) -> bool:
    """Whether a part sounds two pitches at once in more than a hundredth of its notes."""
    rows = played.notes.part == index
    onset, pitch = played.notes.onset[rows], played.notes.pitch[rows]
    end = onset + played.notes.duration[rows]
    overlaps = (onset[1:] < np.maximum.accumulate(end)[:-1]) & (pitch[1:] != pitch[:-1])
    return bool(overlaps.sum() * 100 > len(onset))
