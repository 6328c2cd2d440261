"""What the studies share: weighted quantiles over composers, years as intervals, figures."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from IPython.display import Image, display

import corpusreg
from corpusreg.documents.figures.style import new_axes, new_figure, say, styled
from corpusreg.documents.pictures.look import COLOURS
from corpusreg.text.wording import note as named
from corpusreg.norms.reference import weighted_quantile

__all__ = [
    "COLOURS", "ask", "by_composer", "finish", "label", "note", "pitch_axis", "resampled", "tell",
    "wide_figure", "years",
]  # fmt: skip

ROUNDS = 100
FEWEST = 4  # composers
FIRST_WORK = 20  # years of age from which a life counts as a working life
_DPI = 144


def ask(statement: str) -> pd.DataFrame:
    """A table out of the reference in force."""
    with corpusreg.Session() as session:
        return pd.DataFrame(session.reference.fetch_columns(statement))


def note(pitch: float) -> str:
    """The note nearest to a pitch: 60 is C4."""
    return named(round(pitch))


def by_composer(values: Any, unit: Any, share: float = 0.5, drawn: Any = None) -> float:
    """A quantile to which every composer contributes the same; NaN with fewer than FEWEST.

    unit: number of each value's composer. drawn: how often each composer counts, once if None.
    """
    values, unit = np.asarray(values, float), np.asarray(unit)
    works = np.bincount(unit)
    weight = (np.ones(len(works)) if drawn is None else drawn)[unit] / works[unit]
    counts = weight > 0
    if (np.bincount(unit[counts]) > 0).sum() < FEWEST:
        return float("nan")
    return weighted_quantile(values[counts], weight[counts], share)


def resampled(figure_of: Callable[[Any, np.random.Generator], Any], units: int) -> np.ndarray:
    """A figure worked out ROUNDS times with composers drawn with replacement.

    figure_of: takes how often each of the composers is drawn, shape (units,).
    """
    draw = np.random.default_rng(1)
    counts = draw.multinomial(units, np.full(units, 1 / units), ROUNDS).astype(float)
    return np.array([figure_of(each, draw) for each in counts], float)


def years(table: pd.DataFrame, draw: np.random.Generator) -> np.ndarray:
    """A year for each work, anywhere within what is known of it.

    A work that is dated by a life may be of any year from the composer's 20th on.
    """
    first = table["year_from"].astype(float).to_numpy(copy=True)
    last = table["year_to"].astype(float).to_numpy(copy=True)
    life = (table["year_source"] == "life dates").to_numpy()
    first[life] = np.minimum(first[life] + FIRST_WORK, last[life])
    return draw.uniform(first, np.maximum(last, first) + 1)


def wide_figure(height: float, title: str, width: float = 760) -> tuple[Any, Any]:
    """A figure with one pair of axes under its title, in the look of all others."""
    with styled():
        figure = new_figure(width, height)
        axes = new_axes(figure, 64, 64, width - 84, height - 112)
        say(figure, title, 16, 30, 18)
        yield_axes: tuple[Any, Any] = figure, axes
    return yield_axes


def pitch_axis(axes: Any, low: int, high: int) -> None:
    """Every C from low to high, by name, on the upright axis."""
    cs = [pitch for pitch in range(low, high + 1) if pitch % 12 == 0]
    axes.set_ylim(low, high)
    axes.set_yticks(cs, [note(pitch) for pitch in cs])
    axes.grid(axis="y")


def label(axes: Any, x: float, y: float, text: str) -> None:
    """Words in the plot, in its face."""
    axes.text(x, y, text, color=COLOURS["quiet"], family="STIXGeneral", fontsize=14)


def finish(figure: Any, name: str) -> None:
    """Write the figure beside the page, and show it."""
    path = Path("pictures") / f"{name}.png"
    path.parent.mkdir(exist_ok=True)
    with styled():
        figure.savefig(path, dpi=_DPI, metadata={"Software": None})
    display(Image(str(path), width=760))


def tell(**found: Any) -> None:
    """The numbers that the text of a study is made of; the last line of its notebook."""
    print(json.dumps(dict(_plain(found)), indent=1, ensure_ascii=False))


def _plain(found: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    for name, value in found.items():
        if isinstance(value, dict):
            yield name, dict(_plain(value))
        elif isinstance(value, (list, tuple, np.ndarray)):
            yield name, [float(each) if not isinstance(each, str) else each for each in value]
        elif isinstance(value, (np.floating, float)):
            yield name, round(float(value), 6)
        elif isinstance(value, (np.integer, np.bool_)):
            yield name, value.item()
        else:
            yield name, value
