"""Make the studies: run their notebooks, and write their pages from what comes out.

    python reports/studies/make.py            makes all notebooks, pictures and pages again
    python reports/studies/make.py --check    runs them, and compares their numbers
    python reports/studies/make.py NAME...    only these

A study is one Python file in cells ('# %%', '# %% [markdown]'). Its text has places for
numbers, which the last cell tells; the notebook holds all of it, the page the text and the
pictures. Runs on the reference in force, which is the one that ships where nothing was added.
"""

from __future__ import annotations

import json
import os
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nbformat
from jinja2 import Environment, StrictUndefined
from jupyter_client.manager import AsyncKernelManager
from nbclient import NotebookClient

HERE = Path(__file__).resolve().parent
STUDIES = ("piano", "songs", "quartets")
_CELL = re.compile(r"^# %%( \[markdown\])?\n", re.MULTILINE)
_TOLERANCE = 0.02  # relative: fits differ a little from platform to platform


def cells(source: str) -> Iterator[tuple[bool, str]]:
    """Whether each cell is text, and what it says."""
    pieces = _CELL.split(source)[1:]
    for mark, body in zip(pieces[::2], pieces[1::2], strict=True):
        text = mark is not None
        body = re.sub(r"^# ?", "", body, flags=re.MULTILINE) if text else body
        yield text, body.strip()


def run(
    name: str, kernel: AsyncKernelManager | None = None
) -> tuple[nbformat.NotebookNode, dict[str, Any]]:
    """The executed notebook of a study with its numbers in place, and the numbers.

    kernel: one that others have used, whose names go first; a new one if None.
    """
    make: Any = nbformat.v4
    notebook = make.new_notebook()
    for number, (text, body) in enumerate(cells((HERE / f"{name}.py").read_text("utf-8"))):
        cell = make.new_markdown_cell(body) if text else make.new_code_cell(body)
        cell["id"] = f"{name}-{number}"
        notebook.cells.append(cell)
    os.environ.setdefault("PYDEVD_DISABLE_FILE_VALIDATION", "1")
    client = NotebookClient(notebook, km=kernel, timeout=600, kernel_name="python3",
                            resources={"metadata": {"path": str(HERE)}})  # fmt: skip
    if kernel is None:
        client.execute()
    else:
        notebook.cells.insert(0, make.new_code_cell("%reset -f"))
        client.execute()
        client.kc.stop_channels()
        del notebook.cells[0]
    told: dict[str, Any] = json.loads(notebook.cells[-1]["outputs"][-1]["text"])
    fill = Environment(undefined=StrictUndefined, autoescape=False)
    for cell in notebook.cells:
        cell["metadata"].pop("execution", None)  # times of day
        if cell["cell_type"] == "markdown":
            cell["source"] = fill.from_string(cell["source"]).render(told)
            continue
        # The picture is a file beside the page; the notebook need not hold it twice.
        cell["outputs"] = [each for each in cell["outputs"] if each["output_type"] == "stream"]
    python = {"display_name": "Python 3", "language": "python", "name": "python3"}
    notebook["metadata"] = nbformat.from_dict({"kernelspec": python})
    return notebook, told


def page(name: str, notebook: nbformat.NotebookNode) -> str:
    """The text of a study, its pictures, and where its figures come from."""
    texts = [cell["source"] for cell in notebook.cells if cell["cell_type"] == "markdown"]
    foot = (
        f"*The queries and the statistics are in [the notebook]({name}.ipynb), made from "
        f"`reports/studies/{name}.py` by `python reports/studies/make.py`.*"
    )
    return "\n\n".join([*texts, foot]) + "\n"


def differences(old: Any, new: Any, where: str = "") -> Iterator[str]:
    """Where two sets of numbers differ by more than fits do."""
    if isinstance(old, dict) and isinstance(new, dict):
        for key in sorted(old.keys() | new.keys()):
            yield from differences(old.get(key), new.get(key), f"{where}/{key}")
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for place, pair in enumerate(zip(old, new, strict=True)):
            yield from differences(*pair, f"{where}/{place}")
    elif isinstance(old, int | float) and isinstance(new, int | float):
        if abs(old - new) > max(_TOLERANCE * abs(old), 0.05):
            yield f"{where}: {old} before, {new} now"
    elif old != new:
        yield f"{where}: {old!r} before, {new!r} now"


def main(arguments: list[str]) -> int:
    """Make or check studies; 1 where a number differs."""
    check = "--check" in arguments
    names = [each for each in arguments if each != "--check"] or list(STUDIES)
    if unknown := set(names) - set(STUDIES):
        print(f"no study '{min(unknown)}'; there are {', '.join(STUDIES)}")
        return 2
    wrong = 0
    for name in names:
        notebook, told = run(name)
        if check:
            before = nbformat.read(HERE / f"{name}.ipynb", as_version=4)
            old = json.loads(before.cells[-1]["outputs"][-1]["text"])
            found = list(differences(old, told))
            print("\n".join([f"{name}: {each}" for each in found] or [f"{name}: as it stands"]))
            wrong += len(found)
            continue
        nbformat.write(notebook, HERE / f"{name}.ipynb")
        (HERE / f"{name}.md").write_text(page(name, notebook), encoding="utf-8")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
