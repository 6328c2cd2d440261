"""What the studies share: quantiles over composers, years as intervals, trends, figures."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from IPython.display import Image, display
from statsmodels.regression.mixed_linear_model import MixedLM

import corpusreg
from corpusreg.corpus.dates import BEGINS, ENDS
from corpusreg.documents.figures.style import new_axes, new_figure, say, styled
from corpusreg.documents.pictures.look import COLOURS
from corpusreg.score.pitch import USUAL
from corpusreg.text.wording import note as named
from corpusreg.norms.reference import weighted_quantile

__all__ = [
    "COLOURS", "NARROW", "Line", "around", "ask", "by_composer", "finish", "label", "line", "note",
    "one_year", "pitch_axis", "reference_id", "resampled", "smooth", "tell", "wide_figure",
    "with_notes", "years",
]  # fmt: skip

ROUNDS = 100
FEWEST = 4  # composers
NARROW = 10  # years within which a date counts as known
_DPI = 144


def ask(question: str) -> pd.DataFrame:
    """The answer of the reference in force to QUESTION.sql."""
    with corpusreg.Session() as session:
        statement = Path(f"{question}.sql").read_text(encoding="utf-8")
        return pd.DataFrame(session.reference.fetch_columns(statement))


def reference_id() -> str:
    """The id of the reference in force."""
    with corpusreg.Session() as session:
        return session.reference_id


def with_notes(table: pd.DataFrame, index: str = "work") -> tuple[pd.DataFrame, np.ndarray]:
    """One row for each of an index, and how many notes it has on each pitch, (rows, 128)."""
    rows = table.drop_duplicates(index).sort_values(index).reset_index(drop=True)
    place = pd.Series(rows.index, rows[index])[table[index]].to_numpy()
    notes = np.zeros((len(rows), 128))
    np.add.at(notes, (place, table["pitch"].to_numpy(int)), table["notes"].to_numpy(float))
    return rows, notes


def smooth(shares: np.ndarray) -> np.ndarray:
    """Shares by pitch, shape (..., 128), averaged with their neighbours a third around.

    Without that a curve by pitch shows the white keys more than the registers.
    """
    weight = np.array([1, 2, 3, 4, 3, 2, 1]) / 16
    return np.apply_along_axis(np.convolve, -1, shares, weight, "same")


def note(pitch: float) -> str:
    """The note nearest to a pitch: 60 is C4."""
    return named(round(pitch), USUAL)


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


def around(values: Any, unit: Any) -> tuple[float, float, float]:
    """The mean over composers, who count the same, and its 95 % interval over them."""
    each = pd.Series(np.asarray(values, float)).groupby(np.asarray(unit)).mean().dropna()
    middle, reach = each.mean(), 1.96 * each.std() / len(each) ** 0.5
    return float(middle), float(middle - reach), float(middle + reach)


def years(table: pd.DataFrame, draw: np.random.Generator) -> np.ndarray:
    """A year for each work, anywhere within what is known of it."""
    first, last = _within(table)
    return draw.uniform(first, np.maximum(last, first) + 1)


def one_year(table: pd.DataFrame) -> pd.Series:
    """One year for each work: the middle of what is known, in a life of the working life."""
    return sum(_within(table)) / 2


def _within(table: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """The first and the last year of each work; a life's are those of the working life."""
    first, last = table["year_from"].astype(float), table["year_to"].astype(float)
    life = table["year_source"] == "life dates"
    last = last.where(~life, np.fmin(last, first + ENDS))
    return (first + BEGINS * life).clip(upper=last), last


@dataclass(frozen=True)
class Line:
    """A straight line over the years: its slope in ten years with its 95 % interval.

    spread: how far composers lie from it, one standard deviation. at_1840: its height there.
    """

    slope: float
    low: float
    high: float
    spread: float
    at_1840: float


def line(table: pd.DataFrame, of: str, *more: Any) -> Line:
    """The line through works, with a mean of its own for every composer; `year` is a column.

    Every composer stands at the mean of his or her years: where in a life a work belongs is
    not known, and dates drawn at random within it would flatten the line. more: columns that
    may explain the values as well, shape (works,).
    """
    ten = (table.groupby("unit")["year"].transform("mean") - 1840) / 10
    parts = np.column_stack([np.ones(len(table)), ten, *more])
    scale = table[of].astype(float).std()
    fit = MixedLM(table[of].astype(float) / scale, parts, groups=table["unit"]).fit(reml=True)
    at, error = float(fit.fe_params.iloc[1]), 1.96 * float(fit.bse_fe.iloc[1])
    spread = float(fit.cov_re.iloc[0, 0]) ** 0.5
    numbers = (at, at - error, at + error, spread, float(fit.fe_params.iloc[0]))
    return Line(*(float(scale * each) for each in numbers))


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


def _plain(found: dict[Any, Any]) -> Iterator[tuple[Any, Any]]:
    for name, value in found.items():
        if isinstance(value, dict):
            yield name, dict(_plain(value))
        elif isinstance(value, (list, tuple, np.ndarray)):
            yield name, [each for _, each in _plain(dict(enumerate(value)))]
        elif isinstance(value, (np.floating, float)):
            yield name, round(float(value), 6)
        elif isinstance(value, (np.integer, np.bool_)):
            yield name, value.item()
        else:
            yield name, value
