"""Model passages: every one is measured again from its file, and must be there as told."""

from __future__ import annotations

import csv
import json
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path

import direct
import pytest
from axe_playwright_python.sync_playwright import Axe
from by_hand import BAR, bars_of, notes_of
from hypothesis import given
from hypothesis import strategies as st
from playwright.sync_api import Browser

from corpusreg import cli
from corpusreg.building.extract import edges
from corpusreg.comparison.examples import (
    FAINTEST,
    KINDS,
    LEAST_STAY,
    Example,
    Filters,
    example,
    find,
    habit,
    rows_of,
    spread,
    study,
)
from corpusreg.comparison.library import LONE, MOST_OF_ONE, read_library
from corpusreg.comparison.placing import place_file
from corpusreg.corpus.files import bundled_root
from corpusreg.documents.pictures.register_map import edges_map
from corpusreg.instruments import load
from corpusreg.measures.analysis import Analysis, analyse
from corpusreg.score.notes import Part
from corpusreg.score.played import Played, perform
from corpusreg.score.readers import read_file
from corpusreg.store import open_reference
from corpusreg.system.errors import UsageError
from corpusreg.text.examples import passage_words

PIECES = Path(__file__).parents[1] / "demo" / "pieces"
EVENTS = ("withheld-bass", "withheld-top", "climb", "descent", "pedal-point", "gap")


def measured(each: Example) -> Analysis:
    """The work of an example, read and measured again."""
    scores = read_file(bundled_root() / each.path).scores
    return analyse(perform(next(s for s in scores if s.number == each.number)))


