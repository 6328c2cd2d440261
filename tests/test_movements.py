"""A file of several movements becomes several works, and only such a file."""

from __future__ import annotations

from pathlib import Path

import pytest

from corpusreg.score.notes import Score
from corpusreg.score.readers import movements, read_file
from corpusreg.score.readers.musicxml import read_musicxml

FINAL = '<barline location="right"><bar-style>light-heavy</bar-style>{}</barline>'
DA_CAPO = "<direction><direction-type><words>D. C.</words></direction-type></direction>"


def bar(number: str, pitch: str = "C", *, head: str = "", page: bool = False, end: str = "",
        tie: str = "", attributes: str = "") -> str:  # fmt: skip
    words = (
        f"<direction><direction-type><words>{head}</words></direction-type></direction>"
        if head
        else ""
    )
    return (
        f'<measure number="{number}">'
        + ('<print new-page="yes"/>' if page else "")
        + attributes
        + words
        + f"<note><pitch><step>{pitch}</step><octave>4</octave></pitch>"
        + f"<duration>4</duration>{tie}<type>whole</type></note>{end}</measure>"
    )


def score(tmp_path: Path, *bars: str) -> Score:
    first = bars[0].replace(
        ">", "><attributes><divisions>1</divisions><time><beats>4</beats>"
        "<beat-type>4</beat-type></time></attributes>", 1
    )  # fmt: skip
    path = tmp_path / "piece.musicxml"
    path.write_text(
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Viola'
        '</part-name></score-part></part-list><part id="P1">'
        + "".join((first, *bars[1:]))
        + "</part></score-partwise>"
    )
    return read_musicxml(path)


def numbers(scores: list[Score]) -> list[tuple[str, tuple[str, ...]]]:
    return [(each.number, each.bars.labels) for each in scores]


def test_a_final_barline_and_numbers_from_one_on_a_new_page(tmp_path: Path) -> None:
    whole = score(
        tmp_path,
        bar("1", "C", head="I. Allegro"),
        bar("2", "D", end=FINAL.format("")),
        bar("1", "E", head="II. Adagio", page=True),
        bar("2", "F", end=FINAL.format("")),
    )
    found = movements(whole)
    assert numbers(found) == [("1", ("1", "2")), ("2", ("1", "2"))]
    assert [each.first_bar for each in found] == [0, 2]
    assert [each.metadata["movement"] for each in found] == ["I. Allegro", "II. Adagio"]
    assert found[1].notes["pitch"].tolist() == [64, 65]
    assert found[1].notes["bar"].tolist() == [0, 1]
    assert found[1].notes["onset"].tolist() == [0, 4 * found[1].ticks]
    assert found[1].bars.start.tolist() == [0, 4 * found[1].ticks]
    # A file read as people give it: two works, and the numbers tell them apart.
    works = read_file(tmp_path / "piece.musicxml").scores
    assert [work.number for work in works] == ["1", "2"]


def test_numbers_that_go_on_are_told_apart_by_the_numeral(tmp_path: Path) -> None:
    whole = score(
        tmp_path,
        bar("1", head="I. Allegro"),
        bar("2", end=FINAL.format("")),
        bar("3", head="II. Adagio"),
        bar("4"),
    )
    assert numbers(movements(whole)) == [("1", ("1", "2")), ("2", ("3", "4"))]


def test_a_repeat_at_the_end_and_a_da_capo_are_ends_too(tmp_path: Path) -> None:
    whole = score(
        tmp_path,
        bar("1", head="I. Allegro"),
        bar("2", end=FINAL.format('<repeat direction="backward"/>')),
        bar("1", head="II. Menuetto", page=True),
        bar("2", end=DA_CAPO),
        bar("1", head="III. Presto"),
    )
    assert [len(each.bars) for each in movements(whole)] == [2, 2, 1]
    # The da capo of the second leads to its own beginning.
    assert "dacapo" in movements(whole)[1].bars.marks[1]


@pytest.mark.parametrize("head", ["Trio", "Var. 2", "Variation III", "Coda", "Minore"])
def test_what_is_part_of_a_movement_is_no_movement(tmp_path: Path, head: str) -> None:
    whole = score(
        tmp_path,
        bar("1", head="Menuetto"),
        bar("2", end=FINAL.format("")),
        bar("1", head=head, page=True),
        bar("2", end=FINAL.format("")),
    )
    assert movements(whole) == [whole]


def test_without_an_end_it_stays_one_work_and_says_so(tmp_path: Path) -> None:
    whole = score(tmp_path, bar("1"), bar("2"), bar("1", page=True), bar("2"))
    (one,) = movements(whole)
    assert len(one.bars) == 4 and one.number == ""
    assert any("begin again at the 3rd bar" in text for text in one.assumed)


def test_a_tie_across_is_no_end(tmp_path: Path) -> None:
    whole = score(
        tmp_path,
        bar("1", head="I."),
        bar("2", tie='<tie type="start"/>', end=FINAL.format("")),
        bar("1", head="II.", tie='<tie type="stop"/>', page=True),
    )
    (one,) = movements(whole)
    assert len(one.bars) == 3
    assert any("read as one work" in text for text in one.assumed)


def test_a_barline_alone_is_no_end(tmp_path: Path) -> None:
    whole = score(tmp_path, bar("1"), bar("2", end=FINAL.format("")), bar("3", page=True))
    assert movements(whole) == [whole]


def test_three_bars_without_a_numeral_are_no_movement(tmp_path: Path) -> None:
    def song(extra: int) -> list[Score]:
        bars = [bar(str(i), end=FINAL.format("") if i == 5 else "") for i in range(1, 6)]
        bars += [bar(str(i), page=i == 1) for i in range(1, extra + 1)]
        return movements(score(tmp_path, *bars))

    assert len(song(3)) == 1
    assert len(song(4)) == 2


def kern(tmp_path: Path, *lines: str) -> list[Score]:
    path = tmp_path / "piece.krn"
    path.write_text("\n".join(("**kern", "*M4/4", *lines, "*-")) + "\n")
    return list(read_file(path).scores)


def kern_bars(first: int, last: int) -> list[str]:
    return [line for n in range(first, last + 1) for line in (f"={n}", "1c")]


def test_kern_files_too(tmp_path: Path) -> None:
    two = kern(tmp_path, *kern_bars(1, 5), "==", "*M3/4", *kern_bars(1, 4), "==")
    assert [(work.number, len(work.bars)) for work in two] == [("1", 5), ("2", 4)]
    (one,) = kern(tmp_path, *kern_bars(1, 5), "*M3/4", *kern_bars(1, 4), "==")
    assert any("begin again" in text for text in one.assumed)
    (whole,) = kern(tmp_path, *kern_bars(1, 5), "==", "*M3/4", *kern_bars(6, 9), "==")
    assert not any("begin again" in text for text in whole.assumed)
