"""Published findings about pitch height, range and motion, asked from the store.

Each finding is asked with a query of queries/: of the chorales in the reference that ships,
and from references built here of bundled scores, quartets with some chorales (default
licence tiers), every fourteenth Palestrina file (rights reserved) and every second Essen file
(non-commercial). Figures are of notes as played, ties merged and repeats unfolded, copies
left out; a published figure counts notes as written.
Tolerances cover that and the choice of works; where a finding is a direction, the
direction alone is asked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest
from conftest import fewer_nulls

import corpusreg
from corpusreg import store
from corpusreg.building.build import DEFAULT_TIERS
from corpusreg.corpus import catalogue
from corpusreg.corpus.catalogue import SourceFile
from corpusreg.instruments import load
from corpusreg.score.pitch import parse_note
from corpusreg.store import sql
from corpusreg.system import settings

CHINESE = ("essenFolksong/han1.abc", "essenFolksong/han2.abc")
VOICES = ("soprano", "alto", "tenor", "bass")
# Four-part chorales for voices alone.
CHORALES = {"collections": "^bach-chorales$", "ensemble": "choir", "players": 4}
QUARTET = {"ensemble": "string quartet"}

Rows = list[dict[str, Any]]
Build = Callable[[Callable[[SourceFile], bool], tuple[str, ...], int], store.Reference]


@pytest.fixture(scope="module")
def build(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Build]:
    """A function that builds a reference of the bundled files that are wanted."""
    opened: list[store.Reference] = []

    def make(
        wanted: Callable[[SourceFile], bool], tiers: tuple[str, ...], every: int
    ) -> store.Reference:
        files = [file for file in catalogue.bundled() if wanted(file)][::every]
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv("CORPUSREG_HOME", str(tmp_path_factory.mktemp("home")))
            patch.setattr(catalogue, "bundled", lambda: files)
            fewer_nulls(patch)
            built = corpusreg.extract(workers=2, tiers=tiers)
        assert built.failed == 0
        opened.append(store.Reference(built.path))
        return opened[-1]

    yield make
    for reference in opened:
        reference.close()


@pytest.fixture(scope="module")
def chorales() -> Iterator[store.Reference]:
    """The reference that ships; `test_shipped` holds what it says against the code."""
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("CORPUSREG_SHIPPED")
        folder = settings.packed_folder()
    with store.Reference(folder, folder) as opened:
        yield opened


@pytest.fixture(scope="module")
def scores(build: Build) -> store.Reference:
    names = [file.relative for file in catalogue.bundled()]
    some = {name for name in names if name.startswith(("haydn/", "mozart/"))}
    for folder, every in (("bach/", 8), ("beethoven/", 3)):
        some |= {*[name for name in names if name.startswith(folder)][::every]}
    return build(lambda file: file.relative in some, DEFAULT_TIERS, 1)


@pytest.fixture(scope="module")
def palestrina(build: Build) -> store.Reference:
    return build(lambda file: file.relative.startswith("palestrina/"), ("reserved",), 14)


@pytest.fixture(scope="module")
def essen(build: Build) -> store.Reference:
    def wanted(file: SourceFile) -> bool:
        return file.relative.startswith("essenFolksong/") and file.relative not in CHINESE

    return build(wanted, ("noncommercial",), 2)


def ask(reference: store.Reference, name: str, **given: object) -> Rows:
    query = sql.find(name)
    result = reference.query(query.text, query.values(given))
    return [dict(zip(result.names, values, strict=True)) for values in result.rows]


def by_voice(rows: Rows) -> dict[str, dict[str, Any]]:
    assert sorted(row["instrument"] for row in rows) == sorted(VOICES)
    return {row["instrument"]: row for row in rows}


# --- the material itself -------------------------------------------------------------


def test_the_chorales_and_quartets_are_those_meant(
    chorales: store.Reference, scores: store.Reference
) -> None:
    found = chorales.fetch_columns(
        "SELECT count(*) AS files, count(*) FILTER (same_as IS NULL) AS counted FROM works "
        "WHERE collection = 'bach-chorales' AND ensemble = 'choir' AND parts = 4"
    )
    (files,), (counted,) = (found[name].tolist() for name in ("files", "counted"))
    assert files == pytest.approx(365, abs=5), "music21 10 has 365 for voices alone"
    assert files - 25 <= counted <= files, "some twenty pairs hold the same music"
    voices = by_voice(ask(chorales, "characteristic_range", **CHORALES))
    assert {row["works"] for row in voices.values()} == {counted}
    players = ask(scores, "activity_of_parts", **QUARTET)
    works = {(row["instrument"], row["number"]): row["works"] for row in players}
    assert set(works) == {("violin", 1), ("violin", 2), ("viola", 1), ("cello", 1)}
    assert len(set(works.values())) == 1
    assert min(works.values()) >= 25


# --- ranges --------------------------------------------------------------------------


# Aarden and von Hippel 2004, Music Theory Online 10.2, Table 4.2.2a: the shortest range
# with at least 95 % of a part's notes. Width within 1, ends within 2 semitones.
@pytest.mark.parametrize(
    ("voice", "low", "high"),
    [
        ("soprano", "Eb4", "E5"),
        ("alto", "A3", "A4"),
        ("tenor", "F3", "F4"),
        ("bass", "F2", "Bb3"),
    ],
)
def test_characteristic_ranges_of_the_voices(
    chorales: store.Reference, voice: str, low: str, high: str
) -> None:
    row = by_voice(ask(chorales, "characteristic_range", **CHORALES))[voice]
    within(row, low, high)


def test_characteristic_range_of_the_first_violin(scores: store.Reference) -> None:
    # The same table: Violin I in quartets by Haydn and Mozart, D4-D6.
    rows = ask(scores, "characteristic_range", collections="^(haydn|mozart)-quartets$")
    (first,) = [row for row in rows if (row["instrument"], row["number"]) == ("violin", 1)]
    within(first, "D4", "D6")


def within(row: dict[str, Any], low: str, high: str) -> None:
    published = parse_note(low), parse_note(high)
    assert row["width"] == pytest.approx(published[1] - published[0], abs=1)
    assert (row["low"], row["high"]) == pytest.approx(published, abs=2)


# The same table: share of the notes in one octave, within 2.5 points.
@pytest.mark.parametrize(
    ("voice", "low", "share"),
    [
        ("soprano", "E4", 0.95),
        ("alto", "A3", 0.96),
        ("tenor", "F3", 0.96),
        ("bass", "A2", 0.87),
    ],
)
def test_share_of_notes_in_one_octave(
    chorales: store.Reference, voice: str, low: str, share: float
) -> None:
    given = CHORALES | {"instrument": voice}
    (row,) = ask(chorales, "fullest_range", low=parse_note(low), **given)
    assert row["share"] == pytest.approx(share, abs=0.025)
    # No octave holds fewer notes than the published one, and the fullest is near it.
    (best,) = ask(chorales, "fullest_range", **given)
    assert best["share"] >= row["share"]
    assert best["low"] == pytest.approx(row["low"], abs=2)


# Part-writing ranges of harmony textbooks, after Aldwell and Schachter (quoted second-
# hand) and after Kostka and Payne, Tonal Harmony (value from memory): at least 98 % of
# the notes lie inside.
@pytest.mark.parametrize(
    ("voice", "low", "high"),
    [
        *[("soprano", "C4", "G5"), ("alto", "G3", "C5"), ("tenor", "C3", "G4")],
        *[("bass", "E2", "C4"), ("alto", "G3", "D5"), ("bass", "E2", "D4")],
    ],
)
def test_voices_keep_to_the_textbook(
    chorales: store.Reference, voice: str, low: str, high: str
) -> None:
    first, last = parse_note(low), parse_note(high)
    (row,) = ask(
        chorales, "fullest_range", low=first, width=last - first, instrument=voice, **CHORALES
    )
    assert row["high"] == last
    assert row["share"] >= 0.98
    # A range that holds everything would say nothing: a third higher holds less.
    (higher,) = ask(
        chorales,
        "fullest_range",
        low=first + 4,
        width=last - first,
        instrument=voice,
        **CHORALES,
    )
    assert higher["share"] < row["share"]


# Lowest open strings: violin G3, viola C3, cello C2 (Kennan, The Technique of
# Orchestration, quoted second-hand). Of all quartets one note lies below.
def test_strings_stay_above_their_lowest_string(scores: store.Reference) -> None:
    below = [
        row
        for instrument, lowest in (("violin", "G3"), ("viola", "C3"), ("cello", "C2"))
        for row in ask(
            scores,
            "beyond_a_limit",
            instrument=instrument,
            below=parse_note(lowest),
            collections="quartets$",
        )
    ]
    assert [(row["work"], row["pitch"], row["notes"]) for row in below] == [
        ("bundled:haydn/opus74no1/movement4.mxl", parse_note("B1"), 1)
    ]


# Practical ranges: violin G3-B6, viola C3-C6, cello C2-C5 (Kennan, The Technique of
# Orchestration, quoted second-hand); those of the table of instruments. Beethoven's
# cello in treble clef is encoded as written, where it was read an octave lower (common
# practice of his time, no source): its 600 notes above E5 say nothing about the cello.
@pytest.mark.parametrize("instrument", ["violin", "viola", "cello"])
def test_strings_keep_to_their_practical_range(
    scores: store.Reference, instrument: str
) -> None:
    low, high = load()[instrument].professional
    given = {"instrument": instrument, "collections": "^(haydn|mozart)-quartets$"}
    inside = ask(scores, "fullest_range", low=low, width=high - low, **given)
    # An octave lower the same width holds much less.
    lower = ask(scores, "fullest_range", low=low - 12, width=high - low, **given)
    assert len(inside) == (2 if instrument == "violin" else 1)
    for row, other in zip(inside, lower, strict=True):
        assert row["share"] >= 0.995
        assert other["share"] < row["share"]


# --- spacing -------------------------------------------------------------------------


def test_the_largest_gap_lies_at_the_bottom(chorales: store.Reference) -> None:
    # Aarden and von Hippel 2004, section 2.2.
    found = {
        (row["upper"], row["lower"]): row
        for row in ask(chorales, "spacing_of_parts", **CHORALES)
    }
    top, middle, bottom = (
        found["soprano", "alto"],
        found["alto", "tenor"],
        found["tenor", "bass"],
    )
    assert bottom["mean"] > middle["mean"] + 2
    assert bottom["mean"] > top["mean"] + 2
    # Textbooks keep upper voices within an octave of each other and leave the bass free.
    assert top["over_octave"] < 0.01
    assert middle["over_octave"] < 0.02
    assert bottom["over_octave"] > 0.15


def test_spacing_is_wider_when_the_bass_is_lower(scores: store.Reference) -> None:
    # Huron and Sellmer 1992, Music Perception 10(2):129-149.
    (chorales,) = ask(scores, "gap_above_bass", collections="^bach-chorales$", players=4)
    assert chorales["ensemble"] == "choir"
    assert chorales["rho"] == pytest.approx(-0.75, abs=0.05)
    (quartets,) = ask(scores, "gap_above_bass", collections="quartets$")
    assert quartets["rho"] < -0.5


def test_the_rank_correlation_of_the_query_is_scipys(scores: store.Reference) -> None:
    from scipy.stats import spearmanr

    (row,) = ask(scores, "gap_above_bass", collections="^haydn-quartets$")
    cells = scores.fetch_columns(
        "SELECT bass, gap, onsets FROM bass_gaps AS g JOIN works USING (work) "
        "WHERE collection = 'haydn-quartets' AND same_as IS NULL"
    )
    times = cells["onsets"].astype(int)
    expected = spearmanr(np.repeat(cells["bass"], times), np.repeat(cells["gap"], times))
    assert row["rho"] == pytest.approx(expected.statistic, abs=1e-9)


# --- height --------------------------------------------------------------------------


def test_notated_music_is_centred_a_little_above_middle_c(
    scores: store.Reference, palestrina: store.Reference
) -> None:
    # Huron 2001, Music Perception 19(1):1-64: mean near Eb4 (63; value from memory). The
    # mean of every polyphonic collection lies within a third of that.
    centres = {
        (row["collection"], row["ensemble"]): row["mean"]
        for reference in (scores, palestrina)
        for row in ask(reference, "pitch_centre_by_collection")
    }
    chosen = [centres["bach-chorales", "choir"], centres["palestrina", "choir"]]
    chosen += [mean for (name, kind), mean in centres.items() if kind == "string quartet"]
    assert len(chosen) == 5
    assert all(60 <= mean <= 66 for mean in chosen)
    assert np.mean(chosen) == pytest.approx(63, abs=1.5)


def test_vocal_polyphony_keeps_to_the_gamut(palestrina: store.Reference) -> None:
    # Guidonian gamut, G2 to E5: over 97 % of the notes.
    (row,) = ask(palestrina, "pitch_centre_by_collection", low=43, high=76)
    assert row["notes"] > 40_000
    assert row["inside"] > 0.97
    # And not in any range of that width: an octave higher or lower holds far less.
    for shift in (-12, 12):
        (other,) = ask(
            palestrina, "pitch_centre_by_collection", low=43 + shift, high=76 + shift
        )
        assert other["inside"] < 0.9


# --- motion --------------------------------------------------------------------------


@pytest.mark.slow
def test_phrases_of_folk_songs_are_arches(essen: store.Reference) -> None:
    # Huron 1996, Computing in Musicology 10:3-23 (percentages from memory): convex 38.6,
    # descending 28.8, ascending 19.4, concave 9.7 %. A phrase is a line of ABC here; the
    # Chinese songs are left out. All files give 38.6, 28.8, 19.2 and 9.8 %.
    rows = ask(essen, "phrase_shapes")
    assert sum(row["phrases"] for row in rows) > 15_000
    shares = {row["shape"]: 100 * row["share"] for row in rows}
    published = {"convex": 38.6, "descending": 28.8, "ascending": 19.4, "concave": 9.7}
    for shape, share in published.items():
        assert shares[shape] == pytest.approx(share, abs=1), shape


# Vos and Troost 1989, Music Perception 6(4):383-396: small intervals fall and large ones
# rise; small means up to a major third.
def test_small_intervals_fall_and_large_ones_rise(
    scores: store.Reference, palestrina: store.Reference
) -> None:
    violins = ask(scores, "rising_intervals", instrument="violin", **QUARTET)
    for rows in (violins, ask(palestrina, "rising_intervals")):
        small_and_large(rows)


@pytest.mark.slow
def test_small_intervals_fall_and_large_ones_rise_in_folk_songs(
    essen: store.Reference,
) -> None:
    small_and_large(ask(essen, "rising_intervals"))


def small_and_large(rows: Rows) -> None:
    rising = {row["kind"]: row["rising_of_kind"] for row in rows}
    times = {row["kind"]: row["times_of_kind"] for row in rows}
    assert min(times.values()) > 1000
    # Three standard errors away from even.
    assert rising["small"] < 0.5 - 1.5 * times["small"] ** -0.5
    assert rising["large"] > 0.5 + 1.5 * times["large"] ** -0.5


def test_lower_parts_have_fewer_notes_in_quartets(scores: store.Reference) -> None:
    # Broze and Huron 2013, Music Perception 31(1):19-31. Chorales, all syllables together
    # and ornaments in the lower voices, are not so: their soprano has fewest.
    players = {
        (row["instrument"], row["number"]): row["onsets"]
        for row in ask(scores, "activity_of_parts", **QUARTET)
    }
    order = [("violin", 1), ("violin", 2), ("viola", 1), ("cello", 1)]
    assert sorted(players, key=lambda part: -players[part]) == order
    voices = by_voice(ask(scores, "activity_of_parts", **CHORALES))
    assert min(VOICES, key=lambda voice: voices[voice]["onsets"]) == "soprano"
