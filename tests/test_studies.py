"""Studies in reports/: their notebooks run, and bear out what their pages say."""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path

import nbformat
import pytest

STUDIES = Path(__file__).resolve().parents[1] / "reports" / "studies"
sys.path.insert(0, str(STUDIES))

import make  # noqa: E402


@pytest.mark.parametrize("name", make.STUDIES)
def test_the_reference_that_ships_bears_out_a_study(
    name: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.delenv("CORPUSREG_SHIPPED", raising=False)
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path))
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path / "ipython"))
    monkeypatch.setattr(make, "HERE", shutil.copytree(STUDIES, tmp_path / "studies"))
    # Each study asserts what its sentences claim, so that a claim which fell stops it here.
    _, told = make.run(name)
    stands = nbformat.read(STUDIES / f"{name}.ipynb", as_version=4)
    old = json.loads(stands.cells[-1]["outputs"][-1]["text"])
    assert not list(make.differences(old, told)), "run python reports/studies/make.py"
    code = [
        body
        for text, body in make.cells((STUDIES / f"{name}.py").read_text("utf-8"))
        if not text
    ]
    assert [each["source"] for each in stands.cells if each["cell_type"] == "code"] == code
    assert make.page(name, stands) == (STUDIES / f"{name}.md").read_text("utf-8")
