# %% [markdown]
# # How piano music opened up
#
# Between the 1790s and 1920 the keyboard grew from five octaves to more than seven. Did the
# music grow with it, when, and at which end? {{ works }} works for piano by {{ composers }}
# composers have a date that reaches into the years from 1760 on (reference {{ reference }}).
#
# **In short.** {{ answer }}

# %%
import numpy as np
import pandas as pd

from common import (
    COLOURS, NARROW, ask, by_composer, finish, label, line, note, one_year, pitch_axis, reference_id,
    resampled, tell, wide_figure, years,
)  # fmt: skip
from corpusreg.instruments import limits

works = ask("piano")
for column in ("lowest", "highest", "year_from", "year_to", "bars", "span"):
    works[column] = works[column].astype(float)
middle = years(works, np.random.default_rng(0))
works = works[(works.year_to >= 1760) & (middle < 1950)].reset_index(drop=True)

# %% [markdown]
# ## The notes and the keyboards
#
# Each work has a lowest and a highest note. The lines are the middle work of every twenty
# years, every composer counting the same; the bands are 95 % intervals over composers and over
# years, since a work that is dated by its composer's life may be of any year of it
# ({{ dated_by_life }} % of these works). The steps are dated instruments, each with its source
# in `corpusreg/data/keyboard_compass.csv`, those of 1782 and 1808 from memory: the widest made
# so far.
#
# ![Lowest and highest notes of piano works by year, inside the keyboards of their time](pictures/piano-compass.png)
#
# Around {{ first }} the middle work lies between {{ first_low }} and {{ first_high }}; around
# {{ last }}, between {{ last_low }} and {{ last_high }}. Both ends moved outward, by
# {{ "%.0f"|format(down) }} semitones below and {{ "%.0f"|format(up) }} above. The keyboards
# grew by {{ keys_down }} below and {{ keys_up }} above meanwhile. One work in ten goes as high
# as {{ first_top }} in the first of these stretches and as {{ last_top }} in the last.

# %%
STEP = 20
edges = np.arange(1790, 1921, STEP)


unit = pd.factorize(works.unit)[0]
columns = works.lowest.to_numpy(), works.highest.to_numpy()


def ends(drawn, draw):
    """Quantiles of the lowest and the highest note round every edge."""
    at = years(works, draw)
    found = []
    for edge in edges:
        near = (at >= edge - STEP / 2) & (at < edge + STEP / 2)
        found.append([
            by_composer(columns[which][near], unit[near], share, drawn)
            for which, share in ((0, 0.5), (1, 0.5), (0, 0.1), (1, 0.9))
        ])  # fmt: skip
    return found


drawn = resampled(ends, unit.max() + 1)
half = np.nanmedian(drawn, axis=0)
low, high = np.nanquantile(drawn, (0.025, 0.975), axis=0)
keyboards = list(map(limits.compass_of_year, range(1766, 1921)))
made = pd.DataFrame({"year": range(1766, 1921), "low": [k.low for k in keyboards],
                     "high": [k.high for k in keyboards]})  # fmt: skip
made["low"], made["high"] = made.low.cummin(), made.high.cummax()

figure, axes = wide_figure(420, "Piano works inside the keyboards of their time")
axes.fill_between(made.year, made.low, made.high, color=COLOURS["faint"], lw=0, step="post")
axes.step(made.year, made.low, color=COLOURS["line"], where="post", lw=1)
axes.step(made.year, made.high, color=COLOURS["line"], where="post", lw=1)
for column in (0, 1):
    axes.fill_between(edges, low[:, column], high[:, column], color=COLOURS["weight2"], lw=0,
                      alpha=0.5)  # fmt: skip
    axes.plot(edges, half[:, column], color=COLOURS["weight4"], lw=2, marker="o", ms=4)
    axes.plot(edges, half[:, column + 2], color=COLOURS["weight4"], lw=1, ls=":")
pitch_axis(axes, 20, 110)
axes.set_xlim(1766, 1920)
label(axes, 1768, 102.3, "dotted: one work in ten goes further")
label(axes, 1768, 25, "grey: the widest keyboard so far")
finish(figure, "piano-compass")

# %% [markdown]
# ## Is it the composers, or who happens to be here?
#
# A straight line through all works, with a mean of its own for every composer, who stands at
# the middle of his or her years, rises by {{ "%.1f"|format(slope) }} semitones of span in ten
# years ({{ "%.1f"|format(slope_low) }} to {{ "%.1f"|format(slope_high) }}). Of that,
# {{ "%.1f"|format(slope_up) }} ({{ "%.1f"|format(up_low) }} to {{ "%.1f"|format(up_high) }})
# are at the top and {{ "%.1f"|format(slope_down) }} ({{ "%.1f"|format(down_low) }} to
# {{ "%.1f"|format(down_high) }}) at the bottom. Composers differ among themselves by
# {{ "%.0f"|format(spread) }} semitones (one standard deviation) whatever the year: a period
# says less of a single work than its composer does.
#
# The same line on the {{ published }} works whose year is known within ten years, by
# {{ published_composers }} composers, rises by {{ "%.1f"|format(check) }}
# ({{ "%.1f"|format(check_low) }} to {{ "%.1f"|format(check_high) }}): {{ check_says }}.
# Of longer works more is asked; with the length of each work in the line as well it rises by
# {{ "%.1f"|format(with_length) }} ({{ "%.1f"|format(with_length_low) }} to
# {{ "%.1f"|format(with_length_high) }}).
#
# ![Span of piano works by composer over the years, with the line through them](pictures/piano-span.png)

