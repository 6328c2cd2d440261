"""What `trust.py` found as tables of the guide, and the reliability that the package reads."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

from corpusreg.comparison.findings import HEADLINE
from corpusreg.text.measures import title

__all__ = ["SUMMARY", "in_short", "page", "reliability", "summary", "write"]

SUMMARY = ("<!-- reports/trust.py begins -->\n", "<!-- reports/trust.py ends -->")
PAGE = "measures-by-medium.md"
METHODS = {
    "kernel_density": "kernel by length and density",
    "composers": "model",
    "collections": "with collections",
    "dated": "and date",
}
PLURAL = {
    "piano": "piano works", "song": "songs", "choir": "choral works",
    "string quartet": "string quartets", "orchestra": "orchestral works",
}  # fmt: skip
_RANGES = ("span", "core_span")
Row = dict[str, Any]


def write(found: Row, guide: Path, readme: Path, data: Path) -> None:
    """Put the summary into guide and README, and write the page of measures and the data."""
    for path, told in ((guide, summary(found)), (readme, in_short(found))):
        before, rest = path.read_text(encoding="utf-8").split(SUMMARY[0])
        _, after = rest.split(SUMMARY[1])
        path.write_text(f"{before}{SUMMARY[0]}{told}{SUMMARY[1]}{after}", "utf-8")
    guide.with_name(PAGE).write_text(page(found), encoding="utf-8")
    data.write_text(reliability(found), encoding="utf-8")


def reliability(found: Row) -> str:
    """The data file: reliability of each measure in each medium, where it is known."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(("ensemble", "measure", "reliability", "works"))
    for medium, measures in found["media"].items():
        for name, row in measures.items():
            if row.get("reliability") is not None:
                rows.writerow((medium, name, f"{row['reliability']:.2f}", row["halves_of"]))
    return out.getvalue()


def summary(found: Row) -> str:
    """Do the intervals hold, and is a model better? For the guide's page on trust."""
    media = found["media"]
    return "\n\n".join(
        (
            f"Reference {found['reference']}; the six measures of a first page, lowest and "
            f"highest of them; every measure by medium is on [a page of its own]({PAGE}).",
            _table(
                ("", "within: halves of the composers", "between: another collection, aim 90 %",
                 "width of that", "by length: distance (chance: up to)", "halves of a work"),
                [
                    (
                        PLURAL[medium],
                        _ends(rows, "within", _percent),
                        _ends(rows, "between", _percent) or "too few collections",
                        _ends(rows, "between_width", _points),
                        f"{_ends(rows, 'by_length', _number, max)} ({_chance(rows):.2f})",
                        _ends(rows, "halves", _percent),
                    )
                    for medium, rows in ((m, _headlines(r)) for m, r in media.items())
                ],
            ),
            "Simulated composers whose true places are known; the interval of 95 % holds the "
            "true place in:",
            _table(
                ("composers", *(f"P{place}" for place in found["simulation"][0]["held"])),
                [
                    (str(row["composers"]), *map(_percent, row["held"].values()))
                    for row in found["simulation"]
                ],
            ),
            _model_words(media),
        )
    ) + "\n"  # fmt: skip


def in_short(found: Row) -> str:
    """One sentence for the README."""
    rows = [row for rows in found["media"].values() for row in _headlines(rows)]
    return (
        "- It does not know all music. Its 95 % intervals hold between random halves of the\n"
        f"  composers in {_ends(rows, 'within', _percent)}, its 90 % intervals for another "
        f"collection in\n  {_ends(rows, 'between', _percent)} "
        "([by medium and measure](reports/guide/trust.md)).\n"
    )


def _model_words(media: Row) -> str:
    """Where the model predicts left-out composers better than the kernel, and by how much."""
    said = []
    for name in HEADLINE:
        better, worse = [], []
        for medium, rows in media.items():
            model = rows.get(name, {}).get("models")
            if model:
                middle, low, high = model["composers"]["loss"]
                words = f"{PLURAL[medium]} {abs(middle):.0f} % ({_between(low, high)})"
                (better if high < 0 else worse if low > 0 else []).append(words)
        told = [f"less in {', '.join(better)}"] if better else []
        told += [f"more in {', '.join(worse)}"] if worse else []
        said.append(
            f"- {title(name)}: {'; '.join(told) or 'no difference shown in any medium'}"
        )
    return (
        "A model of the norm in length and density with random effects of composers, against "
        "the kernel in use, on composers that were left out: its pinball loss is\n\n"
        + "\n".join(said)
        + f"\n\n{_gained_by(media)}"
    )


