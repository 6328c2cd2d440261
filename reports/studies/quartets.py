# %% [markdown]
# # Four players
#
# What each instrument of the string quartet does in its own range, and who crosses whom:
# {{ works }} movements by {{ composers }} composers (reference {{ reference }}).
#
# **In short.** {{ answer }}

# %%
from itertools import pairwise

import numpy as np

from common import (
    COLOURS, around, ask, by_composer, finish, label, line, note, one_year, reference_id,
    resampled, smooth, tell, wide_figure, with_notes,
)  # fmt: skip
from corpusreg import instruments

rows = ask("quartets")
PLAYERS = ("violin I", "violin II", "viola", "cello")
KIND = dict(zip(PLAYERS, ("violin", "violin", "viola", "cello"), strict=True))
# Fourth finger on the highest string in first position: common practice, no source.
FIRST_POSITION = {"violin": 83, "viola": 76, "cello": 62}  # B5, E5, D4
FIFTH = 7  # strings are a fifth apart: the lowest alone has what lies below the second
counts = {}
for each in PLAYERS:
    works, counts[each] = with_notes(rows.assign(notes=rows.notes.where(rows.role == each, 0)))
shares = {each: own / own.sum(axis=1, keepdims=True) for each, own in counts.items()}
works["year"] = one_year(works)
unit = works.unit.to_numpy()
number = np.unique(unit, return_inverse=True)[1]
table = instruments.load()


def place(player, share):
    """The pitch below which a share of a player's notes lie, or at which it is reached."""
    return (shares[player].cumsum(axis=1) >= share - 1e-9).argmax(axis=1)


def middle(values):
    """The middle movement, every composer counting the same, with its interval over composers."""
    values = np.asarray(values, float)
    drawn = resampled(
        lambda counts, _: by_composer(values, number, 0.5, counts), number.max() + 1
    )
    return by_composer(values, number), *np.quantile(drawn, (0.025, 0.975))


# %% [markdown]
# ## Each in its own range
#
# ![Hills of the notes of the four players above their ranges](pictures/quartets-ranges.png)
#
# The middle movement, every composer counting the same. Nine tenths of a player's notes lie in
# the second column; 0 is the lowest and 1 the highest note of the instrument's range
# (`corpusreg ranges`). First position ends at B5 on the violin, E5 on the viola, D4 on the
# cello.
#
# | | middle note | nine tenths | place of the middle in its range | on the lowest string only | above first position | share of all notes |
# |---|---|---|---|---|---|---|
# {%- for p in players %}
# | {{ p.name }} | {{ p.middle }} | {{ p.low }}–{{ p.high }} | {{ "%.2f"|format(p.place[0]) }} ({{ "%.2f"|format(p.place[1]) }} to {{ "%.2f"|format(p.place[2]) }}) | {{ "%.0f"|format(p.lowest[0]) }} % ({{ "%.0f"|format(p.lowest[1]) }} to {{ "%.0f"|format(p.lowest[2]) }}) | {{ "%.1f"|format(p.above[0]) }} % ({{ "%.1f"|format(p.above[1]) }} to {{ "%.1f"|format(p.above[2]) }}) | {{ "%.0f"|format(p.share[0]) }} % ({{ "%.0f"|format(p.share[1]) }} to {{ "%.0f"|format(p.share[2]) }}) |
# {%- endfor %}
#
# Two violins of one kind do two jobs: the second plays {{ "%.0f"|format(fold_low) }} times as
# large a share of its notes where only the lowest string has them, and the first goes above
# first position {{ "%.0f"|format(fold_high) }} times as often. The inner players hardly ever
# leave first position; the outer two do. Only the first violin has its middle note near the
# middle of its range. Lower players have fewer notes, as Broze and Huron
# found (2013, Music Perception 31(1):19-31).