def held(players: list[tuple[str, int]], bars: int) -> Played:
    """Each player holds one note, bar by bar."""
    rows = [
        (pitch, bar * BAR, BAR, 1.0, part)
        for part, (_, pitch) in enumerate(players)
        for bar in range(bars)
    ]
    parts = tuple(Part(name) for name, _ in players)
    known = (False, False, False)
    return Played(BAR // 4, parts, bars_of([BAR] * bars), notes_of(rows), *known, ())


def found(kind: str, count: int = 4, filters: Filters | None = None) -> list[Example]:
    with open_reference() as reference:
        return find(reference, kind, filters, count)


@pytest.mark.parametrize("kind", EVENTS)
def test_events_are_in_the_named_bars_with_the_strength_told(kind: str, in_home: Path) -> None:
    examples = found(kind)
    assert examples
    for each in examples:
        again = measured(each)
        bars = again.played.bars
        here = [
            event
            for event in again.events
            if event.kind == kind.replace("-", "_")
            and int(bars.written[event.bar]) == each.position
            and round(100 * event.strength, 1) == each.strength
        ]
        assert here, each
        labels = bars.labels
        if kind == "pedal-point":
            ends = {f"bars {labels[e.first]} to {labels[e.last - 1]}" for e in here}
            assert each.bars in ends
        else:
            assert each.bars in {f"bar {labels[event.bar]}" for event in here}


def test_a_return_brings_earlier_music_again(in_home: Path) -> None:
    for each in found("return"):
        events = measured(each).events
        assert any(
            e.again is not None and round(100 * e.strength, 1) == each.strength for e in events
        )
        assert ", with the music of bar " in passage_words(each)


def test_shifts_are_at_the_named_bar(in_home: Path) -> None:
    examples = found("shift")
    assert len(examples) == 4
    for each in examples:
        again = measured(each)
        strengths = [
            round(100 * s.abrupt * s.size / (s.size + 12), 1)
            for s in again.shifts
            if int(again.played.bars.written[s.bar]) == each.position and s.by != "part"
        ]
        assert each.strength in strengths, each
        assert each.first == each.position - 1


def test_long_stays_are_narrow_and_not_full(in_home: Path) -> None:
    examples = found("dwell")
    assert examples
    for each in examples:
        again = measured(each)
        start, end = each.bars.removeprefix("bars ").split(" to ")
        labels = again.played.bars.labels
        stay = next(
            s for s in again.stays if (labels[s.first], labels[s.last - 1]) == (start, end)
        )
        fullest = float(again.saturation.mean(stay.first, stay.last)[0].max())
        assert stay.bars >= LEAST_STAY
        expected = 100 * (stay.bars / (stay.bars + 12) * (1 - fullest)) ** 0.5
        assert each.strength == pytest.approx(expected, abs=0.06)


def test_parts_at_their_edge_are_in_the_middle_of_the_whole(in_home: Path) -> None:
    table = load()
    examples = found("edge")
    assert examples
    for each in examples:
        played = measured(each).played
        spans = [row.professional for row in table.match_all(played.parts) if row]
        low, high = min(a for a, _ in spans), max(b for _, b in spans)
        own = table.match_all(played.parts)[int(each.facts["part"])]
        assert own is not None
        pitches = (int(each.facts["low"]), int(each.facts["high"]))
        for pitch in pitches:
            assert low + (high - low) / 3 - 1 <= pitch <= high - (high - low) / 3 + 1
            at = (pitch - own.professional[0]) / (own.professional[1] - own.professional[0])
            a, b = own.comfortable
            assert at <= 0.1 + 1e-9 or at >= 0.9 - 1e-9 or not a <= pitch <= b
        first = int(each.facts["played_first"])
        notes = played.notes.take(
            (played.notes.part == int(each.facts["part"])) & (played.notes.bar == first)
        )
        # Half of the first bar or more lies there.
        there = (notes.pitch >= pitches[0]) & (notes.pitch <= pitches[1])
        assert 2 * notes.duration[there].sum() >= notes.duration.sum()
        assert own.name in passage_words(each)


def test_a_high_bassoon_between_flute_and_cello_is_at_its_edge() -> None:
    """By hand: a bassoon high up while a flute and a cello sound above and below it."""
    (edge,) = edges(held([("flute", 86), ("bassoon", 74), ("cello", 38)], bars=6), load())
    assert (edge.part, edge.first, edge.last, edge.low, edge.high) == (1, 0, 6, 74, 74)
    assert edge.strength == pytest.approx(100 * (6 / 18) ** 0.5)
    assert edges(held([("bassoon", 74)], bars=6), load()) == []


def test_filters_hold(in_home: Path) -> None:
    choir = found("climb", 8, Filters(ensemble="choir", period="medieval"))
    assert choir
    assert {(e.ensemble, e.period) for e in choir} == {("choir", "medieval")}
    assert {e.licence for e in found("shift", 8, Filters(licence="open"))} == {"open"}
    works = {
        level: {e.work for e in found("shift", 50, Filters("choir", difficulty=level))}
        for level in ("easy", "middle", "hard")
    }
    assert all(works.values())
    assert not works["easy"] & works["hard"]


def test_easy_works_range_less_and_are_thinner_than_hard_ones(in_home: Path) -> None:
    with open_reference() as reference:
        rows = rows_of(reference, "climb", 99, ensemble="string quartet", from_demand=0.0)
    easy = [r for r in rows if r["demand"] <= 1 / 3]
    hard = [r for r in rows if r["demand"] >= 2 / 3]

    def density(row: dict[str, float]) -> float:
        return row["notes"] / row["work_bars"]

    assert easy
    assert hard
    assert max(map(density, easy)) < max(map(density, hard))


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ((("clmb",), {}), "no kind of example 'clmb'; did you mean climb?"),
        ((("gap",), {"ensemble": "quartett"}), "did you mean string quartet?"),
        ((("gap",), {"period": "clasical"}), "did you mean classical?"),
        ((("gap",), {"licence": "opem"}), "--licence: no work has 'opem'; did you mean open?"),
        ((("gap",), {"difficulty": "hrd"}), "choose among easy, middle, hard"),
    ],
)
def test_unknown_words_are_answered_with_the_nearest(
    given: tuple[tuple[str], dict[str, str]], said: str, in_home: Path
) -> None:
    (kind,), filters = given
    with pytest.raises(UsageError) as error:
        found(kind, filters=Filters(**filters))
    assert said in str(error.value)
    with pytest.raises(UsageError, match="between 1 and"):
        direct.examples("gap", count=0)


rows = st.lists(
    st.fixed_dictionaries(
        {
            "unit": st.sampled_from("abcd"),
            "period": st.sampled_from(["classical", "romantic", None]),
            "strength": st.floats(1, 100),
            "work": st.uuids().map(str),
        }
    ),
    max_size=20,
).map(lambda several: sorted(several, key=lambda row: -row["strength"]))


@given(rows, st.integers(1, 12))
def test_composers_are_taken_in_turn_and_the_strongest_is_first(
    several: list[dict[str, object]], count: int
) -> None:
    chosen = spread(several, count)
    strengths = [float(str(row["strength"])) for row in chosen]
    assert strengths == sorted(strengths, reverse=True)
    if several:
        assert strengths[0] == several[0]["strength"]
        assert min(strengths) >= FAINTEST * strengths[0]
    left = [r for r in several if r not in chosen and r["strength"] >= FAINTEST * strengths[0]]
    assert len(chosen) == count or not left
    units = Counter(row["unit"] for row in chosen)
    # Nobody comes a second time while another who could was left out.
    assert all(units[row["unit"]] >= max(units.values()) - 1 for row in left)