# %%
works["year"] = one_year(works)
slope = line(works, "span")
top, bottom = line(works, "highest"), line(works, "lowest")
longer = line(works, "span", np.log(works.bars / 60))
known = works[
    works.year_source.isin(["published", "stated", "catalogue"])
    & (works.year_to - works.year_from <= NARROW)
]
check = line(known, "span")
# The three verdicts of a check: see reports/guide/trust.md.
if check.low > 0 and check.low <= slope.slope <= check.high:
    says = "it supports the first"
elif check.high < slope.low or check.low > slope.high:
    says = "it contradicts the first"
else:
    says = "too few to tell"

dots = works.groupby("unit").agg(
    year=("year", "mean"), span=("span", "mean"), n=("span", "size")
)
figure, axes = wide_figure(380, "Span of piano works, a ring for every composer")
axes.scatter(dots.year, dots.span, s=12 * np.sqrt(dots.n), facecolors="none",
             edgecolors=COLOURS["weight4"], lw=1)  # fmt: skip
across = np.array([1765, 1920])
axes.plot(
    across, slope.at_1840 + slope.slope * (across - 1840) / 10, color=COLOURS["mark"], lw=2
)
axes.set_xlim(1760, 1925)
axes.set_ylabel("semitones from the lowest to the highest note")
axes.grid(axis="y")
finish(figure, "piano-span")

# %% [markdown]
# ## How close to the edge they write
#
# Of the {{ published }} works whose year is known, {{ "%.0f"|format(share_top) }} % have a note
# among the five highest keys of the widest keyboard of their year, {{ "%.0f"|format(share_bottom) }} %
# one among the five lowest, and {{ beyond }} beyond it: {{ beyond_words }}

# %%
at = (
    known.year_to.round()
    .astype(int)
    .clip(1766, 1920)
    .map(made.set_index("year").to_dict("index"))
)
known = known.assign(key_low=[k["low"] for k in at], key_high=[k["high"] for k in at])
weight = 1 / known.groupby("unit").work.transform("size")
near_top = np.average(known.highest >= known.key_high - 4, weights=weight)
near_bottom = np.average(known.lowest <= known.key_low + 4, weights=weight)
outside = known[(known.highest > known.key_high) | (known.lowest < known.key_low)]

# %% [markdown]
# ## What could not be told
#
# - {{ polish }} % of these works come from the libraries of one country, Poland. The lines tell of
#   what is in them, and of other music only as far as it is alike.
# - A year of printing is not the year of composition, and a life is a wide guess; both are in
#   the bands, the choice of what was printed and kept is not.
# - The table of keyboards is short, and of instruments that survive. Many players had smaller
#   ones than the widest.
# - Round {{ first }} there are {{ early }} composers, and dances
#   and teaching pieces stand beside sonatas: a change of what was written for the piano looks
#   like a change of how.
# - The highest and lowest note hang on single bars. `core_span` asks the same of nine tenths
#   of the sound: `corpusreg periods core_span --ensemble piano`.

# %%
first, last = 0, len(edges) - 1
# What the text says must be borne out, or the study is not written.
assert slope.low > 0, slope
assert top.low > 0 and bottom.high < 0, (top, bottom)
assert high[last, 0] < low[first, 0] and low[last, 1] > high[first, 1]
assert (half[:, 3] <= made.set_index("year").high.loc[edges + STEP // 2 - 1]).all()
tell(
    reference=reference_id(), works=len(works),
    composers=works.unit.nunique(),
    dated_by_life=round(100 * (works.year_source == "life dates").mean()),
    answer=(
        f"Piano works opened out by about {slope.slope:.1f} semitones in ten years, and "
        f"the middle notes of {edges[last]} lie {half[last, 1] - half[last, 0]:.0f} semitones "
        f"apart where those of {edges[first]} lie {half[first, 1] - half[first, 0]:.0f} apart. "
        "They stay inside the widest keyboards, which grew first."
    ),
    first=int(edges[first]), last=int(edges[last]),
    first_low=note(half[first, 0]), first_high=note(half[first, 1]),
    last_low=note(half[last, 0]), last_high=note(half[last, 1]),
    first_top=note(half[first, 3]), last_top=note(half[last, 3]),
    down=half[first, 0] - half[last, 0], up=half[last, 1] - half[first, 1],
    keys_down=int(made.low.iloc[0] - made.low.iloc[-1]),
    keys_up=int(made.high.iloc[-1] - made.high.iloc[0]),
    slope=slope.slope, slope_low=slope.low, slope_high=slope.high, spread=slope.spread,
    slope_up=top.slope, up_low=top.low, up_high=top.high,
    slope_down=-bottom.slope, down_low=-bottom.high, down_high=-bottom.low,
    published=len(known), published_composers=known.unit.nunique(),
    check=check.slope, check_low=check.low, check_high=check.high, check_says=says,
    with_length=longer.slope, with_length_low=longer.low, with_length_high=longer.high,
    share_top=100 * near_top, share_bottom=100 * near_bottom, beyond=f"{len(outside)} go" if len(outside) else "none goes",
    beyond_words="; ".join(
        f"{w.composer_name}, {w.title} ({w.year_to:.0f}, {note(w.lowest)} to {note(w.highest)})"
        for w in outside.sort_values("year_to").itertuples()
    ) + ". There the date, the reading or the table of keyboards is to be looked at."
    if len(outside) else "each has its notes on some keyboard of its time.",
    polish=round(100 * works.collection.fillna("").str.startswith("heritage/pl-").mean()),
    early=works[(works.year >= edges[first] - STEP / 2) & (works.year < edges[first] + STEP / 2)].unit.nunique(),
)  # fmt: skip