# %%
found = []
for player in PLAYERS:
    own = table[KIND[player]]
    low, high = own.limits("professional")
    at = middle(place(player, 0.5))
    total = sum(counts[each].sum(axis=1) for each in PLAYERS)
    found.append({
        "name": player, "middle": note(at[0]),
        "low": note(middle(place(player, 0.05))[0]), "high": note(middle(place(player, 0.95))[0]),
        "place": [(each - low) / (high - low) for each in at],
        "lowest": around(100 * shares[player][:, : int(low) + FIFTH].sum(axis=1), unit),
        "above": around(100 * shares[player][:, FIRST_POSITION[KIND[player]] + 1 :].sum(axis=1), unit),
        "share": around(100 * counts[player].sum(axis=1) / total, unit),
    })  # fmt: skip
first, second, viola, cello = found

figure, axes = wide_figure(
    480, "What the four players play, above the range of each instrument"
)
names, index = np.unique(unit, return_inverse=True)
for row, player in enumerate(reversed(PLAYERS)):
    own = table[KIND[player]]
    low, high = own.limits("professional")
    means = np.zeros((len(names), 128))
    np.add.at(means, index, shares[player])
    hill = smooth((means / np.bincount(index)[:, None]).mean(axis=0))
    from_low = np.arange(int(low), 128)  # smoothing would show notes that the string has not
    axes.fill_between(
        from_low, row, row + 10 * hill[int(low) :], color=COLOURS["weight3"], lw=0
    )
    axes.plot([low, high], [row, row], color=COLOURS["line"], lw=5, solid_capstyle="butt")
    axes.plot(
        [low + FIFTH * k for k in range(4)], [row] * 4, "|", color=COLOURS["ink"], ms=9, mew=1
    )
    top = FIRST_POSITION[KIND[player]] + 0.5
    axes.plot([top, top], [row, row + 0.3], color=COLOURS["mark"], lw=1.5)
axes.set_yticks(range(4), list(reversed(PLAYERS)))
axes.set_xticks(range(36, 109, 12), [note(c) for c in range(36, 109, 12)])
axes.set_xlim(34, 108)
axes.set_ylim(-0.25, 4)
axes.grid(axis="x")
label(axes, 88, 1.62, "grey: range; ticks: open strings")
label(axes, 88, 1.4, "upright line: end of first position")
finish(figure, "quartets-ranges")

# %% [markdown]
# ## Who crosses whom
#
# Take one note of each of two players at random, from the same movement: how often is the
# lower player's the higher? And between which neighbours is the longest crossing of the
# movement, where the lower sounds wholly above the higher for a bar and a half or more?
#
# | lower above higher | a note of each at random | longest crossing of the movement |
# |---|---|---|
# {%- for p in pairs %}
# | {{ p.name }} | {{ "%.0f"|format(p.overlap[0]) }} % ({{ "%.0f"|format(p.overlap[1]) }} to {{ "%.0f"|format(p.overlap[2]) }}) | {{ "%.0f"|format(p.longest[0]) }} % ({{ "%.0f"|format(p.longest[1]) }} to {{ "%.0f"|format(p.longest[2]) }}) |
# {%- endfor %}
# | none crosses for so long | | {{ "%.0f"|format(uncrossed[0]) }} % ({{ "%.0f"|format(uncrossed[1]) }} to {{ "%.0f"|format(uncrossed[2]) }}) |
#
# The violins share more of their notes than viola and cello do, and all the same no pair has
# the longest crossing for itself: the intervals of all three overlap. Crossing is the rule, and
# in the middle one of the movements that have it the longest lasts
# {{ "%.1f"|format(lasts[0]) }} bars ({{ "%.1f"|format(lasts[1]) }} to
# {{ "%.1f"|format(lasts[2]) }}). Yet the middle note of the second violin is higher than that of
# the first in {{ swapped }} of {{ works }} movements: players cross, and go back.
#
# The longest of all: {{ examples }}.

