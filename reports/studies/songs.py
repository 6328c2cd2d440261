# %% [markdown]
# # Voice and piano in songs
#
# Who holds which register, where the singer's line lies, and what the piano leaves free:
# {{ songs }} songs for one voice and piano by {{ composers }} composers (reference
# {{ reference }}).
#
# **In short.** {{ answer }}

# %%
import numpy as np

from common import (
    COLOURS, around, ask, by_composer, finish, label, line, note, one_year, pitch_axis,
    reference_id, resampled, smooth, tell, wide_figure, with_notes,
)  # fmt: skip

rows = ask("songs")
songs, sung = with_notes(rows.assign(notes=rows.notes.where(rows.sung, 0)))
_, played = with_notes(rows.assign(notes=rows.notes.where(~rows.sung, 0)))
HIGHEST_MIDDLE = 76  # E5: no voice type lies higher on the whole


def place(notes, share):
    """The pitch below which a share of the notes lie, or at which it is reached."""
    below = notes.cumsum(axis=1) / notes.sum(axis=1, keepdims=True)
    return (below >= share - 1e-9).argmax(axis=1)


odd = place(sung, 0.5) > HIGHEST_MIDDLE
left_out = int(odd.sum())
songs, sung, played = songs[~odd].reset_index(drop=True), sung[~odd], played[~odd]
unit = songs.unit.to_numpy()
number = np.unique(unit, return_inverse=True)[1]
for column, share in (
    ("lowest", 1e-6),
    ("from", 0.05),
    ("middle", 0.5),
    ("to", 0.95),
    ("highest", 1),
):
    songs[column] = place(sung, share)

# %% [markdown]
# ## Where the singer's line lies
#
# The middle song, every composer counting the same, has its lowest sung note at
# {{ lowest }}, its highest at {{ highest }}: {{ "%.1f"|format(compass) }} semitones
# ({{ "%.1f"|format(compass_low) }} to {{ "%.1f"|format(compass_high) }}). Nine tenths of its
# notes lie between {{ from_ }} and {{ to }}, {{ "%.1f"|format(tessitura) }} semitones
# ({{ "%.1f"|format(tessitura_low) }} to {{ "%.1f"|format(tessitura_high) }}): an octave. The
# highest note is {{ "%.0f"|format(headroom) }} semitones above that, and
# {{ "%.1f"|format(top_share) }} % of the sung notes ({{ "%.1f"|format(top_low) }} to
# {{ "%.1f"|format(top_high) }}) lie within a semitone of it. A song lives in an octave and
# keeps the notes above it for few moments.
#
# All pitches are as written. Most of these songs name no voice type, and a tenor or baritone
# who reads the treble clef sounds an octave lower than these figures.

# %%
compass = (songs.highest - songs.lowest).to_numpy(float)
tessitura = (songs.to - songs["from"]).to_numpy(float)
headroom = (songs.highest - songs.to).to_numpy(float)
near_top = np.array([
    line_[high - 1 :].sum() / line_.sum() for line_, high in zip(sung, songs.highest, strict=True)
])  # fmt: skip


def middle(values):
    """The middle song and its interval over composers."""
    values = np.asarray(values, float)
    drawn = resampled(
        lambda counts, _: by_composer(values, number, 0.5, counts), number.max() + 1
    )
    return by_composer(values, number), *np.quantile(drawn, (0.025, 0.975))


compass_, tessitura_ = middle(compass), middle(tessitura)
top = around(100 * near_top, unit)

# %% [markdown]
# ## Who holds which register
#
# ![Shares of the notes of voice and of piano by pitch, and of piano works](pictures/songs-registers.png)
#
# Of the piano's notes in a song, {{ "%.0f"|format(below) }} %
# ({{ "%.0f"|format(below_low) }} to {{ "%.0f"|format(below_high) }}) lie below the singer's
# lowest note, {{ "%.0f"|format(within) }} % ({{ "%.0f"|format(within_low) }} to
# {{ "%.0f"|format(within_high) }}) between the singer's lowest and highest note, and
# {{ "%.0f"|format(beyond) }} % ({{ "%.0f"|format(beyond_low) }} to
# {{ "%.0f"|format(beyond_high) }}) above. So the bass is the piano's own, and the singer's
# octave is shared: even at {{ densest }}, where the voice has its largest part, it has
# {{ "%.0f"|format(densest_share) }} in 100 of all notes struck or sung.
#
# While both sound, the voice lies above the highest note of the piano on the whole in
# {{ "%.0f"|format(over) }} % of the songs ({{ "%.0f"|format(over_low) }} to
# {{ "%.0f"|format(over_high) }}), {{ "%.1f"|format(gap) }} semitones on average
# ({{ "%.1f"|format(gap_low) }} to {{ "%.1f"|format(gap_high) }}): near zero, as it is where
# the right hand plays the tune along, or weaves round it.

