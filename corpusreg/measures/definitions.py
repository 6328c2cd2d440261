"""Every measure as data: its name, unit, words, and when it may be placed.

The tables, the JSON schema, the glossary and the words on screen come from
here. `VERSION` is raised whenever a measure of the same name would give another
number; references made by another version are refused.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["BY_NAME", "MEASURES", "VERSION", "Measure"]

VERSION = "5"


@dataclass(frozen=True)
class Measure:
    """One number of a whole work.

    name: as in JSON, SQL and Python. title: as people read it. unit: of the
    value. meaning: one sentence in plain words. minimum_bars: shorter works are
    'too short to place'. needs: 'three voices' where thinner textures have no
    value. atom: the value many works share (no shift at all), or None.
    more, less: how a high or low place is said ('ranges wider').
    """

    name: str
    title: str
    unit: str
    meaning: str
    more: str
    less: str
    minimum_bars: int
    needs: str = ""
    atom: float | None = None


MEASURES = (
    Measure(
        "span", "span", "semitones",
        "from the lowest note to the highest, however short they are",
        "ranges wider", "ranges less wide", 4,
    ),
    Measure(
        "core_span", "main range", "semitones",
        "the space that nine tenths of the sound fills, without rare or passing notes",
        "fills a wider space", "fills a narrower space", 4,
    ),
    Measure(
        "octaves_in_use", "octaves in use", "octaves",
        "over how many octaves (C to B) the sound spreads; a little-used octave counts little",
        "spreads its sound over more octaves", "gathers its sound in fewer octaves", 4,
    ),
    Measure(
        "movement_beat", "activity from beat to beat", "semitones",
        "how far the sound as a whole moves from one beat to the next",
        "moves more from beat to beat", "moves less from beat to beat", 4,
    ),
    Measure(
        "movement_bar", "registral activity", "semitones",
        "how far the sound as a whole moves from one bar to the next",
        "moves more from bar to bar", "moves less from bar to bar", 4,
    ),
    Measure(
        "movement_phrase", "activity from phrase to phrase", "semitones",
        "how far the sound as a whole moves between four bars and the next four",
        "moves more from phrase to phrase", "moves less from phrase to phrase", 16,
    ),
    Measure(
        "travel", "activity within the bar", "semitones a beat",
        "how far the sound moves from each beat of a bar to the next one in it",
        "moves more within the bar", "moves less within the bar", 4,
    ),
    Measure(
        "shift_rate", "shifts", "per 100 bars",
        "how often the register changes clearly from one bar to the next",
        "shifts more often", "shifts less often", 16, atom=0.0,
    ),
    Measure(
        "longest_dwell", "longest time in one register", "bars",
        "the longest stretch that keeps one register",
        "keeps one register for longer", "keeps one register for less long", 16,
    ),
    Measure(
        "expected_dwell", "typical time in one register", "bars",
        "how long, on average, the register sounding at a moment picked at random lasts",
        "usually stays longer in one register", "usually stays less long in one register", 16,
    ),
    Measure(
        "narrow_dwell", "time in a narrow register", "share of bars",
        "how much of the time lies in stretches of four bars or more in a narrow register",
        "spends more time in a narrow register", "spends less time in a narrow register", 16,
        atom=0.0,
    ),
    Measure(
        "hollow_share", "time with a gap", "share of time",
        "how much of the time a gap of more than an octave (19 semitones above the bass) lies "
        "between neighbouring voices, for two bars or more",
        "has a gap in the texture more of the time",
        "has a gap in the texture less of the time", 4,
        needs="three voices", atom=0.0,
    ),
    Measure(
        "entries", "entries after silence", "per 100 bars",
        "how often a register is entered after a long silence: the bass or the top is brought "
        "in, or a place inside the texture is filled",
        "brings in silent registers more often", "brings in silent registers less often", 16,
        atom=0.0,
    ),
    Measure(
        "pedal_points", "pedal points", "per 100 bars",
        "how often one note is held or repeated through bars in which the rest moves on",
        "has more pedal points", "has fewer pedal points", 16, atom=0.0,
    ),
)  # fmt: skip

BY_NAME = {measure.name: measure for measure in MEASURES}
