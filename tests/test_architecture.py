"""The import order, and what keeps the package quick to load.

The table of districts in DEVELOPERS.md lists them lowest first; a district imports
only from those above its row. Imports inside functions and imports for type checking
count like any other.
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
    "click": ("cli",),
    "distributed": ("building.cluster",),
    "duckdb": ("store",),
    "flask": ("room.app",),
    "fsspec": ("store.mirror",),
    "jinja2": ("documents.layout",),
    "lxml": ("score.readers", "score.rewrite", "documents.engraving", "documents.figures"),
    "lytk": ("score.readers", "documents.engraving.loading"),
    "matplotlib": ("documents.figures",),
    "msgspec": ("comparison.class_file",),
    "mido": ("score.readers", "score.rewrite"),
    "music21": ("score.readers",),
    "numpy": (
        "score", "instruments", "measures", "store", "norms", "comparison", "revision", "text",
        "documents", "building",
    ),
    "pandas": ("answers",),
    "platformdirs": ("system.settings",),
    "rich": ("terminal",),
    "scipy": ("norms",),
    "seaborn": ("documents.figures",),
    "sklearn": ("norms.profiles",),
    "threadpoolctl": ("norms.profiles",),
    "typst": ("documents",),
    "verovio": ("documents.engraving",),
    "werkzeug": ("room",),
}  # fmt: skip
HEAVY = (
    "pandas", "scipy", "sklearn", "ruptures", "matplotlib", "seaborn", "music21", "lytk",
    "mido", "converter21",
)  # fmt: skip
# What may be imported inside a function: packages that take long to load, and what only some
# systems have; and of our own modules what these few hand on to, so that a command loads no
# more than it asks for.
LATE = {
    "click", "ctypes", "difflib", "distributed", "duckdb", "fcntl", "fsspec", "jinja2", "lxml",
    "lytk", "matplotlib", "mido", "msvcrt", "music21", "pandas", "platformdirs", "resource",
    "rich", "scipy", "seaborn", "sklearn", "threadpoolctl", "typst", "verovio",
}  # fmt: skip
HANDING_ON = {"__init__", "answers", "cli", "score.readers", "score.rewrite", "session"}
# Imports against the flow that are still to be turned round; the list only shrinks.
STILL_UPWARD = {
    ("revision", "text"),
}


@lru_cache
def districts() -> list[str]:
    """Districts lowest first, from the table in DEVELOPERS.md."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    text = text.partition("## Districts")[2].partition("\n## ")[0]
    return re.findall(r"^\| `(\w+)` \| [^|]+ \|$", text, re.MULTILINE)


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


def imported(tree: ast.AST) -> Iterator[str]:
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


def test_every_district_has_a_row_and_every_row_a_district() -> None:
    assert {unit(module) for module in modules()} == set(districts())


def test_imports_go_one_way_through_the_districts() -> None:
    order = {name: place for place, name in enumerate(districts())}
    upward = {
        (unit(module), unit(name))
        for module in modules()
        for name in own(module)
        if order[unit(name)] > order[unit(module)]
    }
    assert upward == STILL_UPWARD


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


def test_imports_stand_at_the_top_but_for_what_is_loaded_late() -> None:
    late = {
        (module, name.partition(".")[0])
        for module, tree in modules().items()
        for function in ast.walk(tree)
        if isinstance(function, ast.FunctionDef)
        for name in imported(function)
    }
    own = {module for module, name in late if name == "corpusreg"}
    assert own == HANDING_ON
    assert {name for _, name in late} == LATE | {"corpusreg"}


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


def test_a_class_has_a_name_of_its_own() -> None:
    names = [
        node.name
        for tree in modules().values()
        for node in ast.walk(tree)
        if isinstance(node, ast.ClassDef)
    ]
    assert [name for name in names if names.count(name) > 1] == []


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
