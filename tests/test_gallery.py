"""The gallery in reports/: its numbers are worked out again, its pictures are there and small.

What needs no reference is compared number for number here. What stands on the reference of all
bundled scores takes a minute to measure: `.ci/run` compares it ('reports/make.py --check').
"""

from __future__ import annotations

import importlib.util
import json
import re
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from conftest import ROOT

from corpusreg.documents.atlas import atlas_document
from corpusreg.measures.definitions import BY_NAME, VERSION
from corpusreg.norms.atlas import atlas
from corpusreg.store import open_reference

REPORTS = ROOT / "reports"
MOST = 4_000_000  # bytes


@pytest.fixture(scope="module")
def make() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_gallery", REPORTS / "make.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def numbers() -> dict[str, Any]:
    found: dict[str, Any] = json.loads((REPORTS / "numbers.json").read_text("utf-8"))
    return found


def keys(document: object) -> object:
    """The shape of a document: names, with the first of every list."""
    if isinstance(document, dict):
        return {name: keys(value) for name, value in document.items()}
    if isinstance(document, list | tuple) and document and isinstance(document[0], dict):
        return [keys(document[0])]
    return None


def test_the_measures_of_the_class_come_out_again(
    make: ModuleType, numbers: dict[str, Any]
) -> None:
    assert numbers["definitions"] == VERSION, "run 'python reports/make.py'"
    found = make.class_numbers()
    assert len(found) == 8
    assert all(set(values) == set(BY_NAME) for values in found.values())
    assert list(make.differences(numbers["class"], found)) == []


def test_the_passage_comes_out_again(make: ModuleType, numbers: dict[str, Any]) -> None:
    found = make.passage_numbers()
    assert {row["instrument"] for row in found} == {"bassoon", "flute", "viola"}
    assert list(make.differences(numbers["passage"], found)) == []


def test_values_beside_places_are_those_of_the_class(numbers: dict[str, Any]) -> None:
    placed = numbers["placed"]
    own = numbers["class"][placed["piece"]]
    assert {name: row["value"] for name, row in placed["measures"].items()} == own
    for name, row in placed["measures"].items():
        if row["percentile"] is not None:
            low, high = row["interval"]
            assert low <= row["percentile"] <= high, name


def test_other_numbers_are_noticed(make: ModuleType, numbers: dict[str, Any]) -> None:
    changed = json.loads(json.dumps(numbers))
    changed["class"]["stairs.musicxml"]["span"] += 1
    changed["passage"].pop()
    changed["atlas"]["figures"][0]["new"] = 1
    del changed["placed"]["group"]
    said = "\n".join(make.differences(numbers, changed))
    for part in ("stairs.musicxml/span", "/passage: ", "/new: only in the new", "/group"):
        assert part in said
    assert len(said.splitlines()) == 4
    assert not list(make.differences(numbers, json.loads(json.dumps(numbers))))


def test_what_makes_the_other_numbers_still_makes_such(
    make: ModuleType, numbers: dict[str, Any], in_home: Path
) -> None:
    """From the small reference: the same names throughout, never more works."""
    with open_reference() as reference:
        wall = atlas_document(atlas(reference))
        periods = make.period_numbers(reference)
    whole = {each["name"]: each for each in numbers["atlas"]["figures"]}
    assert set(whole) == set(make.ON_THE_WALL)
    for each in wall["figures"]:
        if each["name"] in whole:
            assert keys(json.loads(json.dumps(each))) == keys(whole[each["name"]])
    assert 0 < wall["works"] < numbers["works"]
    assert set(periods) == set(numbers["periods"])
    small = {row["name"]: row["works"] for row in periods["periods"]}
    large = {row["name"]: row["works"] for row in numbers["periods"]["periods"]}
    assert small
    assert all(count <= large[name] for name, count in small.items())
    assert set(make.placed_numbers()) == set(numbers["placed"])


def test_all_pictures_are_shown_with_words_and_small(make: ModuleType) -> None:
    shown = re.findall(
        r"!\[([^\]]{20,})\]\(pictures/([\w-]+\.png)\)",
        (REPORTS / "README.md").read_text("utf-8"),
    )
    files = sorted((REPORTS / "pictures").iterdir())
    assert len(files) >= 9
    assert sorted(name for _, name in shown) == [file.name for file in files]
    assert all(file.read_bytes().startswith(b"\x89PNG") for file in files)
    assert sum(file.stat().st_size for file in REPORTS.rglob("*.*")) < MOST
    assert {f"atlas-{name}.png" for name in make.ON_THE_WALL} <= {file.name for file in files}
