"""Odd scores of every format through the command line: an answer, or a line for each file.

A sample; tests/benchmarks/fuzz.py --commands tries thousands of them.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from variants import LIMITS, Case, Told, families, tried, variant, wrong

from corpusreg.system.isolate import Pool

# How many variants of each format one command is given.
EACH = {"compare": 6, "json": 2, "contrast": 1, "revise": 1}
FIRST = 2_000_000


def test_variants_can_be_made_again() -> None:
    for names in families().values():
        for name in names[:2]:
            made = [variant(name, number) for number in range(6)]
            assert made == [variant(name, number) for number in range(6)]
            assert len(set(made)) > 3


def test_what_is_wrong_is_seen() -> None:
    well = Told(("compare", "a.mid"), 1, "", "", "corpusreg: a.mid: no notes\n")
    assert not wrong(well)
    for bad in (
        Told(("compare",), None, "ZeroDivisionError: 0", "", ""),
        Told(("compare", "b.mid"), 1, "", "", "corpusreg: no notes\n"),
        Told(("compare",), 1, "", "", ""),
        Told(("compare",), 3, "", "", "corpusreg: a.mid: no notes\n"),
        Told(("compare",), 1, "", "", "corpusreg: a.mid: IndexError: out of range\n"),
        Told(("compare",), 1, "", "", "corpusreg: a.mid: the process reading it crashed\n"),
        Told(("compare",), 1, "", "", "Traceback (most recent call last):\n"),
        Told(("compare", "--json"), 0, "", '{"size": NaN}', ""),
        Told(("compare",), 0, "", "span nan semitones", ""),
    ):
        assert wrong(bad), bad


def test_odd_scores_are_answered_or_told_in_one_line(in_home: Path, tmp_path: Path) -> None:
    cases: list[Case] = [
        (kind, family, FIRST + 100 * n, together, str(tmp_path))
        for n, (kind, together) in enumerate(EACH.items())
        for family in families()
        if family != "LilyPond"
    ]
    cases += [("report", family, FIRST, 1, str(tmp_path)) for family in ("MusicXML", "kern")]
    cases.append(("handout", "MusicXML", FIRST, 3, str(tmp_path)))
    if "LilyPond" in families():
        cases.append(("report", "LilyPond", FIRST, 1, str(tmp_path)))
    with Pool(tried, 2, LIMITS) as pool:
        answers = pool.answers(cases)
    assert not [f"{a.item[:3]} {a.error}" for a in answers if a.error]
    # A score that would take all memory is refused in one line: that is an answer too.
    faults = [fault for a in answers for fault in a.result[2]]
    assert not [fault for fault in faults if "needs more than 1500 MB" not in fault]
    assert len(faults) <= 2, faults
    codes = Counter(a.result[1] for a in answers)
    assert codes[0] >= 4, codes
    assert not list(tmp_path.iterdir())