# %%
crossed = ask("crossings").set_index("work")
role = rows.drop_duplicates(["work", "role"]).set_index(["work", "part"]).role.to_dict()
pair_of = {
    work: frozenset(role.get((work, part)) for part in players)
    for work, players in crossed.players.items()
}
pairs, leading = [], works.work.map(pair_of)
for upper, lower in pairwise(PLAYERS):
    higher = shares[upper].cumsum(axis=1) - shares[upper]
    overlap = (shares[lower] * higher).sum(axis=1)
    longest = np.array([each == {upper, lower} for each in leading], float)
    pairs.append({
        "name": f"{lower} above {upper}", "overlap": around(100 * overlap, unit),
        "longest": around(100 * longest, unit),
    })  # fmt: skip
none = around(100 * leading.isna().to_numpy(float), unit)
bars = works.work.map(crossed.bars).to_numpy(float)
has = np.isfinite(bars)
inner = np.unique(unit[has], return_inverse=True)[1]
lasting = resampled(
    lambda counts, _: by_composer(bars[has], inner, 0.5, counts), inner.max() + 1
)
lasts = by_composer(bars[has], inner), *np.quantile(lasting, (0.025, 0.975))
crossed["pair"] = crossed.index.map(pair_of)
examples = []
for upper, lower in pairwise(PLAYERS):
    one = crossed[crossed.pair == {upper, lower}].nlargest(1, "bars").iloc[0]
    examples.append(
        f"{lower} above {upper} in {one.composer_name}, {one.title}, {one.movement}, bars {one.start_bar} to {one.end_bar}"
    )
swapped = int((place("violin II", 0.5) > place("violin I", 0.5)).sum())

# %% [markdown]
# ## Over the years
#
# Slopes of lines through the movements, with a mean of its own for every composer, who stands
# at the middle of his or her years.
#
# ![Slopes in semitones in ten years of the low, middle and high notes of each player](pictures/quartets-years.png)
#
# {{ years_say }} In a hundred years the cello's notes above first position grow by
# {{ "%.0f"|format(10 * cello_up) }} points ({{ "%.0f"|format(10 * cello_up_low) }} to
# {{ "%.0f"|format(10 * cello_up_high) }}), the first violin's by
# {{ "%.0f"|format(10 * violin_up) }} ({{ "%.0f"|format(10 * violin_up_low) }} to
# {{ "%.0f"|format(10 * violin_up_high) }}).

# %%
dated = works[works.year.notna()].reset_index(drop=True)
kept = works.year.notna().to_numpy()


def trend(values):
    """The line over the years of one value of each movement."""
    return line(dated.assign(value=np.asarray(values)[kept]), "value")


ENDS = {
    "low: one note in twenty lies below": 0.05,
    "middle": 0.5,
    "high: one in twenty lies above": 0.95,
}
slopes = {(p, words): trend(place(p, share)) for p in PLAYERS for words, share in ENDS.items()}
beyond = {
    p: trend(100 * shares[p][:, FIRST_POSITION[KIND[p]] + 1 :].sum(axis=1))
    for p in ("violin I", "cello")
}

figure, axes = wide_figure(380, "How the notes of each player moved, in semitones in ten years")
for row, player in enumerate(reversed(PLAYERS)):
    for step, (words, colour) in enumerate(
        zip(ENDS, ("weight4", "weight2", "mark"), strict=True)
    ):
        one, y = slopes[player, words], row + 0.22 * (step - 1)
        axes.plot(
            [one.low, one.high], [y, y], color=COLOURS[colour], lw=3, solid_capstyle="butt"
        )
        axes.plot([one.slope], [y], color=COLOURS[colour], marker="osD"[step], ms=6)
