"""The import order, and what keeps modules small and quick to load.

The table of modules in DEVELOPERS.md lists the units of the package lowest first;
a unit is a module or a folder of modules. A unit may import only what its row
names, and a row may name only rows above it, so that no cycle can arise between
units. Imports inside functions and imports for type checking count like any other.
"""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "corpusreg"

# Outside packages and the only places that may import them.
OUTSIDE: dict[str, tuple[str, ...]] = {
    "distributed": ("building.cluster",),
    "duckdb": ("store",),
    "flask": ("room.app",),
    "fsspec": ("store.mirror",),
    "lxml": ("readers.musicxml", "readers.mei", "engraving", "rewrite"),
    "lytk": ("readers.abc", "engraving.loading"),
    "matplotlib": ("figures",),
    "mido": ("readers.midi_events", "rewrite.midi"),
    "music21": ("readers.other",),
    "numpy": (
        "notes", "loudness", "readers", "pedal", "played", "ensembles", "measures", "analysis",
        "rewrite", "duplicates", "reference", "effects", "rebar", "periods", "atlas", "store",
        "cohorts",
        "profiles", "players", "comparison", "drafts", "pictures", "outputs.console", "heights",
        "report.sound", "revising", "pages.contrast",
        "building", "workflow.ask",
    ),
    "pandas": ("api",),
    "platformdirs": ("settings",),
    "seaborn": ("figures.style",),
    "sklearn": ("profiles.clustering",),
    "threadpoolctl": ("profiles.clustering",),
    "typst": ("pictures.save", "report.typeset"),
    "verovio": ("engraving",),
    "werkzeug": ("room.app", "room.serve"),
}  # fmt: skip
HEAVY = (
    "pandas", "scipy", "sklearn", "ruptures", "matplotlib", "seaborn", "music21", "lytk",
    "mido", "converter21",
)  # fmt: skip
LONGEST_MODULE = 400
LONGEST_BODY = 50


@lru_cache
def layers() -> dict[str, set[str]]:
    """Units lowest first, and what each may import, from the table in DEVELOPERS.md."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(\w+)` \| [^|]+ \| ([\w, ]*) \|$", text, re.MULTILINE)
    assert len(rows) == len(dict(rows))
    return {name: set(re.findall(r"\w+", allowed)) for name, allowed in rows}


@lru_cache
def modules() -> dict[str, ast.Module]:
    """Syntax trees of all modules by dotted name without the package's own."""
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" and len(parts) > 1 else parts)
        found[name] = ast.parse(path.read_text(encoding="utf-8"))
    return found


def unit(module: str) -> str:
    return module.partition(".")[0]


def imported(tree: ast.Module) -> Iterator[str]:
    """Absolute names of everything a module imports; a relative import is refused."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0 and node.module, f"line {node.lineno}: relative import"
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def own(module: str) -> set[str]:
    """Modules of the package that a module imports."""
    found = set()
    for name in imported(modules()[module]):
        top, _, rest = name.partition(".")
        if top != "corpusreg":
            continue
        while rest and rest not in modules():
            rest = rest.rpartition(".")[0]
        found.add(rest or "__init__")
    return found


def outside(module: str) -> set[str]:
    """Packages beyond the standard library that a module imports."""
    tops = {name.partition(".")[0] for name in imported(modules()[module])}
    return tops - sys.stdlib_module_names - {"corpusreg"}


def test_every_unit_has_a_row_and_every_row_a_unit() -> None:
    assert {unit(module) for module in modules()} == set(layers())


def test_rows_name_only_rows_above_them() -> None:
    seen: set[str] = set()
    for name, allowed in layers().items():
        assert allowed <= seen, name
        seen.add(name)


def test_a_module_imports_only_what_its_row_names() -> None:
    beyond = {
        module: sorted(reached - {unit(module)} - layers()[unit(module)])
        for module in modules()
        if (reached := {unit(name) for name in own(module)})
    }
    assert not {module: names for module, names in beyond.items() if names}


def test_no_cycle_between_modules() -> None:
    done: set[str] = set()

    def visit(module: str, trail: tuple[str, ...]) -> None:
        assert module not in trail, " -> ".join((*trail, module))
        if module in done:
            return
        # A folder's own front imports its modules, and never the other way round.
        for name in own(module):
            visit(name, (*trail, module))
        done.add(module)

    for module in modules():
        visit(module, ())


def test_outside_packages_stay_in_their_places() -> None:
    """Both ways: no import outside the named places, and no place without its import."""
    used: set[tuple[str, str]] = set()
    for module in modules():
        for package in outside(module):
            places = [
                place
                for place in OUTSIDE.get(package, ())
                if module == place or module.startswith(f"{place}.")
            ]
            assert places, f"{module} may not import {package}"
            used.update((package, place) for place in places)
    assert used == {(package, place) for package in OUTSIDE for place in OUTSIDE[package]}


def test_modules_keep_their_size() -> None:
    lines = {
        str(path.relative_to(PACKAGE)): path.read_text(encoding="utf-8").count("\n")
        for path in PACKAGE.rglob("*.py")
    }
    assert not {path: count for path, count in lines.items() if count > LONGEST_MODULE}


def test_functions_keep_their_size() -> None:
    long = {}
    for module, tree in modules().items():
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                first = node.body[1 if ast.get_docstring(node) and len(node.body) > 1 else 0]
                lines = (node.end_lineno or 0) - first.lineno + 1
                if lines > LONGEST_BODY:
                    long[f"{module}.{node.name}"] = lines
    assert not long


def test_every_public_thing_has_a_docstring() -> None:
    bare = [
        name
        for module, tree in modules().items()
        for name, node in ((module, tree), *_public(tree, module))
        if not ast.get_docstring(node)
    ]
    assert not bare


def _public(
    node: ast.Module | ast.ClassDef, prefix: str
) -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef]]:
    for child in node.body:
        if not isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            continue
        if child.name.startswith("_"):
            continue
        yield f"{prefix}.{child.name}", child
        if isinstance(child, ast.ClassDef):
            yield from _public(child, f"{prefix}.{child.name}")


def test_the_command_line_loads_nothing_heavy() -> None:
    code = "import json, sys, corpusreg.cli; print(json.dumps(sorted(sys.modules)))"
    ran = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    loaded = {name.partition(".")[0] for name in json.loads(ran.stdout)}
    assert "corpusreg" in loaded
    assert not loaded & {*HEAVY, "numpy", "duckdb", "lxml"}
