"""The reference that ships: of this version, small enough, and still what scores give."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from conftest import ROOT
from test_players import Bars_, score

from corpusreg import instruments
from corpusreg.building.build import DEFAULT_TIERS
from corpusreg.building.extract import EXTRACTION_VERSION, extract_file
from corpusreg.building.release import MOST_BYTES
from corpusreg.comparison import heights, placing
from corpusreg.comparison.findings import reading
from corpusreg.corpus import catalogue
from corpusreg.documents.report import works_of
from corpusreg.measures.definitions import VERSION
from corpusreg.score.readers import ReadResult
from corpusreg.session import Session
from corpusreg.store import Reference, packing
from corpusreg.store.tables import columns
from corpusreg.system import settings
from corpusreg.text.classroom import class_piece
from corpusreg.text.console import comparison_text
from corpusreg.text.players import reach_words, singing_lines

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
        told = " ".join(session.query("rising_intervals").text.split())
        assert packing.THINNED["steps"] in told
        assert "only" not in session.query("span_by_period").text


HIGH = [[93, 91, 90, 88], [86, 88, 90, 91]]
MIDDLE = [[74, 76, 77, 79], [81, 79, 77, 76]]
LOW = [[62, 60, 62, 64], [65, 64, 62, 60]]
PLAYED: dict[str, tuple[str, dict[str, Bars_], tuple[object, ...]]] = {
    "a violin above the staff": (
        "Violin",
        {"Violin": MIDDLE * 4 + HIGH * 4, "Viola": [[60]] * 16, "Cello": [[43]] * 16},
        ("high", 8, 16, "tiring", False, (), ""),
    ),
    "a low flute under brass": (
        "Flute",
        {"Flute": MIDDLE * 4 + LOW * 4, "Trumpet in C": [[67]] * 16, "Horn": [[55]] * 16},
        ("low", 8, 16, "dull", True, ("Trumpet in C", "Horn"), ""),
    ),
    "an alto below the tenor": (
        "Alto",
        {"Soprano": [[72]] * 12, "Alto": [[53, 55]] * 12, "Tenor": [[60]] * 12,
         "Bass": [[48]] * 12},
        ("low", 0, 12, "", True, (), "Tenor"),
    ),
    "a solo bassoon": (
        "Bassoon",
        {"Flute": [[77]] * 12, "Bassoon": [[64, 67, 70, 72]] * 12, "Clarinet": [[55]] * 12},
        ("high", 0, 12, "tiring", True, (), ""),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", PLAYED)
def test_compare_heights_report_and_sheet_say_one_thing_of_a_player(
    name: str, shipped: Reference, monkeypatch: pytest.MonkeyPatch
) -> None:
    part, lines, expected = PLAYED[name]
    written = score(**lines)
    monkeypatch.setattr(placing, "read_file", lambda _: ReadResult((written,), ()))
    path = Path("piece.xml")
    c = placing.place_score(shipped, path, written)
    r = reading(c)
    (found,) = (each for each in r.reaching if each.players == (part,))
    reach = found.reach
    assert reach is not None and reach.beyond is not None and 0.9 <= reach.beyond <= 1
    said = (reach.side, reach.first, reach.last, reach.zone, reach.amid, reach.under)
    assert (*said, reach.below) == expected
    sung = [each for each in lines if each in ("Soprano", "Alto", "Tenor", "Bass")]
    assert [each.part for each in r.singing] == sung
    assert not sung or "alto F3–G3" in singing_lines(r.singing, r.piece)[0]
    bars = f"{reach.first + 1}-{reach.last}"
    passage = heights.passage(path, bars, part=part, table=instruments.load())
    assert heights.among(shipped, passage).reach == reach
    words = reach_words(found, r.piece)
    assert comparison_text(c, "", full=True).replace("\n    ", " ").count(words) == 1
    assert [told.said for told in class_piece(c, "").players].count(words) == 1
    (work,) = works_of([c], "")
    assert [i.text for s in work.sections for i in s.items].count(words) == 1