def _gained_by(media: Row) -> str:
    """What of the gain in range is density alone, and whether either method is off."""
    models = {
        medium: [rows[name]["models"] for name in _RANGES if rows.get(name, {}).get("models")]
        for medium, rows in media.items()
    }
    shares = [
        f"{PLURAL[medium]} {_percent(min(found))} to {_percent(max(found))}"
        for medium, each in models.items()
        for found in [[max(m["kernel_density"]["loss"][0] / m["composers"]["loss"][0], 0)
                       for m in each]]
        if found
    ]  # fmt: skip
    every = [each for found in models.values() for each in found]
    even = [
        _ends([each[method] for each in every], "even", _number)
        for method in ("kernel", "composers")
    ]
    return (
        "A kernel that looks at density as well would have this much of the model's gain in "
        f"span and main range: {'; '.join(shares)}. The places of left-out works lie {even[0]} "
        f"from an even spread by the kernel in use, {even[1]} by the model."
    )


def _between(low: float, high: float) -> str:
    ends = sorted((abs(low), abs(high)))
    return f"{ends[0]:.0f} to {ends[1]:.0f}"


def page(found: Row) -> str:
    """Every measure in every medium: reliability, redundancy, bars, separation, models."""
    parts = [
        "# Measures by medium",
        f"Made by `python reports/trust.py` from reference {found['reference']}; how each "
        "figure is worked out stands at the head of that file.",
        "reliable: correlation of the places of a work's two halves, stepped up to the whole; "
        "apart: by how many points these lie apart. movements: correlation of one movement's "
        "place with another's of the same work, and with one of another work by the same "
        "composer. bars: by how many points places move with half and with double bars, where "
        "the measure counts bars. composers, periods: share of the variance of places between "
        "them. same as: the measure that tells most of the same, with its rank correlation. "
        "within, between: as in [how far to trust it](trust.md), with the width of the "
        "interval for another collection; by collection: lowest and highest mean place of one "
        "collection's works among the others.",
    ]
    for medium, rows in found["media"].items():
        parts += [f"## {PLURAL[medium].capitalize()}", _measures(rows), _models(rows)]
    return "\n\n".join(parts) + "\n"


def _measures(rows: Row) -> str:
    return _table(
        ("", "reliable", "apart", "movements", "bars", "composers", "periods", "same as",
         "within", "between", "by collection"),
        [
            (
                title(name),
                _number(row.get("reliability")),
                _points(row.get("apart")),
                _pair(row.get("movements"), row.get("other_works"), _number),
                _pair(row.get("barring_half"), row.get("barring_double"), _points),
                _percent(row.get("composers")),
                _percent(row.get("periods")),
                f"{title(row['nearest'])} {_number(row['nearest_r'])}",
                _percent(row.get("within")),
                _pair(row.get("between"), row.get("between_width"), _percent, _points),
                _pair(*(row.get("mean_places") or (None, None)), _points),
            )
            for name, row in rows.items()
        ],
    )  # fmt: skip


def _models(rows: Row) -> str:
    table = []
    for name, row in rows.items():
        models = row.get("models")
        if models:
            losses = (models[each]["loss"] for each in METHODS)
            evens = [f"{models[each]['even']:.2f}" for each in ("kernel", *METHODS)]
            told = [
                f"{middle:+.0f} ({low:+.0f} to {high:+.0f})" for middle, low, high in losses
            ]
            table.append((title(name), str(models["composers_of"]), *told, " / ".join(evens)))
    words = (
        "Pinball loss beyond that of the kernel in use, in percent, with its 95 % interval; "
        "last the distance of the places of left-out works from an even spread, kernel first."
    )
    return f"{words}\n\n" + _table(("", "composers", *METHODS.values(), "distances"), table)


def _chance(rows: list[Row]) -> float:
    """The distance that a third of the works stays below in 19 of 20 cases by chance."""
    fewest = min(row["by_length_of"] for row in rows) / 3
    return float(1.36 / fewest**0.5)  # Kolmogorov's, for many


def _headlines(rows: Row) -> list[Row]:
    return [rows[name] for name in HEADLINE if name in rows]


def _ends(
    rows: Iterable[Row], key: str, told: Callable[[float], str],
    of: Callable[[Sequence[float]], float] | None = None,
) -> str:  # fmt: skip
    found = [row[key] for row in rows if row.get(key) is not None]
    values = sorted(of(each) for each in found) if of else sorted(found)
    return f"{told(values[0])} to {told(values[-1])}" if values else ""


def _percent(value: float | None) -> str:
    return "" if value is None else f"{100 * value:.0f} %"


def _points(value: float | None) -> str:
    return "" if value is None else f"{value:.0f}"


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}"


def _pair(
    first: float | None, second: float | None, told: Callable[[float | None], str],
    other: Callable[[float | None], str] | None = None,
) -> str:  # fmt: skip
    if first is None or second is None:
        return ""
    return f"{told(first)} / {(other or told)(second)}"


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    return "\n".join(_lines([head, ["---"] * len(head), *rows]))


def _lines(rows: Iterable[Sequence[str]]) -> Iterator[str]:
    for row in rows:
        yield f"| {' | '.join(row)} |"
