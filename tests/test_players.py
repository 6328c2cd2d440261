"""Each player's part in the instrument and in the ensemble: by hand, and laws on scores."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from conftest import PIECES
from event_pieces import parts_reversed, split_by_ties
from hypothesis import given, settings
from hypothesis import strategies as st

from corpusreg.comparison.choirs import Cue, choirs
from corpusreg.comparison.placing import part_names
from corpusreg.comparison.players import InstrumentUse, Players, players
from corpusreg.instruments import Instruments, load
from corpusreg.measures import height
from corpusreg.measures.analysis import analyse
from corpusreg.norms.written import Written
from corpusreg.score.notes import Bars, Part, Score, Sign, note_table
from corpusreg.score.played import perform
from corpusreg.score.readers import read_file
from corpusreg.text.console import family_map
from corpusreg.text.players import CAUTION, player_remarks

BAR, TICKS = 96, 24
READING: Any = SimpleNamespace(reaching=(), piece=None)
Bars_ = Sequence[Sequence[int]]


def score(**lines: Bars_) -> Score:
    """Parts by name (underlines for spaces), each bar a list of equally long pitches."""
    rows = [
        (part, 1, 0, bar, bar * BAR + i * BAR // len(own), BAR // len(own), pitch, -1)
        + (False,) * 4
        for part, bars in enumerate(lines.values())
        for bar, own in enumerate(bars)
        for i, pitch in enumerate(own)
    ]
    count = max(map(len, lines.values()))
    labels = [str(bar + 1) for bar in range(count)]
    bars = Bars.plain(labels, [BAR] * count, [BAR] * count, [TICKS] * count)
    parts = tuple(Part(name.replace("_", " ")) for name in lines)
    return Score(TICKS, parts, bars, note_table(rows))


def found_in(
    written: Score, table: Instruments | None = None, known: dict[str, Written] | None = None
) -> Players:
    played = perform(written)
    parts = {
        name: analyse(played.only(played.notes.part == index))
        for index, name in part_names(played).items()
    }
    return players(analyse(played), parts, table or load(), known)


def lying(found: Players) -> dict[str, InstrumentUse]:
    return {player.name: player.use for player in found.parts if player.use}


def test_a_high_bassoon_in_a_middling_whole() -> None:
    (written,) = read_file(PIECES / "three-at-a-table.musicxml").scores
    found = found_in(written)
    bassoon = lying(found)["Bassoon"]
    assert bassoon.middle_but_edge > 0.9
    assert bassoon.edge > 0.9
    assert bassoon.tiring > 0.25
    assert bassoon.out_of_range == ()
    assert bassoon.edge_run == (0, 24)
    others = [lies for name, lies in lying(found).items() if name != "Bassoon"]
    assert all(lies.middle_but_edge < 0.1 for lies in others)
    assert found.two_level is not None
    # Bb1, the bassoon's lowest note, to D7, the flute's highest.
    assert found.two_level.compass == (34, 98)
    assert found.two_level.grid[1].sum() > 0.6


def test_what_lies_beyond_the_range_is_flagged_and_not_clipped() -> None:
    found = found_in(score(Piccolo=[[74], [69, 69], [69, 81]], Viola=[[60]] * 3))
    lies = lying(found)["Piccolo"]
    (beyond,) = lies.out_of_range
    assert (beyond.pitch, beyond.side, beyond.notes, beyond.bar) == (69, "below", 3, 1)
    assert lies.height.low == pytest.approx((69 - 74) / (108 - 74))
    # Of three bars one and a half lie below: they are in no register.
    assert sum(lies.registers.values()) == pytest.approx(0.5)


def test_an_instrument_that_is_not_known_is_listed_and_not_guessed() -> None:
    found = found_in(score(Flute=[[72]] * 2, Wobbleboard=[[48]] * 2))
    assert [player.use is None for player in found.parts] == [False, True]
    assert found.two_level is not None
    assert found.two_level.unmatched == ("Wobbleboard",)
    assert found.two_level.compass == load()["flute"].professional
    assert found_in(score(Wobbleboard=[[48]] * 2)).two_level is None


def test_tiring_time_and_its_bars() -> None:
    # A bassoon tires from Bb4 (70): half of bar 2, all of bars 3 and 4, none of bar 1.
    lies = lying(found_in(score(Bassoon=[[60], [60, 70], [72], [71, 70], [50]])))["Bassoon"]
    assert lies.tiring == pytest.approx(2.5 / 5)
    assert lies.tiring_run == (1, 4)
    assert lies.registers == pytest.approx({"middle": 2.5 / 5, "tenor": 2.5 / 5})
    assert lying(found_in(score(Bassoon=[[50]])))["Bassoon"].tiring_run is None


def stills(found: Players) -> list[tuple[str | None, int, int, str]]:
    assert found.two_level is not None
    return [(s.part, s.first, s.last, s.way) for s in found.two_level.stays]


def test_one_note_handed_on_keeps_still_in_the_whole_only() -> None:
    """A4 on the flute is low, on the bassoon it is high."""
    silent: list[list[int]] = [[]] * 8
    found = found_in(score(Flute=[*[[69]] * 8, *silent], Bassoon=[*silent, *[[69]] * 8]))
    assert stills(found)[0] == (None, 0, 16, "whole")
    assert ("instrument", None) not in [(way, part) for part, _, _, way in stills(found)]


def test_middle_of_one_then_of_the_other_keeps_still_in_the_instruments_only() -> None:
    """G5 is the middle of the flute, G3 that of the bassoon."""
    silent: list[list[int]] = [[]] * 8
    found = found_in(score(Flute=[*[[79]] * 8, *silent], Bassoon=[*silent, *[[55]] * 8]))
    assert (None, 0, 16, "instrument") in stills(found)
    whole = [s for s in stills(found) if s[0] is None and s[3] != "instrument"]
    assert whole == [(None, 0, 8, "both"), (None, 8, 16, "both")]


def test_a_part_alone_keeps_still_both_ways() -> None:
    found = found_in(score(Flute=[*[[72]] * 8, *[[90]] * 8]))
    assert stills(found) == [(None, 0, 8, "both"), (None, 8, 16, "both")]


def test_a_part_that_stays_while_the_whole_moves() -> None:
    found = found_in(
        score(Viola=[[60]] * 16, Violin=[*[[62]] * 8, *[[93]] * 8], Cello=[[58]] * 16)
    )
    own = {(part, first, last): way for part, first, last, way in stills(found) if part}
    assert own["Viola", 0, 16] == "instrument"
    assert own["Violin", 0, 8] == "both"


def test_staves_of_a_keyboard_are_told_apart() -> None:
    rows = [
        (0, staff, 0, 0, 0, BAR, pitch, -1) + (False,) * 4
        for staff, pitch in ((1, 76), (2, 40))
    ]
    bars = Bars.plain(["1"], [BAR], [BAR], [TICKS])
    (player,) = found_in(Score(TICKS, (Part("Piano", staves=2),), bars, note_table(rows))).parts
    assert [(s.number, s.lowest, s.highest) for s in player.staves] == [
        (1, 76, 76),
        (2, 40, 40),
    ]
    assert player.staves[0].height is not None
    assert player.staves[0].height.mean == pytest.approx((76 - 21) / 87)


# --- laws on generated scores ---------------------------------------------------------

NAMES = ("Flute", "Bassoon", "Viola")
LINES = st.lists(st.lists(st.integers(52, 76), min_size=1, max_size=4), min_size=2, max_size=10)
SCORES = st.lists(LINES, min_size=1, max_size=3).map(
    lambda lines: score(**dict(zip(NAMES, lines, strict=False)))
)


@settings(max_examples=20, deadline=None)
@given(SCORES, st.sampled_from((-24, -12, 12, 24)))
def test_a_part_moved_by_octaves_moves_its_height_and_nothing_in_its_own_stays(
    written: Score, by: int
) -> None:
    notes = written.notes.copy()
    notes["pitch"][notes["part"] == 0] += by
    before = lying(found_in(written))["Flute"]
    after = lying(found_in(replace(written, notes=notes)))["Flute"]
    low, high = before.instrument.professional
    step = by / (high - low)
    for name in ("mean", "low", "high"):
        moved = getattr(after.height, name) - getattr(before.height, name)
        assert moved == pytest.approx(step)
    assert [stay[:2] for stay in after.stays] == [stay[:2] for stay in before.stays]
    assert np.allclose(
        [stay[2:] for stay in after.stays], np.array([stay[2:] for stay in before.stays]) + step
    )
    assert [bar for bar, _ in after.shifts] == [bar for bar, _ in before.shifts]
    assert np.allclose([far for _, far in after.shifts], [far for _, far in before.shifts])


@settings(max_examples=20, deadline=None)
@given(SCORES, st.sampled_from((parts_reversed, split_by_ties)))
def test_order_of_parts_and_ties_change_nothing(written: Score, change) -> None:  # type: ignore[no-untyped-def]
    before, after = found_in(written), found_in(change(written))
    assert before.two_level is not None
    assert after.two_level is not None
    assert np.allclose(before.two_level.grid, after.two_level.grid)
    assert sorted(stills(before), key=str) == sorted(stills(after), key=str)
    for name, lies in lying(before).items():
        other = lying(after)[name]
        for share in ("tiring", "dull", "edge", "outside", "middle_but_edge"):
            assert getattr(other, share) == pytest.approx(getattr(lies, share))
        assert other.registers == pytest.approx(lies.registers)
        assert other.height.mean == pytest.approx(lies.height.mean)
        assert (other.tiring_run, other.edge_run) == (lies.tiring_run, lies.edge_run)


@settings(max_examples=20, deadline=None)
@given(SCORES)
def test_shares_of_the_whole_are_those_of_its_parts(written: Score) -> None:
    found = found_in(written)
    assert found.two_level is not None
    assert found.two_level.grid.sum() == pytest.approx(1)
    assert found.two_level.thirds.sum() == pytest.approx(1)
    weights = [player.weight.sum() for player in found.parts]
    for name in ("middle_but_edge", "edge_but_middle"):
        parts = [getattr(player.use, name) for player in found.parts]
        mean = np.average(parts, weights=weights)
        assert getattr(found.two_level, name) == pytest.approx(mean)
        assert 0 <= mean <= 1
    for player in found.parts:
        assert player.audible == height.measure(player.weight, height.AUDIBLE)
        own = [stay[:2] for stay in player.use.stays] if player.use else []
        assert (own[0][0], own[-1][1]) == (0, len(written.bars))


def test_where_a_line_speaks_of_an_edge_a_word_of_caution_stands() -> None:
    def remarks(*bars: Sequence[int]) -> list[str]:
        found = found_in(score(Clarinet=bars))
        comparison: Any = SimpleNamespace(players=found, odder=None, bars=None)
        return player_remarks(comparison, READING)

    middle = [[67, 69, 71, 67]] * 9
    assert remarks(*middle) == []
    # The tiring zone of the clarinet begins at E flat 6; one bar is no passage.
    assert remarks(*middle, [88, 89, 88, 90]) == [CAUTION]


def evenly(instrument: str, low: int, high: int, ensemble: str = "") -> dict[str, Written]:
    """As many notes on each pitch of a range."""
    share = np.zeros(128)
    share[low : high + 1] = 1 / (high + 1 - low)
    return {instrument: Written(instrument, ensemble, 20, share)}


def test_a_violin_lies_high_where_few_notes_are_written() -> None:
    known = evenly("violin", 55, 94)  # 36 of 40 notes lie below B flat 6
    low, top = [[62, 64]] * 6, [[91, 93], [92, 94]] * 2
    found = lying(found_in(score(Violin=[*low, *top]), None, known))["Violin"].reach
    assert found is not None
    assert (found.side, found.first, found.last, found.low, found.high) == (
        "high",
        6,
        10,
        91,
        94,
    )
    assert found.beyond == pytest.approx((36 + 38 + 37 + 39) / 4 / 40)
    assert found.share == pytest.approx(0.4)
    open_strings = found_in(score(Violin=[[55, 56]] * 8), None, known)
    assert lying(open_strings)["Violin"].reach is None
    three = found_in(score(Violin=[*[[62, 64]] * 20, *top[:3]]), None, known)
    assert lying(three)["Violin"].reach is None


def test_a_low_flute_under_brass_and_an_alto_at_the_bottom() -> None:
    low = [[60, 62, 64, 62]] * 6
    known = evenly("flute", 60, 99)
    written = score(Flute=low, Horn=[[48]] * 6, Trumpet=[[60]] * 2)
    found = lying(found_in(written, None, known))["Flute"].reach
    assert found is not None
    assert (found.side, found.zone, found.under) == ("low", "dull", ("Horn",))
    high = score(Flute=[[96, 98]] * 6, Horn=[[48]] * 6)
    above = lying(found_in(high, None, known))["Flute"].reach
    assert above is not None and (above.side, above.under) == ("high", ())
    alto = lying(found_in(score(Alto=[[53, 54]] * 8), None, evenly("alto", 53, 77)))["Alto"]
    assert alto.reach is not None and (alto.reach.side, alto.reach.below) == ("low", "")


@pytest.mark.parametrize(("tenor", "below"), [(60, "Tenor"), (48, "")])
def test_an_alto_is_said_to_lie_below_the_tenor_where_it_does(tenor: int, below: str) -> None:
    written = score(Alto=[[53, 54]] * 8, Tenor=[[tenor]] * 8, Bass=[[43]] * 8)
    found = found_in(written, None, evenly("alto", 53, 77))
    reach = lying(found)["Alto"].reach
    assert reach is not None and reach.below == below


def test_without_a_repertoire_the_comfortable_span_tells() -> None:
    lies = lying(found_in(score(Flute=[[90, 91]] * 5)))["Flute"]
    assert lies.instrument.comfortable[1] < 90
    assert lies.reach is not None and lies.reach.beyond is None


def test_an_instrument_that_is_not_known_is_told_plainly() -> None:
    comparison: Any = SimpleNamespace(players=found_in(score(Kazoo_of_mine=[[60]])), odder=None)
    (said,) = player_remarks(comparison, READING)
    assert said.startswith("No instrument is known for Kazoo of mine: notes are shown")


def test_families_of_a_large_ensemble_by_hand() -> None:
    """Ten parts in four bars: all, strings and flute, the flute alone, all."""
    winds = {"Flute": 86, "Oboe": 76, "Clarinet_in_C": 72, "Bassoon": 50}
    brass = {"Horn_in_C": 55, "Trumpet_in_C": 67, "Tuba": 36}
    strings = {"Violin": 88, "Viola": 64, "Cello": 43}
    bars: dict[str, list[list[int]]] = {
        name: [[pitch], [pitch] if name in strings else [], [], [pitch]] * 2
        for name, pitch in (winds | brass | strings).items()
    }
    bars["Flute"] = [[86], [91], [86], [86], [86], [91], [86], [86]]
    written = score(**bars)
    everyone = found_in(written)
    assert choirs(replace(everyone, parts=everyone.parts[:9]), perform(written)) is None
    found = choirs(everyone, perform(written))
    assert found is not None
    told = {
        each.family: (each.playing, each.top, each.bottom, each.leads, each.founds)
        for each in found.choirs
    }
    # The flute has the top of bars 2 and 3, and alone in bar 3 the bottom too.
    assert told == {
        "woodwind": (1.0, 0.5, 0.25, "Flute", "Flute"),
        "brass": (0.5, 0.0, 0.5, "", "Tuba"),
        "strings": (0.75, 0.5, 0.25, "Violin", "Cello"),
    }
    assert found.tutti == ((3, 5),)
    assert found.alone == ()  # a bar of it is no solo
    assert set(found.cues) <= {Cue(0, ("woodwind", "brass", "strings"), "Violin", "Tuba")}
    played = perform(written)
    lines = {
        name: analyse(played.only(played.notes.part == index))
        for index, name in part_names(played).items()
    }
    piece: Any = SimpleNamespace(
        players=everyone, whole=SimpleNamespace(played=played), parts=lines, bars=played.bars
    )
    rows = [line.split("|")[:2] for line in family_map(piece)[:-1]]
    assert [(name.strip(), row) for name, row in rows] == [
        ("wood", "#::##::#"), ("brass", "#  ##  #"), ("strgs", "## ### #"),
    ]  # fmt: skip
    begins = replace(written.bars, section=np.arange(8) == 3)
    lettered = replace(written, bars=begins, signs=(Sign(3, "rehearsal", "B"),))
    (cue,) = choirs(everyone, perform(lettered)).cues  # type: ignore[union-attr]
    assert (cue.bar, cue.mark, cue.top, cue.bottom) == (3, "B", "Violin", "Tuba")
