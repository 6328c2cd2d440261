"""Damaged scores of every format are read or refused in one plain line, within bounds.

A sample; tests/benchmarks/fuzz.py runs thousands of them.
"""

from __future__ import annotations

from pathlib import Path

from mutations import LIMITS, measured, mutant, seeds, wrong_reasons

from corpusreg.system.isolate import Pool

EACH = 12  # mutants of every seed


def test_mutants_can_be_made_again() -> None:
    for name, content in seeds().items():
        made = [mutant(name, content, number) for number in range(5)]
        assert made == [mutant(name, content, number) for number in range(5)]
        assert len({content, *made}) > 3


def test_damaged_scores_are_read_or_refused_in_one_line(tmp_path: Path) -> None:
    names = sorted(seeds())
    assert {Path(name).suffix for name in names} >= {
        ".mxl",
        ".xml",
        ".krn",
        ".abc",
        ".mid",
        ".mei",
    }
    items = [
        (name, number, str(tmp_path))
        for number, name in enumerate(EACH * names, start=1_000_000)
    ]
    with Pool(measured, 2, LIMITS) as pool:
        answers = pool.answers(items)
    assert not [f"{a.item[:2]} {a.error}" for a in answers if a.error]
    results = [answer.result for answer in answers]
    assert not [bad for _, reasons in results if (bad := wrong_reasons(reasons))]
    read = sum(works > 0 for works, _ in results)
    assert len(items) / 10 < read < len(items) * 9 / 10
    assert not list(tmp_path.iterdir())