def test_works_of_ones_own_are_marked() -> None:
    row = {
        "work": "mine:a.krn", "unit": "tunes:mine", "corpus": "mine", "path": "a.krn",
        "file_number": "", "level": "easy", "title": "A", "movement": None, "composer": "C",
        "period": None,
        "ensemble": "piano", "tier": "open",
        "part": None, "part_name": None, "position": 4, "first": 3, "last": 5, "low": 36,
        "high": 47, "bars": 8.0, "first_time": True, "again_bar": None, "size": None,
        "event_kind": "withheld_bass", "silence": 8.0, "edge": 50, "distance": 12.0,
        "direction": None, "moved": None, "strength": 40.0, "start_bar": "5", "end_bar": "5",
    }  # fmt: skip
    assert example("withheld-bass", row).private
    assert not example("withheld-bass", row, public=["mine"]).private
    assert not example("withheld-bass", row | {"corpus": "bundled"}).private
    assert passage_words(example("withheld-bass", row)) == (
        "The bass is withheld: nothing below D3 for 8 bars, then C2–B2 in bar 5"
    )


def test_a_library_is_a_table_that_a_teacher_edits(
    in_home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "models.csv"
    assert cli.main(["examples", "all", "--count", "24", "--to", str(table)]) == 0
    with table.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == len({row["work"] for row in rows}) == 24
    assert max(Counter(row["composer"] for row in rows).values()) <= MOST_OF_ONE
    assert not {row["ensemble"] for row in rows} & {*LONE, "unnamed parts"}
    kinds = [row["kind"] for row in rows]
    assert kinds == sorted(kinds, key=list(KINDS).index)
    assert len(set(kinds)) > 8

    rows[0]["note"] = "Sing the top line first."
    rows[2]["bar"] = "9999"
    own = {"kind": "climb", "title": "Study", "bars": "bars 3 to 8", "note": "Up."}
    rows = [*rows[:3], own, {"kind": "clmb", "title": "Study"}]
    with table.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(rows[0]), restval="")
        writer.writeheader()
        writer.writerows(rows)
    with open_reference() as reference:
        again, problems = read_library(reference, table)
    assert [(each.work, each.bar) for each in again.passages] == [
        (row.get("work", ""), row.get("bar", "")) for row in rows[:4]
    ]
    assert [bool(each.facts) for each in again.passages] == [True, True, False, False]
    assert again.passages[0].note == rows[0]["note"]
    assert [passage_words(each) for each in again.passages[:2]] == [
        r["words"] for r in rows[:2]
    ]
    assert passage_words(again.passages[3]) == "Up"
    assert [problem.split(": ")[0] for problem in problems] == [
        f"{table} line 4", f"{table} line 6"
    ]  # fmt: skip
    page = tmp_path / "models.html"
    assert cli.main(["examples", "--library", str(table), "--report", str(page)]) == 0
    assert "Sing the top line first." in page.read_text(encoding="utf-8")
    assert cli.main(["examples", "gap", "--library", str(table)]) == 2
    capsys.readouterr()


def test_a_map_of_edges_is_drawn_where_no_score_is_here() -> None:
    low, high = [60, 60, -1, 36], [72, 72, -1, 72]
    drawn = edges_map(low, high, (1, 4), (3, "4"), prefix="e", width=400, title="A").svg
    boxes = next(tag for tag in re.findall("<path[^>]*>", drawn) if "weight2" in tag)
    assert boxes.count("z") == 2  # two bars sound
    assert ">4<" in drawn


def test_study_shares_the_habit_or_does_otherwise(in_home: Path) -> None:
    with open_reference() as reference:
        for path in sorted(PIECES.glob("*.musicxml")):
            placed, _ = place_file(reference, path, None, as_written=False)
            own = habit(placed[0])
            alike, otherwise = study(reference, placed[0])
            if own is None:
                assert (alike, otherwise) == ([], [])
                continue
            assert {e.kind for e in alike} <= {own.kind}
            assert {e.kind for e in otherwise} <= {own.contrary}
            assert not {e.work for e in alike} & {e.work for e in otherwise}
            for examples, more in ((alike, own.more), (otherwise, not own.more)):
                for each in examples:
                    value = measured(each).values[own.measure].value
                    assert value is not None
                    bound = own.bound if examples is alike else own.middle
                    assert value >= bound - 1e-6 if more else value <= bound + 1e-6