axes.axvline(0, color=COLOURS["ink"], lw=1)
axes.set_yticks(range(4), list(reversed(PLAYERS)))
axes.set_ylim(-0.6, 3.6)
axes.set_xlim(-0.4, 0.75)
axes.grid(axis="x")
for step, (words, mark) in enumerate(zip(ENDS, ("dot", "square", "diamond"), strict=True)):
    label(axes, 0.42, 0.0 + 0.22 * step, f"{mark}: {words.split(':')[0]} notes")
finish(figure, "quartets-years")

# %% [markdown]
# ## What could not be told
#
# - Which string a note is played on. 'The lowest string only' and 'above first position' are
#   the notes that cannot be had otherwise; much more may be played there by choice.
# - How many crossings there are: the reference that ships keeps the longest of each movement.
#   That two players overlap at random is no crossing: they need not sound together.
# - {{ "%.0f"|format(of_three) }} % of the movements are by Haydn, Mozart and Beethoven, and
#   before 1800 there are {{ early }} composers. Every composer counts the same here; the line
#   over the years still stands on few of them at its beginning.
# - {{ "%.0f"|format(by_life) }} % of the movements are dated by the composer's life. A composer
#   whose quartets are all late stands too early on the line.
# - Why. Better cellists, longer fingerboards, larger halls and other tastes would all look like
#   this.

# %%
sure = {key: one for key, one in slopes.items() if one.low > 0 or one.high < 0}
tops = [slopes[p, "high: one in twenty lies above"] for p in PLAYERS]
bottoms = {p: slopes[p, "low: one note in twenty lies below"] for p in PLAYERS}
# What the text says must be borne out, or the study is not written.
assert min(one.low for one in tops) > 0, tops
assert max(bottoms[p].high for p in ("viola", "cello")) < 0, bottoms
assert all(bottoms[p].low < 0 < bottoms[p].high for p in PLAYERS[:2]), bottoms
assert first["above"][1] > viola["above"][2] and cello["above"][1] > second["above"][2], found
assert second["lowest"][1] > first["lowest"][2] and viola["place"][2] < first["place"][1], found
assert [p["share"][0] for p in found] == sorted((p["share"][0] for p in found), reverse=True), (
    found
)
assert pairs[0]["overlap"][1] > pairs[2]["overlap"][2] and none[2] < 20, (pairs, none)
intervals = [p["longest"] for p in pairs]
assert max(i[1] for i in intervals) < min(i[2] for i in intervals), intervals
three = ("haydn-joseph", "mozart-wolfgang-amadeus", "beethoven-ludwig-van")
tell(
    reference=reference_id(), works=len(works), composers=len(names),
    answer=(
        "First violin and cello use the heights of their instruments; second violin and viola "
        "stay in first position, in the lower middle of their ranges. Crossing is the rule, for "
        "some bars, and no pair of neighbours has it to itself. Over the years all four go "
        "higher, and viola and cello lower as well."
    ),
    players=found, pairs=pairs, uncrossed=none, lasts=lasts, swapped=swapped,
    fold_low=second["lowest"][0] / first["lowest"][0],
    fold_high=first["above"][0] / second["above"][0],
    examples="; ".join(examples),
    years_say=(
        "The high notes of all four rise, by "
        f"{10 * min(one.slope for one in tops):.1f} to {10 * max(one.slope for one in tops):.1f} "
        "semitones in a hundred years. The low notes of viola and cello fall "
        f"({-10 * bottoms['viola'].slope:.1f} and {-10 * bottoms['cello'].slope:.1f}); those of "
        "the violins can go hardly lower, and stay."
    ),
    cello_up=beyond["cello"].slope, cello_up_low=beyond["cello"].low, cello_up_high=beyond["cello"].high,
    violin_up=beyond["violin I"].slope, violin_up_low=beyond["violin I"].low,
    violin_up_high=beyond["violin I"].high,
    of_three=100 * np.isin(unit, three).mean(), early=dated[dated.year < 1800].unit.nunique(),
    by_life=100 * (works.year_source == "life dates").mean(),
)  # fmt: skip