# %%
share_played = played / played.sum(axis=1, keepdims=True)
below = np.array([p[:low].sum() for p, low in zip(share_played, songs.lowest, strict=True)])
beyond = np.array(
    [p[high + 1 :].sum() for p, high in zip(share_played, songs.highest, strict=True)]
)
registers = [around(100 * each, unit) for each in (below, 1 - below - beyond, beyond)]
gap = around(songs.above, unit)
over = around(100 * (songs.above > 0), unit)


def by_each(notes, of):
    """Mean over works, then over composers, of shares by pitch."""
    names, index = np.unique(of, return_inverse=True)
    means = np.zeros((len(names), 128))
    np.add.at(means, index, notes)
    return names, means / np.bincount(index)[:, None]


total = (sung + played).sum(axis=1, keepdims=True)
both = [smooth(by_each(each / total, unit)[1].mean(axis=0)) for each in (sung, played)]
of_voice = both[0] / np.maximum(both[0] + both[1], 1e-9)

# %% [markdown]
# ## What the piano leaves free
#
# {{ paired }} composers have songs and works for piano alone here. Beside their own piano
# works, the piano of their songs has fewer notes from C5 up, {{ "%.0f"|format(high_songs) }} %
# in place of {{ "%.0f"|format(high_alone) }} %, a difference of {{ "%.0f"|format(high_less) }}
# points ({{ "%.0f"|format(high_less_low) }} to {{ "%.0f"|format(high_less_high) }}); in the
# octave from C4, where the voice has most of its notes, it has not fewer but more, by
# {{ "%.0f"|format(middle_more) }} points ({{ "%.0f"|format(middle_more_low) }} to
# {{ "%.0f"|format(middle_more_high) }}). What the piano leaves free is not the middle of the
# singer's line: it is the treble from C5 up, the singer's highest notes and all above them,
# where more than a quarter of its notes lie when it is alone.
#
# ![Difference between the piano of songs and piano works by the same composers, by octave](pictures/songs-free.png)
#
# And it goes along with the voice, a little: where a composer's song lies an octave higher than
# another of the same composer, the middle of its piano part lies
# {{ "%.0f"|format(along) }} semitones higher
# ({{ "%.0f"|format(along_low) }} to {{ "%.0f"|format(along_high) }}).

# %%
pieces, struck = with_notes(ask("alone"))
here, in_songs = by_each(share_played, unit)
there, alone = by_each(struck / struck.sum(axis=1, keepdims=True), pieces.unit.to_numpy())
paired = sorted(set(here) & set(there))
in_songs, alone = in_songs[np.isin(here, paired)], alone[np.isin(there, paired)]


def more(first, last):
    """By how many points more of the piano's notes lie in a stretch in songs than alone."""
    return around(100 * (in_songs - alone)[:, first:last].sum(axis=1), paired)


octaves = range(24, 108, 12)
differences = np.array([more(c, c + 12) for c in octaves])
high, central = more(72, 128), more(60, 72)
songs["year"] = one_year(songs)
songs["beside"] = songs.middle - songs.groupby("unit").middle.transform("mean")
songs["piano"] = place(played, 0.5)
apart = songs.piano - songs.groupby("unit").piano.transform("mean")
along = 12 * (songs.beside @ apart) / (songs.beside @ songs.beside)


def slope_of(counts, _):
    weight = counts[number]
    return 12 * (weight * songs.beside) @ apart / ((weight * songs.beside) @ songs.beside)


along_ends = np.quantile(resampled(slope_of, number.max() + 1), (0.025, 0.975))

