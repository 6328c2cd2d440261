"""Studies in reports/: their notebooks run, and bear out what their pages say."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import nbformat
import pytest
from jupyter_client.manager import AsyncKernelManager
from jupyter_core.utils import run_sync

STUDIES = Path(__file__).resolve().parents[1] / "reports" / "studies"
sys.path.insert(0, str(STUDIES))

import make  # noqa: E402


@pytest.fixture(scope="module")
def kernel(tmp_path_factory: pytest.TempPathFactory) -> Iterator[AsyncKernelManager]:
    """One for all studies: most of their time is spent on loading what they use."""
    folder = tmp_path_factory.mktemp("studies")
    started = AsyncKernelManager(kernel_name="python3")
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("CORPUSREG_SHIPPED", raising=False)
        patch.setenv("CORPUSREG_HOME", str(folder / "home"))
        patch.setenv("IPYTHONDIR", str(folder / "ipython"))
        patch.setattr(make, "HERE", shutil.copytree(STUDIES, folder / "studies"))
        yield started
    run_sync(started.shutdown_kernel)(now=True)


@pytest.mark.parametrize("name", make.STUDIES)
def test_the_reference_that_ships_bears_out_a_study(
    name: str, kernel: AsyncKernelManager
) -> None:
    # Each study asserts what its sentences claim, so that a claim which fell stops it here.
    _, told = make.run(name, kernel)
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
