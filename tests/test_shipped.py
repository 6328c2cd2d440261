"""The reference that ships: of this version, small enough, and still what scores give."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from conftest import ROOT

from corpusreg.corpus import catalogue
from corpusreg.measures.definitions import VERSION
from corpusreg.session import Session
from corpusreg.store import Reference, packing
from corpusreg.store.building.build import DEFAULT_TIERS
from corpusreg.store.building.extract import EXTRACTION_VERSION, extract_file
from corpusreg.store.building.release import MOST_BYTES
from corpusreg.store.tables import columns
from corpusreg.system import settings

SAMPLE = 100

pytestmark = pytest.mark.skipif(
    not (ROOT / "corpusreg" / "data" / "reference" / packing.ABOUT).is_file(),
    reason="this checkout ships no reference",
)


@pytest.fixture(scope="module", autouse=True)
def as_installed() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("CORPUSREG_SHIPPED")
        yield


@pytest.fixture(scope="module")
def shipped(as_installed: None) -> Reference:
    return Reference(settings.packed_folder(), settings.packed_folder())


def test_it_was_made_by_this_version() -> None:
    told = packing.about(settings.packed_folder())
    assert told["definitions"] == VERSION
    assert told["schema"] == settings.SCHEMA_VERSION
    assert told["extraction"] == EXTRACTION_VERSION


def test_it_fits_into_a_wheel(shipped: Reference) -> None:
    size = sum(file.stat().st_size for file in settings.packed_folder().iterdir())
    assert size <= MOST_BYTES
    assert shipped.works > 10_000


def test_bundled_scores_measured_again_give_the_numbers_that_ship(
    shipped: Reference,
) -> None:
    """A change of a definition without a new reference fails here."""
    free = [f for f in catalogue.bundled() if catalogue.licence(f).tier in DEFAULT_TIERS]
    # Single scores, not books of hundreds of tunes; the largest take long and tell no more.
    free = sorted((f for f in free if f.format != "abc"), key=lambda f: (f.size, f.relative))
    free = free[: -len(free) // 10]
    sample = free[:: max(len(free) // SAMPLE, 1)][:SAMPLE]
    assert len(sample) == SAMPLE
    digits = packing.DIGITS["measures", "value"]
    found = shipped.fetch_columns(
        "SELECT work, name, value, reason FROM measures WHERE work IN "
        "(SELECT work FROM works WHERE corpus = 'bundled')"
    )
    known = {
        (work, name): (value, reason)
        for work, name, value, reason in zip(
            *(column.tolist() for column in found.values()), strict=True
        )
    }
    names = list(columns("measures"))
    wrong = []
    for file in sample:
        for row in extract_file(file).get("measures", ()):
            cells = dict(zip(names, row, strict=True))
            value, reason = known[cells["work"], cells["name"]]
            same = (
                value is None or value != value
                if cells["value"] is None
                else abs(cells["value"] - value) <= 0.51 * 10**-digits
            )
            if not same or (cells["reason"] or None) != reason:
                wrong.append((cells, value, reason))
    assert not wrong, f"{len(wrong)} values differ, first {wrong[0]}"


def test_every_medium_that_it_should_serve_can_place_a_piece(shipped: Reference) -> None:
    found = shipped.fetch_columns(
        "SELECT ensemble, count(*) AS works, count(DISTINCT unit) AS units FROM matrix "
        "GROUP BY ensemble"
    )
    works = dict(zip(found["ensemble"].tolist(), found["works"].tolist(), strict=True))
    units = dict(zip(found["ensemble"].tolist(), found["units"].tolist(), strict=True))
    for ensemble in ("piano", "song", "choir", "string quartet", "orchestra"):
        assert works[ensemble] >= 30, ensemble
        assert units[ensemble] >= 8, ensemble


def test_composers_stand_in_one_order_with_their_own_letters(shipped: Reference) -> None:
    found = shipped.fetch_columns(
        "SELECT DISTINCT composer_name AS name FROM works WHERE composer_name IS NOT NULL"
    )
    names = set(found["name"].tolist())
    assert {"Stanisław Moniuszko", "Jan Dawid Holland"} <= names
    # Two people of one tune stand as their source has them, with a semicolon.
    single = [name for name in names if ";" not in name]
    assert not [name for name in single if "," in name and not any(c.isdigit() for c in name)]
    assert not [name for name in names if "John Doe" in name]


def test_a_question_to_what_is_only_in_part_there_says_so(shipped: Reference) -> None:
    with Session() as session:
        assert packing.THINNED["steps"] in session.query("rising_intervals").text
        assert not session.query("span_by_period").note
