"""Make the gallery: pictures and the numbers they show.

    python reports/make.py            draws the pictures, writes numbers.json and reference.md
    python reports/make.py --check    works all numbers out again and compares; draws nothing

The pieces are the demo class; the reference is the one that ships. Nothing may be added to
it in the home that CORPUSREG_HOME names, or the numbers are others.
"""

from __future__ import annotations

import json
import math
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import music21
import typst

import corpusreg
from corpusreg.comparison.placing import measured
from corpusreg.documents.atlas import atlas_document
from corpusreg.documents.figures.atlas import atlas_pictures
from corpusreg.documents.figures.heights import write_heights
from corpusreg.documents.figures.periods import charts, period_picture, trend_picture
from corpusreg.documents.handout.writing import handout
from corpusreg.documents.pictures.save import png
from corpusreg.documents.report import write_report
from corpusreg.measures.definitions import BY_NAME, VERSION
from corpusreg.norms.atlas import atlas
from corpusreg.norms.periods.answer import study
from corpusreg.norms.periods.works import fetch_works, unit_names
from corpusreg.store import Reference, open_reference
from corpusreg.text.periods import study_document

FOLDER = Path(__file__).resolve().parent
PIECES = FOLDER.parent / "demo" / "pieces"
PICTURES = FOLDER / "pictures"
NUMBERS = FOLDER / "numbers.json"
SHEET = FOLDER / "reference.md"

MAPPED = "stairs.musicxml"
PLACED = "waiting-for-the-bus.musicxml"
PASSAGE = ("three-at-a-table.musicxml", "9-16", "bassoon", ("flute", "viola"))
BY_PERIOD = ("span",)
ON_THE_WALL = ("octaves-by-ensemble", "shifts-by-period", "heights-by-instrument")
_TOLERANCE = 1e-9  # relative: sums differ in the last bits from platform to platform
_DOTS = 110  # to the inch, of pages


def class_numbers() -> dict[str, dict[str, float | None]]:
    """Every measure of each piece of the demo class, by file; needs no reference."""
    found = {}
    for path in sorted(PIECES.iterdir()):
        _, whole, _ = measured(path)
        found[path.name] = {name: whole.values[name].value for name in BY_NAME}
    return found


def passage_numbers() -> list[dict[str, Any]]:
    """The passage of the picture of heights on each instrument; needs no reference."""
    name, bars, part, on = PASSAGE
    found = corpusreg.heights(PIECES / name, bars, part=part, on=on).result
    return [
        {
            "instrument": row.instrument.id,
            "level": row.level,
            "mean_height": row.height.mean,
            "tiring": row.tiring,
            "beyond": len(row.out_of_range),
            "semitones": row.semitones,
        }
        for row in found.rows
    ]


def placed_numbers() -> dict[str, Any]:
    """Where the piece of the report lies, from the reference in force."""
    (piece,) = corpusreg.compare(PIECES / PLACED).comparisons
    return {
        "piece": PLACED,
        "group": piece.cohort.rung.name,
        "works": piece.cohort.works,
        "measures": {
            each.measure.name: {
                "value": each.value,
                "percentile": each.placement.percentile,
                "interval": each.placement.interval,
                "middle": each.placement.median,
            }
            for each in piece.measures
        },
    }


def period_numbers(reference: Reference) -> dict[str, Any]:
    """The answer of 'corpusreg periods' for the picture by period."""
    found = study(fetch_works(reference), BY_PERIOD)
    return study_document(found, reference.reference_id)


def numbers() -> dict[str, Any]:
    """All numbers of the gallery, and what they were made with."""
    with open_reference() as reference:
        wall = atlas_document(atlas(reference))
        wall["figures"] = [f for f in wall["figures"] if f["name"] in ON_THE_WALL]
        found = {
            "reference": reference.reference_id,
            "definitions": VERSION,
            "works": reference.works,
            "music21": music21.__version__,
            "made_by": {
                "class": "corpusreg compare, values alone",
                "passage": "corpusreg heights",
                "placed": "corpusreg compare; queries/store/cohort.sql",
                "periods": "corpusreg periods span; queries/store/periods.sql",
                "atlas": "corpusreg atlas; queries/store/atlas_works.sql, atlas_octaves.sql, "
                "atlas_heights.sql",
            },
            "periods": period_numbers(reference),
            "atlas": wall,
        }
    found |= {
        "class": class_numbers(),
        "passage": passage_numbers(),
        "placed": placed_numbers(),
    }
    plain: dict[str, Any] = json.loads(json.dumps(found))
    return plain