figure, axes = wide_figure(440, "Notes by pitch in songs, and in piano works")
pitches = np.arange(128)
axes.fill_betweenx(pitches, 0, 100 * both[1], color=COLOURS["weight2"], lw=0)
axes.fill_betweenx(pitches, 0, 100 * both[0], color=COLOURS["mark"], lw=0, alpha=0.75)
scale = both[1].sum()
axes.plot(
    100 * scale * smooth(alone.mean(axis=0)), pitches, color=COLOURS["weight4"], lw=1.5, ls="--"
)
pitch_axis(axes, 24, 100)
axes.set_xlim(0, 4)
axes.set_xlabel("notes at this pitch in 100 notes of the song")
label(axes, 2.3, 51, "pale: the piano of songs")
label(axes, 2.3, 46.5, "dark: the voice")
label(axes, 2.3, 42, "broken: piano works, to the scale of the piano")
finish(figure, "songs-registers")

figure, axes = wide_figure(320, "What changes in the piano when a voice is there, by octave")
for place_, (c, found) in enumerate(zip(octaves, differences, strict=True)):
    each = 100 * (in_songs - alone)[:, c : c + 12].sum(axis=1)
    axes.scatter(
        each,
        np.full(len(each), place_),
        s=30,
        facecolors="none",
        edgecolors=COLOURS["weight2"],
        lw=1,
    )
    axes.plot(found[1:], [place_] * 2, color=COLOURS["mark"], lw=4, solid_capstyle="butt")
    axes.plot(found[:1], [place_], color=COLOURS["mark"], marker="D", ms=7)
axes.axvline(0, color=COLOURS["ink"], lw=1)
axes.set_yticks(range(len(octaves)), [f"{note(c)} to {note(c + 11)}" for c in octaves])
axes.set_xlabel(
    "points more (right) or fewer (left) of the piano's notes; a ring for every composer"
)
axes.grid(axis="x")
finish(figure, "songs-free")

# %% [markdown]
# ## Over the years
#
# A line through the songs, with a mean of its own for every composer, who stands at the
# middle of his or her years: the piano part opens by {{ "%.1f"|format(opens) }} semitones in
# ten years ({{ "%.1f"|format(opens_low) }} to {{ "%.1f"|format(opens_high) }}); the sung
# compass by {{ "%.2f"|format(compass_slope) }} ({{ "%.2f"|format(compass_slope_low) }} to
# {{ "%.2f"|format(compass_slope_high) }}); and the middle of the singer's line
# {{ middle_says }} ({{ "%.2f"|format(middle_slope_low) }} to
# {{ "%.2f"|format(middle_slope_high) }} semitones in ten years). The share of the piano's
# notes above the singer's highest changes by {{ "%.1f"|format(beyond_slope) }} points
# ({{ "%.2f"|format(beyond_slope_low) }} to {{ "%.2f"|format(beyond_slope_high) }}) in ten
# years{{ ", which may be no change at all" if beyond_slope_low <= 0 else "" }}. Voices stayed
# where they were, and the piano opened round them.
#
# ![Compass of piano and voice in songs by composer over the years](pictures/songs-years.png)

# %%
dated = songs[songs.year.notna()].reset_index(drop=True)
kept = songs.year.notna().to_numpy()
dated["compass"] = dated.highest - dated.lowest
dated["beyond"] = 100 * beyond[kept]
dated["opening"] = place(played, 1)[kept] - place(played, 1e-6)[kept]
opens, widens = line(dated, "opening"), line(dated, "compass")
height, grows = line(dated, "middle"), line(dated, "beyond")

dots = dated.groupby("unit").agg(
    year=("year", "mean"),
    opening=("opening", "mean"),
    compass=("compass", "mean"),
    n=("year", "size"),
)
figure, axes = wide_figure(
    400, "From the lowest to the highest note, a ring for every composer"
)
across = np.array([1770, 1930])
for column, colour, found in (("opening", "weight4", opens), ("compass", "mark", widens)):
    axes.scatter(
        dots.year,
        dots[column],
        s=12 * np.sqrt(dots.n),
        facecolors="none",
        edgecolors=COLOURS[colour],
        lw=1,
    )
    axes.plot(
        across, found.at_1840 + found.slope * (across - 1840) / 10, color=COLOURS[colour], lw=2
    )
