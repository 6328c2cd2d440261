"""Profiles: planted clusters, one lump, the store, words, the command."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import direct
import numpy as np
import pytest
from batch_work import row
from conftest import PIECES, Command, fewer_nulls
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from corpusreg import store
from corpusreg.building.finish import finishing
from corpusreg.measures import definitions
from corpusreg.measures.definitions import MEASURES
from corpusreg.norms.profiles import stored
from corpusreg.norms.profiles.clustering import (
    adjusted_rand,
    cluster,
    silhouette,
    without_length,
)
from corpusreg.norms.profiles.model import (
    FAMILIES,
    LIMIT,
    SHAPES,
    Floats,
    PlacedProfile,
    ProfileGroup,
    Profiles,
    Scale,
    family_weights,
    place_profile,
    scale_of,
    scores,
    shape,
)
from corpusreg.norms.profiles.stored import (
    fetch_profiles,
    listed_profiles,
    profiled,
)
from corpusreg.norms.reference import Rung
from corpusreg.text.profiles import (
    centre_words,
    firmness_words,
    neighbour_words,
    profile_lines,
)
from corpusreg.text.reference import profiles_text


def test_silhouette_of_one_group_is_nought() -> None:
    points = np.arange(6.0).reshape(3, 2)
    assert silhouette(points, np.zeros(3, int), np.ones(3)) == 0


def planted(seed: int, kinds: int, far: float = 1.5) -> tuple[Floats, np.ndarray[Any, Any]]:
    """Scores of 200 works by 20 composers, in kinds that every composer uses."""
    rng = np.random.default_rng(seed)
    centres = far * np.array([np.roll(np.tile([1, 0, -1], 6)[:17], n) for n in range(kinds)])
    kind = rng.integers(0, kinds, 200)
    return scored(centres[kind] + rng.normal(size=(200, 17))), kind


def scored(raw: Floats) -> Floats:
    even = np.full(len(raw), 1 / len(raw))
    columns = dict(zip(FAMILIES, raw.T, strict=True))
    scales = {n: s for n, v in columns.items() if (s := scale_of(v, even)) is not None}
    return scores(scales, columns) * family_weights(tuple(scales))


def test_planted_clusters_are_found() -> None:
    points, kind = planted(1, 3)
    found = cluster(points, np.arange(200) % 20)
    assert (found.count, found.clear) == (3, True)
    nearest = ((points[:, None] - found.centres) ** 2).sum(axis=2).argmin(axis=1)
    assert adjusted_rand(nearest, kind) > 0.8


def test_one_long_gaussian_has_no_clear_clusters_however_stable() -> None:
    """Cut in two it is cut at the same place every time; that is no proof of clusters."""
    rng = np.random.default_rng(0)
    points = rng.normal(size=(200, 1)) * 2 + rng.normal(size=(200, 17))
    found = cluster(scored(points), np.arange(200) % 20, thorough=True)
    assert found.stability > 0.6
    assert not found.clear


def test_values_that_many_works_share_are_no_cluster() -> None:
    rng = np.random.default_rng(3)
    points = np.maximum(rng.normal(size=(200, 1)) + rng.normal(size=(200, 17)), 0)
    assert not cluster(scored(points), np.arange(200) % 20).clear


def test_clusters_that_are_only_length_go_with_it() -> None:
    bars = np.exp(np.linspace(2, 6, 200))
    points = np.stack([np.log(bars) ** 2 + np.log(bars), 3 * np.log(bars)], axis=1)
    left = without_length(points, bars, np.arange(200) % 20)
    assert_allclose(left, 0, atol=1e-9)


def test_shape_of_a_hand_made_work() -> None:
    """Three quarters at 62, a quarter at 82: centre 67, five below it and fifteen above."""
    weights = np.zeros((1, 128))
    weights[0, [62, 82]] = 3, 1
    found = {name: float(value[0]) for name, value in shape(weights).items()}
    assert found == {"outside": 0.25, "far": 0.0, "lean": 0.25}


@given(st.lists(st.integers(0, 9), min_size=48, max_size=48).filter(any), st.integers(1, 60))
@settings(max_examples=50)
def test_shape_does_not_depend_on_height(weights: list[int], up: int) -> None:
    low = np.zeros((1, 128))
    low[0, :48] = weights
    found, moved = shape(low), shape(np.roll(low, up, axis=1))
    for name in SHAPES:
        assert_allclose(moved[name], found[name], atol=1e-9)


@pytest.mark.parametrize("size", [1, 4, 9, 100])
def test_shapes_are_the_same_in_slices_of_any_size(
    size: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    weights = np.random.default_rng(5).random((9, 128))
    monkeypatch.setattr(stored, "_SLICE", size)
    found = stored._shapes(weights)
    for name, values in shape(weights).items():
        assert_allclose(found[name], values, atol=1e-12)
    assert [len(each) for each in stored._shapes(weights[:0]).values()] == [0] * len(SHAPES)


def test_scores_are_normal_scores_of_mid_ranks() -> None:
    scale = scale_of(np.array([0.0, 0, 1, 2]), np.full(4, 0.25))
    assert scale is not None
    # Mid-ranks .25, .625, .875 of a normal distribution.
    assert_allclose(scale.scores, [-0.674490, 0.318639, 1.150349], atol=1e-6)
    found = scores({"span": scale}, {"span": np.array([-9.0, 0, 0.5, 2, 99])})[:, 0]
    assert_allclose(found, [-0.67449, -0.67449, -0.177926, 1.150349, 1.150349], atol=1e-5)


def test_a_feature_that_hardly_differs_is_left_out() -> None:
    assert scale_of(np.array([0.0] * 19 + [1]), np.full(20, 0.05)) is None


@given(st.lists(st.floats(-50, 50), min_size=5, max_size=200, unique=True))
@settings(max_examples=50)
def test_scores_rise_with_values_and_stay_in_bounds(values: list[float]) -> None:
    given = np.array(values)
    scale = scale_of(given, np.full(len(given), 1.0))
    if scale is not None:
        found = scores({"span": scale}, {"span": np.sort(given)})[:, 0]
        assert (np.diff(found) >= -1e-12).all()
        assert np.abs(found).max() <= LIMIT + 1e-6


def test_every_measure_and_shape_has_a_family_in_order() -> None:
    assert list(FAMILIES) == [*(m.name for m in MEASURES), *SHAPES]


def test_families_count_the_same() -> None:
    weights = family_weights(tuple(FAMILIES)) ** 2
    sums: dict[str, float] = {}
    for (_, family), weight in zip(FAMILIES.items(), weights, strict=True):
        sums[family] = sums.get(family, 0) + weight
    assert_allclose(list(sums.values()), 1 / len(sums))


def test_words_come_from_the_centre() -> None:
    features = ("span", "core_span", "shift_rate", "narrow_dwell", "lean")
    wide = np.array([1.2, 0.8, 0.9, -1.4, 0.2])
    said = centre_words(features, [wide, -wide, 0 * wide])
    assert said[0] == "little time in a narrow register, wide, mobile from bar to bar"
    assert said[1] == "much time in a narrow register, narrow, settled from bar to bar"
    assert said[2] == "in the middle in everything"


def test_two_centres_that_would_read_the_same_are_told_apart() -> None:
    features = ("span", "shift_rate", "narrow_dwell", "pedal_points")
    one = np.array([1.0, 1.0, 1.0, 0.5])
    said = centre_words(features, [one, one * [1, 1, 1, -1]])
    assert [each.split(", ")[-1] for each in said] == [
        "many pedal points",
        "few pedal points",
    ]


def test_reasons_say_what_is_shared_and_what_differs() -> None:
    piece = {"space": 1.3, "between": -1.0, "stays": 0.0, "pedals": 0.1}
    assert neighbour_words(piece, piece) == "as wide, as settled from bar to bar"
    longer = piece | {"stays": 1.0}
    assert neighbour_words(piece, longer) == "as wide, as settled from bar to bar; longer stays"
    assert neighbour_words({"space": 0.0}, {"space": -0.9}) == "alike on the whole; narrower"


def groups(*places: float) -> Profiles:
    """A rung with one feature, centres at some scores, works at -1, 0, 1 and 1.1."""
    return Profiles(
        rung="ensemble=choir",
        words=f"{len(places)} profiles",
        scales={"span": Scale(np.array([-2.0, 2.0]), np.array([-2.0, 2.0]))},
        groups=tuple(
            ProfileGroup(n, f"kind {n}", 10, 5, np.array([place]), 0.3)
            for n, place in enumerate(places, start=1)
        ),
        ids=np.array(["a", "b", "c", "d"], object),
        titles=np.array(["Air", "Ballad", "Canon", "Dance"], object),
        composers=np.array(["Ann", "Ben", "Cy", "Cy"], object),
        unit=np.array([1, 2, 3, 3]),
        positions=np.array([[-1.0], [0.0], [1.0], [1.1]]),
    )


BEYOND = "though further out than nearly all its works"


@pytest.mark.parametrize(
    ("value", "number", "firmly"),
    [
        (0.9, 2, "clearly so"),
        (0.14, 2, f"nearer to it than to the next (kind 1), {BEYOND}"),
        (0.02, 2, f"on the border with the next (kind 1), {BEYOND}"),
        (-1.2, 1, "clearly so"),
    ],
)
def test_the_nearest_centre_and_how_firmly(value: float, number: int, firmly: str) -> None:
    placed = place_profile(groups(-1.0, 1.0), {"span": value})
    assert placed.group is not None
    assert placed.group.number == number
    assert firmness_words(placed) == firmly


def test_nearest_works_are_by_different_composers_first() -> None:
    placed = place_profile(groups(), {"span": 1.2})
    assert [each.title for each in placed.nearest] == ["Dance", "Ballad", "Air"]
    assert [round(each.distance, 6) for each in placed.nearest] == [0.1, 1.2, 2.2]
    assert placed.group is None
    assert profile_lines(placed)[0] == "0 profiles."


def test_with_few_composers_the_next_works_follow() -> None:
    few = groups()
    kept = slice(1, 4)
    parts = {name: getattr(few, name)[kept] for name in ("ids", "titles", "composers", "unit")}
    found = Profiles(
        few.rung, few.words, few.scales, (), **parts, positions=few.positions[kept]
    )
    titles = [each.title for each in place_profile(found, {"span": 1.0}).nearest]
    assert titles == ["Canon", "Ballad", "Dance"]


# A whole build of invented works.


def invented(kinds: int) -> dict[str, list[tuple[Any, ...]]]:
    """60 choral works by 10 composers, in kinds that every composer uses."""
    rng = np.random.default_rng(4)
    rows: dict[str, list[tuple[Any, ...]]] = {t: [] for t in ("works", "measures")}
    rows["pitch_weights"] = []
    names = [measure.name for measure in MEASURES]
    centres = np.array([np.roll(np.tile([3, 0, -3], 5)[: len(names)], n) for n in range(kinds)])
    for number in range(60):
        work = f"c:book.abc#{number:03}"
        kind = number // 10 % kinds
        facts = {"corpus": "c", "path": "book.abc", "number": f"{number:03}", "content": "h"}
        person = f"Composer {number % 10}"
        music = {"ensemble": "choir", "bars": 20 + number}
        rows["works"].append(
            row(
                "works", work=work, **facts, title=f"Piece {number}", composer_name=person,
                composer=person, unit=person, tier="open", texture="several voices",
                voices=3.5, notes=100, dynamics_known=False, **music,
            )
        )  # fmt: skip
        values = centres[kind] + rng.normal(size=len(names))
        rows["measures"] += [
            (work, n, float(v), None) for n, v in zip(names, values, strict=True)
        ]
        reach = 7 + 8 * kind + number % 5
        rows["pitch_weights"] += [
            (work, pitch, 1 / 3, 10) for pitch in (60 - reach, 60, 61 + reach + number % 3)
        ]
    return rows


def build(folder: Path, kinds: int) -> store.Reference:
    shards = store.Shards(folder / "shards", store.Recipe(definitions.VERSION, "test"))
    shards.add("c", "book.abc", "h", invented(kinds))
    shards.flush()
    with pytest.MonkeyPatch.context() as patch:
        fewer_nulls(patch)
        path = store.publish(
            shards, [("c", "book.abc", "h")], folder=folder, finish=finishing(["open"])
        )
    return store.Reference(path)


CHOIR = Rung({"ensemble": "choir"}, "choral works")


@pytest.fixture(scope="module")
def two_kinds(tmp_path_factory: pytest.TempPathFactory) -> store.Reference:
    return build(tmp_path_factory.mktemp("kinds"), 2)


def piece(reference: store.Reference, work: str) -> tuple[Mapping[str, float | None], Floats]:
    """Values and weights of a work of the reference, as a new piece would have them."""
    found = reference.fetch_columns("SELECT name, value FROM measures WHERE work = $1", [work])
    weights = np.zeros(128)
    for pitch in reference.fetch_columns(
        "SELECT pitch FROM pitch_weights WHERE work = $1", [work]
    )["pitch"]:
        weights[pitch] += 1
    return dict(zip(found["name"].tolist(), found["value"].tolist(), strict=True)), weights


def test_a_build_stores_planted_profiles_and_compare_finds_them(
    two_kinds: store.Reference,
) -> None:
    (choir,) = listed_profiles(two_kinds)
    assert choir["rung"] == "ensemble=choir"
    assert choir["clear"] and choir["clear_without_length"] and choir["tried"] == 2
    assert (
        choir["words"] == "2 profiles of choral works, which are not a matter of length alone"
    )
    assert [each["size"] for each in choir["profiles"]] == [30, 30]
    for profile in choir["profiles"]:
        typical = [each["composer"] for each in profile["typical"]]
        assert len(set(typical)) == 3
    own = "c:book.abc#017"
    placed = profiled(two_kinds, [CHOIR], [own], *piece(two_kinds, own))
    assert isinstance(placed, PlacedProfile)
    assert placed.group is not None
    assert firmness_words(placed).startswith("clearly so")
    same = two_kinds.fetch_columns(
        "SELECT work FROM profile_works WHERE rung = 'ensemble=choir' AND profile = $1",
        [placed.group.number],
    )["work"].tolist()
    assert own in same
    assert {int(work[-3:]) // 10 % 2 for work in same} == {1}
    assert len({each.composer for each in placed.nearest}) == 3
    assert all(each.work in same and each.work != own for each in placed.nearest)


def test_the_stored_words_are_those_of_the_stored_centres(two_kinds: store.Reference) -> None:
    found = fetch_profiles(two_kinds, [CHOIR])
    assert isinstance(found, Profiles)
    said = centre_words(tuple(found.scales), [group.centre for group in found.groups])
    assert [group.words for group in found.groups] == said
    text = profiles_text(listed_profiles(two_kinds))
    assert all(words in " ".join(text.split()) for words in said)


def test_the_same_works_give_the_same_rows(two_kinds: store.Reference, tmp_path: Path) -> None:
    with build(tmp_path, 2) as again:
        assert direct.row_hashes(again) == direct.row_hashes(two_kinds)


def test_one_kind_gives_no_clear_clusters_and_nearest_works_all_the_same(
    tmp_path: Path,
) -> None:
    with build(tmp_path, 1) as reference:
        (choir,) = listed_profiles(reference)
        assert choir["clear"] is False
        assert choir["profiles"] == []
        placed = profiled(reference, [CHOIR], [], *piece(reference, "c:book.abc#003"))
    assert isinstance(placed, PlacedProfile)
    assert placed.group is None
    assert profile_lines(placed)[0] == (
        "No clear clusters: choral works differ by degrees, not in kinds."
    )
    assert placed.nearest[0].work == "c:book.abc#003"
    assert placed.nearest[0].distance < 0.01


def test_a_piece_that_lacks_a_measure_is_told_why(two_kinds: store.Reference) -> None:
    values, weights = piece(two_kinds, "c:book.abc#003")
    said = profiled(two_kinds, [CHOIR], [], {**values, "longest_dwell": None}, weights)
    assert said == "no value that can be placed for longest time in one register"


def test_a_rung_too_small_is_told_why(two_kinds: store.Reference) -> None:
    said = fetch_profiles(two_kinds, [Rung({"ensemble": "piano"}, "piano works")])
    assert said == "too few works like it in the reference (wanted: 30 works by 8 composers)"


def test_the_command_lists_what_was_found(run: Command) -> None:
    done = run("profiles", "--json")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert [each["rung"] for each in found] == ["ensemble=choir", "ensemble=piano"]
    text = run("profiles").stdout
    assert text.isascii()
    assert max(map(len, text.splitlines())) <= 88
    for each in found:
        assert each["works"] >= 30
        assert each["words"] in " ".join(text.split())


def test_compare_tells_near_works_with_reasons(run: Command) -> None:
    path = PIECES / "stairs.musicxml"
    (work,) = json.loads(run("compare", "--json", path).stdout)["works"]
    assert work["profile"]["rung"] == "ensemble=piano"
    assert work["profile_reason"] is None
    nearest = work["profile"]["nearest"]
    assert len({each["composer"] for each in nearest}) == 3
    assert all(each["words"] for each in nearest)


def test_a_composer_with_nearly_all_works_leaves_halves_that_are_too_small() -> None:
    rng = np.random.default_rng(1)
    centres = rng.normal(size=(5, 3)) * 50
    points = centres[np.arange(30) % 5] + rng.normal(size=(30, 3)) * 0.01
    unit = np.array([0] * 23 + list(range(1, 8)))
    found = cluster(points, unit)
    assert found.count in (2, 3, 4, 5)
    assert 0 <= found.stability <= 1