def test_stays_to_study_are_no_longer_than_the_piece(in_home: Path) -> None:
    """A stay of a hundred bars says nothing to a piece of twenty."""
    kinds = set()
    with open_reference() as reference:
        assert max(row["bars"] for row in rows_of(reference, "dwell", 9)) > 32
        assert {row["bars"] <= 12 for row in rows_of(reference, "dwell", 9, most_bars=12)} == {
            True
        }
        for path in sorted(PIECES.glob("*.musicxml")):
            (placed,), _ = place_file(reference, path, None, as_written=False)
            for examples, share in zip(study(reference, placed), (1, 0.5), strict=True):
                stays = [each for each in examples if each.kind == "dwell"]
                kinds |= {(each.kind, share) for each in stays}
                most = max(share * len(placed.bars), LEAST_STAY)
                assert all(each.facts["bars"] <= most for each in stays)
    assert kinds


def test_a_piece_of_the_reference_is_not_its_own_example(in_home: Path) -> None:
    with open_reference() as reference:
        for each in found("shift", 3):
            placed, _ = place_file(
                reference, bundled_root() / each.path, None, as_written=False
            )
            alike, otherwise = study(reference, placed[0])
            assert each.work not in {e.work for e in (*alike, *otherwise)}


def test_every_kind_is_told_and_asked_for(
    in_home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["examples"]) == 0
    listed = capsys.readouterr().out
    for kind in KINDS:
        assert kind in listed
        code = cli.main(["examples", kind, "--json"])
        printed = json.loads(capsys.readouterr().out)
        assert code == (0 if printed["examples"] else 1)
        assert cli.main(["examples", kind]) == code
        text = capsys.readouterr().out
        for each in printed["examples"]:
            to_paste = " revise PIECE --toward "  # in one piece, however long
            assert all(len(s) <= 88 or to_paste in s for s in text.splitlines())
            assert " ".join(each["words"].split()) in " ".join(text.split())


def test_the_page_quotes_what_is_open_and_says_why_not_otherwise(
    in_home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = tmp_path / "examples.html"
    assert cli.main(["examples", "shift", "--licence", "open", "--count", "1",
                     "--report", str(page)]) == 0  # fmt: skip
    text = page.read_text(encoding="utf-8")
    assert "its licence as stated" in text
    assert 'class="notation"' in text
    assert "Register map" in text or 'class="picture"' in text
    shut = tmp_path / "shut.html"
    assert cli.main(["examples", "shift", "--licence", "permitted", "--count", "1",
                     "--report", str(shut)]) == 0  # fmt: skip
    assert "The notes are not shown: the encoding is not under an open licence" in (
        shut.read_text(encoding="utf-8")
    )
    assert 'class="notation"' not in shut.read_text(encoding="utf-8")
    printed = tmp_path / "printed.pdf"
    assert cli.main(["examples", "shift", "--count", "1", "--report", str(printed)]) == 0
    assert printed.read_bytes().startswith(b"%PDF")
    assert cli.main(["examples", "shift", "--report", str(tmp_path / "a.txt")]) == 2
    capsys.readouterr()
    none = [
        "examples",
        "gap",
        "--ensemble",
        "solo melody",
        "--report",
        str(tmp_path / "b.html"),
    ]
    assert cli.main(none) == 1
    assert "The reference has no passage like this" in capsys.readouterr().out
    assert not (tmp_path / "b.html").exists()


def test_the_page_is_read_on_a_phone(
    in_home: Path, tmp_path: Path, browser: Browser, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "examples.html"
    assert cli.main(["examples", "shift", "--count", "2", "--report", str(file)]) == 0
    capsys.readouterr()
    page = browser.new_page(viewport={"width": 390, "height": 800})
    page.goto(file.as_uri())
    maps = page.locator(".map")
    assert maps.count() == 2
    # The map keeps its size and scrolls by itself, also by key.
    for map_ in maps.all():
        assert map_.evaluate(
            "e => e.scrollWidth > 700 && e.clientWidth < 390 && e.tabIndex === 0"
        )
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert not json.loads(json.dumps(Axe().run(page).response["violations"]))
    page.close()


def test_the_command_loads_nothing_heavy(in_home: Path) -> None:
    code = (
        "import sys\nfrom corpusreg import cli\ncli.main(['examples', 'gap'])\n"
        "heavy = {'pandas', 'scipy', 'matplotlib', 'verovio', 'music21', 'sklearn'}\n"
        "assert not heavy & set(sys.modules), heavy & set(sys.modules)\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, timeout=120)