axes.set_xlim(1765, 1935)
axes.set_ylim(0, 88)
axes.set_ylabel("semitones")
axes.grid(axis="y")
label(axes, 1768, 79, "above: the piano of songs")
label(axes, 1768, 26, "below: the voice")
finish(figure, "songs-years")

# %% [markdown]
# ## What could not be told
#
# - Which octave a man sings in: {{ "%.0f"|format(unnamed) }} % of the sung parts name no
#   voice type. {{ left_out }} songs whose line lies an octave above any voice, by the reading
#   or the edition, are left out.
# - Transpositions. Songs are printed for high, middle and low voice; the edition that was
#   encoded need not be the key that the composer wrote in.
# - How long notes last: these are notes struck and sung, so a figure in semiquavers counts
#   for more than a held chord. Whether a note of the piano is the singer's own is not stored
#   either: 'playing the tune along' is read from the distance between them.
# - {{ "%.0f"|format(few) }} % of the composers stand here with five songs or fewer, and there
#   are {{ early }} composers before 1800.
# - A reason. That a piano leaves the treble free so that words are heard is a good
#   guess, and nothing here tests it.

# %%
densest = int(np.argmax(of_voice))
unnamed = ask("voices")
# What the text says must be borne out, or the study is not written.
assert high[2] < 0 < central[1] and alone[:, 72:].sum(axis=1).mean() > 0.25
assert opens.low > widens.high > widens.low > 0, (opens, widens)
assert abs(height.slope) < 0.1 and tessitura_[1] >= 10 and tessitura_[2] <= 14, (
    height,
    tessitura_,
)
assert along_ends[0] > 0 and along_ends[1] < 12 and abs(gap[0]) < 3, (along_ends, gap)
tell(
    reference=reference_id(), songs=len(songs), composers=number.max() + 1, left_out=left_out,
    answer=(
        "The bass is the piano's and the singer's octave is shared. What the piano leaves free is "
        "the treble, the singer's highest notes and what is above them: from C5 up it has "
        f"{-high[0]:.0f} points fewer of its notes than in piano works by the same composers. "
        "Over the years the piano part opens while the middle of the singer's line stays where "
        "it was."
    ),
    lowest=note(middle(songs.lowest)[0]), highest=note(middle(songs.highest)[0]),
    from_=note(middle(songs["from"])[0]), to=note(middle(songs.to)[0]),
    compass=compass_[0], compass_low=compass_[1], compass_high=compass_[2],
    tessitura=tessitura_[0], tessitura_low=tessitura_[1], tessitura_high=tessitura_[2],
    headroom=middle(headroom)[0],
    top_share=top[0], top_low=top[1], top_high=top[2],
    below=registers[0][0], below_low=registers[0][1], below_high=registers[0][2],
    within=registers[1][0], within_low=registers[1][1], within_high=registers[1][2],
    beyond=registers[2][0], beyond_low=registers[2][1], beyond_high=registers[2][2],
    densest=note(densest), densest_share=100 * of_voice[densest],
    over=over[0], over_low=over[1], over_high=over[2], gap=gap[0], gap_low=gap[1], gap_high=gap[2],
    paired=len(paired), high_songs=100 * in_songs[:, 72:].sum(axis=1).mean(),
    high_alone=100 * alone[:, 72:].sum(axis=1).mean(),
    high_less=-high[0], high_less_low=-high[2], high_less_high=-high[1],
    middle_more=central[0], middle_more_low=central[1], middle_more_high=central[2],
    along=along, along_low=along_ends[0], along_high=along_ends[1],
    opens=opens.slope, opens_low=opens.low, opens_high=opens.high,
    compass_slope=widens.slope, compass_slope_low=widens.low, compass_slope_high=widens.high,
    middle_says="hardly moves" if height.low < 0 < height.high else "moves very little",
    middle_slope_low=height.low, middle_slope_high=height.high,
    beyond_slope=grows.slope, beyond_slope_low=grows.low, beyond_slope_high=grows.high,
    unnamed=unnamed["share"][0], few=100 * (songs.groupby("unit").size() <= 5).mean(), early=dated[dated.year < 1800].unit.nunique(),
)  # fmt: skip
