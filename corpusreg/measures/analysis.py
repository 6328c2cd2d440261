"""The one place where measures are called, for the reference and the piece alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from corpusreg import instruments
from corpusreg.measures import movement, space
from corpusreg.measures.climbs import climbs, wedges
from corpusreg.measures.definitions import BY_NAME, MEASURES
from corpusreg.measures.dialogues import dialogues
from corpusreg.measures.doublings import in_octaves
from corpusreg.measures.events import Event, ranked
from corpusreg.measures.gaps import gaps
from corpusreg.measures.ground import ground, lasting
from corpusreg.measures.outer_lines import moments
from corpusreg.measures.peaks import closing, high_and_low, isolated
from corpusreg.measures.pedal_points import pedal_points
from corpusreg.measures.returns import octave_returns
from corpusreg.measures.saturation import Saturation, decayed, saturation
from corpusreg.measures.shifts import (
    DUST,
    Shift,
    clear_shifts,
    clear_sizes,
    counts_in_rate,
    shift_events,
    shifts,
    sung_entry,
)
from corpusreg.measures.silence import silences
from corpusreg.measures.stays import Stay, expected_dwell, stays
from corpusreg.measures.texture import Texture, beat_weights, texture
from corpusreg.measures.voices import crossings, entries
from corpusreg.score.played import MARK, Notes, Played, PlayedBars

__all__ = [
    "EVENT_RATES", "Analysis", "analyse", "is_narrow", "line_events", "occupied_bands",
    "part_events",
]  # fmt: skip

# A stay is narrow within an octave in a single line and within two octaves where
# several voices sound: about what one melody and one hand-to-hand texture fill
# (common practice, no source).
NARROW_LINE = 12
NARROW_TEXTURE = 24
LONG_STAY = 4

# Kinds of events that are counted per 100 bars, by measure.
EVENT_RATES = {
    "entries": ("withheld_bass", "withheld_top", "cleared", "entry"),
    "pedal_points": ("pedal_point",),
}

# At most one stay in so many bars is among the main ones, and none shorter than MAIN_BARS.
MAIN_EVERY = 12
MAIN_BARS = 2


@dataclass(frozen=True)
class Value:
    """A measure's value (None where there is none) and, in plain words, why it is not placed.

    With an empty `reason` the value may be placed against a reference.
    """

    value: float | None
    reason: str = ""


@dataclass(frozen=True)
class Analysis:
    """What was measured in one work or one part.

    lowest, highest: MIDI numbers. core: quantiles .05 and .95 of weight. texture: weights
    without articulation, as movement, shifts and stays see them; its total is as heard.
    heard: shape as `texture.beats`, weights with it: what sounds.
    stays and the clear shifts in order of time; `ranking` lists the indices of stays,
    the most telling first; the first `main` of them are the main ones. events: the
    strongest first. moves: all that meets the definition of a shift, of which those of one
    player alone count in no rate. hollow: share of each played bar in which there is a gap.
    """

    played: Played
    texture: Texture
    heard: NDArray[np.float64]
    lowest: int
    highest: int
    core: tuple[int, int]
    values: Mapping[str, Value]
    stays: tuple[Stay, ...]
    ranking: tuple[int, ...]
    main: int
    shifts: tuple[Shift, ...]
    moves: tuple[Shift, ...]
    hollow: NDArray[np.float64]
    band_shares: NDArray[np.float64]
    events: tuple[Event, ...]
    saturation: Saturation


def analyse(played: Played) -> Analysis:
    """Measure a work or a part. Needs at least one note."""
    notes, bars = played.notes, played.bars
    steady = lasting(notes, bars)
    heard = texture(notes, bars)
    held = texture(steady, bars)
    here = ground(steady, bars)
    spaces = gaps(here)
    woven = replace(heard, beats=held.beats, bars=held.bars, lines=spaces.lines)
    core = space.core(woven.total)
    sizes = clear_sizes(woven, bars.length >= bars.full)
    found_stays = tuple(stays(woven, (np.flatnonzero(sizes) + 1).tolist()))
    players = instruments.load().match_all(played.parts)
    sung = [number for number, own in enumerate(players) if own and own.family == "voice"]
    for step in np.flatnonzero(sizes).tolist() if sung else ():
        if sung_entry(steady, bars, int(woven.sounding[step + 1]), sung):
            sizes[step] = 0.0
    found_shifts = tuple(clear_shifts(woven, sizes))
    lowest, highest = int(notes.pitch.min()), int(notes.pitch.max())
    found_events = ranked(
        [
            *silences(here, played.seconds),
            *shift_events(found_shifts, sizes[sizes > 0].tolist(), bars),
            *spaces.events,
            *line_events(played),
        ],
        new_level(notes, bars),
    )
    moves = tuple(shifts(woven, _lines(played)))
    counted = sum(counts_in_rate(each) for each in moves)
    raw = _raw(woven, lowest, highest, core, found_stays, counted, spaces.share)
    raw |= _event_rates(found_events, len(bars))
    ranking = rank_stays(found_stays, core, woven, bars)
    return Analysis(
        played=played,
        texture=woven,
        heard=heard.beats,
        lowest=lowest,
        highest=highest,
        core=core,
        values={m.name: _placeable(m.name, raw[m.name], woven) for m in MEASURES},
        stays=found_stays,
        ranking=ranking,
        main=_main(found_stays, ranking, bars),
        shifts=found_shifts,
        moves=moves,
        hollow=spaces.hollow,
        band_shares=space.band_shares(woven.total),
        events=found_events,
        saturation=_saturation(played, heard, players),
    )


def part_events(played: Played) -> dict[int, tuple[Event, ...]]:
    """Events of each sounding part by its index; empty where only one part sounds."""
    numbers = np.unique(played.notes.part).tolist()
    if len(numbers) < 2:
        return {}
    found = {}
    for number in numbers:
        own = played.only(played.notes.part == number)
        here = ground(lasting(own.notes, own.bars), own.bars)
        events = [*silences(here, own.seconds), *line_events(own)]
        found[number] = ranked(
            (replace(event, part=number) for event in events), new_level(own.notes, own.bars)
        )
    return found


def new_level(notes: Notes, bars: PlayedBars) -> NDArray[np.bool_]:
    """Whether each played bar is a mark louder or softer than the one before, shape (bars,).

    By the mean loudness of the notes that begin in it; a bar in which none begins, and one
    after it, is not.
    """
    time = np.bincount(notes.bar, weights=notes.written, minlength=len(bars))
    loud = np.bincount(notes.bar, weights=notes.written * notes.loudness, minlength=len(bars))
    mean = np.divide(loud, time, out=np.full(len(bars), np.nan), where=time > 0)
    change = np.abs(np.diff(mean, prepend=np.nan))
    return np.asarray(np.nan_to_num(change) >= MARK - DUST)


def _lines(played: Played) -> NDArray[np.float64]:
    """Mean pitch of every sounding player in every played bar, NaN in silence."""
    notes, bars = played.notes, len(played.bars)
    players = np.unique(notes.part, return_inverse=True)[1]
    cell = players * bars + notes.bar
    size = (int(players.max()) + 1) * bars
    time = np.bincount(cell, weights=notes.duration, minlength=size)
    heights = np.bincount(cell, weights=notes.duration * notes.pitch, minlength=size)
    mean = np.divide(heights, time, out=np.full(size, np.nan), where=time > 0)
    return np.asarray(mean.reshape(-1, bars), np.float64)


def _event_rates(found: tuple[Event, ...], bars: int) -> dict[str, float]:
    """Events per 100 bars."""
    return {
        name: 100 * sum(event.kind in kinds for event in found) / bars
        for name, kinds in EVENT_RATES.items()
    }


def _main(found: tuple[Stay, ...], ranking: tuple[int, ...], bars: PlayedBars) -> int:
    """How many of the ranked stays are main ones: long enough, and few."""
    long = sum(_full_bars(found[index], bars) >= MAIN_BARS for index in ranking)
    return min(long, max(len(bars) // MAIN_EVERY, 1))


def _saturation(
    played: Played, heard: Texture, players: Sequence[instruments.Instrument | None]
) -> Saturation:
    classes = [each.decay if each else "sustained" for each in players]
    fading = decayed(played.notes, played.bars, classes)
    same = fading is played.notes
    weights = heard.beats if same else beat_weights(fading, played.bars)
    return saturation(weights, played.notes, played.bars, played.seconds)


def is_narrow(stay: Stay, single_line: bool) -> bool:
    """Whether a stay fills little space."""
    return stay.width <= (NARROW_LINE if single_line else NARROW_TEXTURE)


def rank_stays(
    found: tuple[Stay, ...], core: tuple[int, int], woven: Texture, bars: PlayedBars
) -> tuple[int, ...]:
    """Indices of stays, the most telling first: long, narrow and full for this piece.

    Worth is bars^.7 x exp(-2 width / core span) x fullness^.25, with fullness
    measured against the piece's own middle bar and counted at most as 1. Upbeats and
    stays of a single bar come last.
    """
    span = max(core[1] - core[0], 1)
    usual = max(float(np.median(woven.bars.sum(axis=1)[woven.sounding])), 1e-9)
    worth = [
        stay.bars**0.7 * np.exp(-2 * stay.width / span) * min(stay.fullness / usual, 1) ** 0.25
        for stay in found
    ]
    brief = [_full_bars(stay, bars) < MAIN_BARS for stay in found]
    order = range(len(found))
    return tuple(sorted(order, key=lambda i: (brief[i], -worth[i], found[i].first)))


def _full_bars(stay: Stay, bars: PlayedBars) -> int:
    """Bars of a stay without an upbeat."""
    inside = slice(stay.first, stay.last)
    return int((bars.length[inside] >= bars.full[inside]).sum())


def occupied_bands(stay: Stay, analysis: Analysis) -> tuple[int, ...]:
    """Octaves a stay occupies: each holds a tenth of its weight or more.

    What lies within 3 semitones beyond the border of a fuller octave counts
    towards that one, so that playing round a border is not two registers.
    """
    weight = analysis.texture.bars[stay.first : stay.last].sum(axis=0)
    total = weight.sum()
    if not total:
        return ()
    sums = np.add.reduceat(weight, np.arange(0, len(weight), 12))
    held: list[int] = []
    for band in np.argsort(-sums, kind="stable").tolist():
        if weight[12 * band : 12 * band + 12].sum() >= 0.1 * total:
            held.append(band - 1)
            weight[max(12 * band - 3, 0) : 12 * band + 15] = 0
        elif sums[band] < 0.1 * total:
            break
    return tuple(sorted(held))


def _raw(
    woven: Texture,
    lowest: int,
    highest: int,
    core: tuple[int, int],
    found_stays: tuple[Stay, ...],
    counted: int,
    hollow: float,
) -> dict[str, float]:
    bars = len(woven.bars)
    dwell = np.array([stay.bars for stay in found_stays], float)
    narrow = sum(
        stay.bars
        for stay in found_stays
        if stay.bars >= LONG_STAY and is_narrow(stay, woven.single_line)
    )
    phrases = movement.between_phrases(woven)
    return {
        "span": highest - lowest,
        "core_span": core[1] - core[0],
        "octaves_in_use": space.octaves_in_use(woven.total),
        "movement_beat": _mean(movement.between_beats(woven)),
        "movement_bar": _mean(movement.between_bars(woven)),
        "movement_phrase": _mean(phrases),
        "travel": movement.travel(woven),
        "shift_rate": 100 * counted / bars,
        "longest_dwell": float(dwell.max()),
        "expected_dwell": expected_dwell(dwell),
        "narrow_dwell": narrow / bars,
        "hollow_share": hollow,
    }


def _mean(steps: NDArray[np.float64]) -> float:
    return float(steps.mean()) if len(steps) else float("nan")


def _placeable(name: str, value: float, woven: Texture) -> Value:
    measure = BY_NAME[name]
    if measure.needs == "three voices" and woven.lines < 3:
        return Value(None, "needs three voices or more")
    if not np.isfinite(value):
        return Value(None, "too short to measure")
    if len(woven.bars) < measure.minimum_bars:
        return Value(value, f"too short to place: fewer than {measure.minimum_bars} bars")
    return Value(value)


def line_events(played: Played) -> list[Event]:
    """Events of lines of a work, or of one part, in order of time. Needs at least one note."""
    here = moments(played)
    found = [
        *climbs(here),
        *wedges(here),
        *pedal_points(here),
        *high_and_low(here),
        *isolated(here),
        *in_octaves(here),
        *entries(here),
        *crossings(here),
        *octave_returns(here),
        *dialogues(here),
        *closing(here),
    ]
    return sorted(found, key=lambda event: (event.bar, event.beat, event.kind, event.low))