def differences(old: object, new: object, where: str = "") -> Iterator[str]:
    """Where two sets of numbers differ, a line each; nothing where they are the same."""
    if isinstance(old, dict) and isinstance(new, dict):
        for key in sorted(old.keys() | new.keys()):
            if key not in old or key not in new:
                yield f"{where}/{key}: only in the {'old' if key in old else 'new'}"
            else:
                yield from differences(old[key], new[key], f"{where}/{key}")
    elif isinstance(old, list) and isinstance(new, list):
        if len(old) != len(new):
            yield f"{where}: {len(old)} before, {len(new)} now"
        for place, pair in enumerate(zip(old, new, strict=False)):
            yield from differences(*pair, f"{where}/{place}")
    elif isinstance(old, float) and isinstance(new, int | float):
        if not math.isclose(old, new, rel_tol=_TOLERANCE, abs_tol=_TOLERANCE):
            yield f"{where}: {old} before, {new} now"
    elif old != new:
        yield f"{where}: {old!r} before, {new!r} now"


def draw() -> None:
    """Draw all pictures."""
    PICTURES.mkdir(exist_ok=True)
    corpusreg.draw_map(PIECES / MAPPED, PICTURES / "register-map.png")
    found = corpusreg.compare(PIECES / PLACED)
    (piece,) = found.comparisons
    name, bars, part, on = PASSAGE
    passage = corpusreg.heights(PIECES / name, bars, part=part, on=on).result
    write_heights(passage, PICTURES / "heights.png")
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.pdf"
        write_report([piece], (), found.reference_id, report)
        _page(report, "report.png")
        lesson = Path(folder) / "Tuesday evening"  # the sheets are called by their folder
        shutil.copytree(PIECES, lesson)
        handout(lesson, Path(folder) / "sheets")
        _page(Path(folder) / "sheets" / "overview.pdf", "handout-class.png")
        sheet = Path(folder) / "sheets" / "sheets" / PLACED
        _page(sheet.with_suffix(".pdf"), "handout-piece.png")
    with open_reference() as reference:
        works, names = fetch_works(reference), unit_names(reference)
        wall = atlas_pictures(atlas(reference))
    for chart in charts(works, study(works, BY_PERIOD), names):
        (PICTURES / "periods.png").write_bytes(png(period_picture(chart, "periods")))
        if trend := trend_picture(chart, "trend"):
            (PICTURES / "trend.png").write_bytes(png(trend))
    for each in ON_THE_WALL:
        (PICTURES / f"atlas-{each}.png").write_bytes(png(wall[each]))


def _page(document: Path, name: str, number: int = 1) -> None:
    """One page of a PDF as PNG."""
    source = (
        "#set page(width: 210mm, height: 297mm, margin: 0mm)\n"
        f'#image("{document.name}", page: {number}, width: 100%, alt: "a page")'
    )
    beside = document.with_name("page.typ")
    beside.write_text(source, encoding="utf-8")
    made = typst.compile(beside, format="png", ppi=_DOTS, root=document.parent)
    (PICTURES / name).write_bytes(made)


def sheet() -> str:
    """The data sheet of the reference as a page."""
    with corpusreg.Session() as session:
        told = session.reference_sheet().text
    return (
        "# The reference that ships\n\nAs `corpusreg reference` tells it. Made by "
        f"`python reports/make.py`.\n\n```\n{told}\n```\n"
    )


def main(arguments: list[str]) -> int:
    """Make or check the gallery; 1 where a number differs."""
    new = numbers()
    if arguments == ["--check"]:
        old = json.loads(NUMBERS.read_text(encoding="utf-8"))
        found = list(differences(old, new))
        if SHEET.read_text(encoding="utf-8") != sheet():
            found.append(f"{SHEET.name}: not the sheet of the reference that ships")
        print("\n".join(found[:40]) or "gallery: all numbers come out as they stand")
        if found:
            print(f"{len(found)} differ; where that is meant, run 'python reports/make.py'")
        return 1 if found else 0
    if arguments:
        print(__doc__)
        return 2
    draw()
    NUMBERS.write_text(json.dumps(new, indent=1) + "\n", encoding="utf-8")
    SHEET.write_text(sheet(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
