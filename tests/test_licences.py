"""The licences of everything that corpusreg installs, against what the packages say.

The table is corpusreg/data/dependencies.csv: package, licence (SPDX), install (core, or
the first of the extras cluster, lilypond, dev that brings it), only (a
platform, where it is installed there alone), used_as ('wheel': an unmodified package that
is imported; 'program': a separate program that is started), note.

Allowed: permissive licences; the LGPL and the MPL for unmodified wheels; the GPL for
separate programs.
"""

from __future__ import annotations

import csv
import re
import sys
from functools import lru_cache
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

TABLE = Path(__file__).parents[1] / "corpusreg" / "data" / "dependencies.csv"
PERMISSIVE = {"0BSD", "Apache", "BSD", "CC0", "ISC", "MIT", "PSF", "Zlib"}
WEAK = {"LGPL", "MPL"}
# What packages write, tried in this order; LGPL before GPL, 0BSD before BSD.
FAMILIES = (
    ("LGPL", r"\bLGPL|Lesser General Public"),
    ("AGPL", r"\bAGPL|Affero"),
    ("GPL", r"\bGPL|General Public"),
    ("MPL", r"\bMPL|Mozilla"),
    ("0BSD", r"\b0BSD\b"),
    ("BSD", r"\bBSD\b|Redistribution and use in source and binary forms"),
    ("Apache", r"\bApache\b"),
    ("MIT", r"\bMIT\b"),
    ("PSF", r"\bPSF\b|Python Software Foundation"),
    ("ISC", r"\bISCL?\b"),
    ("Zlib", r"\bzlib\b"),
    ("CC0", r"\bCC0\b"),
)


def families(text: str) -> set[str]:
    """Licence families named in an expression, a classifier or a licence text."""
    found = set()
    for name, pattern in FAMILIES:
        text, count = re.subn(pattern, " ", text, flags=re.IGNORECASE)
        if count:
            found.add(name)
    return found


def allowed(licence: str, used_as: str) -> bool:
    """Whether a licence may be used in this way; of alternatives one is enough."""
    return any(_allowed(part, used_as) for part in re.split(r"\bOR\b", licence))


def _allowed(licence: str, used_as: str) -> bool:
    found = families(licence)
    fine = PERMISSIVE | (WEAK if used_as == "wheel" else WEAK | {"GPL", "AGPL"})
    return bool(found) and found <= fine


def stated(package: str) -> str:
    """What the installed package says: its expression, else its classifiers, else its text."""
    meta = metadata.metadata(package)
    classifiers = [
        line.rpartition("::")[2]
        for line in meta.get_all("Classifier") or ()
        if line.startswith("License ::") and line != "License :: OSI Approved"
    ]
    written = meta.get("License-Expression") or "; ".join(classifiers) or meta.get("License")
    return written or _licence_files(package)


def _licence_files(package: str) -> str:
    """Texts of the licence files that a package ships."""
    files = metadata.files(package) or []
    texts = [file for file in files if "licen" in file.name.lower()]
    return " ".join(file.locate().read_text(encoding="utf-8") for file in texts)


def table() -> dict[str, dict[str, str]]:
    """Rows by package."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        return {row["package"]: row for row in csv.DictReader(file)}


@lru_cache
def installed() -> dict[str, str]:
    """Every package that corpusreg needs here, by the smallest install that brings it."""
    found: dict[str, str] = {}

    def follow(package: str, extras: tuple[str, ...], install: str) -> None:
        for line in metadata.requires(package) or ():
            need = Requirement(line)
            name = canonicalize_name(need.name)
            environments = [{"extra": extra} for extra in extras or ("",)]
            if need.marker and not any(need.marker.evaluate(each) for each in environments):
                continue
            if name not in found and name != "corpusreg":
                found[name] = install
                follow(name, tuple(need.extras), install)

    follow("corpusreg", (), "core")
    for extra in ("cluster", "lilypond", "dev"):
        follow("corpusreg", (extra,), extra)
    return found


def test_the_table_holds_exactly_what_is_installed() -> None:
    here = {
        package: row["install"]
        for package, row in table().items()
        if row["install"] and row["only"] in ("", sys.platform)
    }
    assert installed() == here


def test_every_licence_in_the_table_is_allowed() -> None:
    rows = table()
    assert rows
    assert not [
        name for name, row in rows.items() if not allowed(row["licence"], row["used_as"])
    ]
    weak = [row for row in rows.values() if families(row["licence"]) - PERMISSIVE]
    assert all("unmodified" in row["note"] for row in weak if row["used_as"] == "wheel")


def test_packages_say_what_the_table_says() -> None:
    rows = table()
    said = {name: stated(name) for name in installed()}
    assert len(said) > 20
    differ = [
        f"{name} says {text[:200]!r}"
        for name, text in said.items()
        if not families(rows[name]["licence"]) <= families(text)
        or not allowed(text, rows[name]["used_as"])
    ]
    assert not differ


@pytest.mark.parametrize(
    ("licence", "used_as", "expected"),
    [
        ("MIT", "wheel", True),
        ("BSD-3-Clause AND 0BSD AND MIT AND Zlib AND CC0-1.0", "wheel", True),
        ("LGPL-2.1-or-later", "wheel", True),
        ("GNU Lesser General Public License v3 (LGPLv3)", "wheel", True),
        ("GPL-3.0-or-later", "wheel", False),
        ("GPL-3.0-or-later", "program", True),
        ("MIT AND GPL-2.0-only", "wheel", False),
        ("GPL-2.0-only OR MIT", "wheel", True),
        ("AGPL-3.0-only", "wheel", False),
        ("Proprietary", "wheel", False),
        ("", "wheel", False),
    ],
)
def test_what_is_allowed(licence: str, used_as: str, expected: bool) -> None:
    assert allowed(licence, used_as) is expected
