"""The core under another Python: its tests, then the main job with every warning an error.

Run by `.ci/run` in an environment that has few of the packages, without pandas, matplotlib
or music21; so the tests are those that ask for no bundled score.
"""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
TESTS = ("shifts", "texture", "movement", "played", "writing")
BUNDLED = "bundled or reference"


def main() -> None:
    """Run both; fails where one of them does."""
    env = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "error"}
    tests = [str(ROOT / "tests" / f"test_{name}.py") for name in TESTS]
    pytest = [
        sys.executable,
        "-m",
        "pytest",
        "-p",
        "no:cacheprovider",
        "-k",
        f"not ({BUNDLED})",
    ]
    subprocess.run([*pytest, *tests], cwd=ROOT, env=os.environ, check=True)
    for words in (
        ("compare", "demo/pieces/stairs.musicxml", "demo/pieces/waiting-for-the-bus.musicxml"),
        ("contrast", "demo/pieces/stairs.musicxml"),
    ):
        told = subprocess.run(
            [sys.executable, "-m", "corpusreg.cli", *words],
            cwd=ROOT, env=env, check=True, capture_output=True, text=True,
        )  # fmt: skip
        assert "Stairs" in told.stdout and not told.stderr, told.stderr


if __name__ == "__main__":
    main()
