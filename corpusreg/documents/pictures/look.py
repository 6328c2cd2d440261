"""The visual language as data: colours by role, type, spacing, strokes.

Ink on paper, as in a printed score: one book face, one hue for sound (indigo, darker
where more sounds), one for what is said about it (ochre), greys for the rest. Indigo and
ochre lie on the axis from blue to yellow, which the common colour-vision deficiencies
keep; no two things are told apart by red and green, and each mark also has its shape,
its place or its hatching, so that a grey copy loses nothing: the tones of sound fall in even
steps of lightness, stays are outlines with a number, shifts triangles that point where the
sound goes. No type is below 10 pixels; spacing goes by steps of 8. Pitch goes upward and time
to the right; staff lines are solid and the Cs broken, like ledger lines.

ROLES names the roles: class -> (property, colour). A drawing carries the light colours
in attributes; `css` gives the same roles as variables, light and dark.
"""

from __future__ import annotations

__all__ = [
    "COLOURS", "DARK", "FONT", "GAP", "ROLES", "SIZES", "STROKES", "WEIGHTS", "css", "paint",
]  # fmt: skip

# The face that typst brings along and embeds; the others stand in on a screen.
FONT = "'Libertinus Serif', 'Linux Libertine', Palatino, 'Book Antiqua', Georgia, serif"

COLOURS = {
    "paper": "#fdfcf8",
    "ink": "#22202b",
    "quiet": "#5f5c69",
    "line": "#b9b6bf",
    "faint": "#e4e1e6",
    "weight1": "#d3d0e3",
    "weight2": "#a7a2c9",
    "weight3": "#7169a3",
    "weight4": "#3a3268",
    "mark": "#a35200",
    "pale": "#d9d6dc",
}
DARK = {
    "paper": "#17161c",
    "ink": "#efece4",
    "quiet": "#b0acb8",
    "line": "#5d5a66",
    "faint": "#2c2a33",
    "weight1": "#3b3759",
    "weight2": "#655f96",
    "weight3": "#9a94cb",
    "weight4": "#d9d6f2",
    "mark": "#e9a13b",
    "pale": "#403d49",
}
# From little sound to much.
WEIGHTS = ("weight1", "weight2", "weight3", "weight4")

# Roles: CSS class -> (property, name of the colour).
ROLES = {
    "paper": ("fill", "paper"),
    "ink": ("fill", "ink"),
    "quiet": ("fill", "quiet"),
    "line": ("stroke", "line"),
    "faint": ("stroke", "faint"),
    "rule": ("stroke", "ink"),
    "weight1": ("fill", "weight1"),
    "weight2": ("fill", "weight2"),
    "weight3": ("fill", "weight3"),
    "weight4": ("fill", "weight4"),
    "mark": ("fill", "mark"),
    "outline": ("stroke", "mark"),
    "pale": ("fill", "pale"),
    "onmark": ("fill", "paper"),
    "halo": ("stroke", "paper"),
}

# Type sizes in pixels: notes to the picture, its text, its headings.
SIZES = {"small": 10.0, "text": 12.0, "lead": 14.0, "title": 19.0}
GAP = 8.0  # spacing is counted in this step
STROKES = {"hair": 0.6, "thin": 1.0, "firm": 1.6, "strong": 2.6}


def paint(*roles: str, width: str | float | None = None) -> dict[str, str | float]:
    """Attributes of an element that plays some of the ROLES.

    width: of its line, a name of STROKES or pixels. What has no role is not painted.

    >>> paint("rule", width="thin")
    {'fill': 'none', 'class_': 'rule', 'stroke': '#22202b', 'stroke_width': 1.0}
    """
    found: dict[str, str | float] = {"fill": "none", "class_": " ".join(roles)}
    for role in roles:
        kind, colour = ROLES[role]
        found[kind] = COLOURS[colour]
    if width is not None:
        found["stroke_width"] = STROKES[width] if isinstance(width, str) else width
    return found


def css() -> str:
    """The roles as style rules with variables, light and dark, for pictures inside a page."""

    def variables(colours: dict[str, str]) -> str:
        return " ".join(f"--{name}: {value};" for name, value in colours.items())

    rules = [
        f":root {{ {variables(COLOURS)} }}",
        f"@media screen and (prefers-color-scheme: dark) {{ :root {{ {variables(DARK)} }} }}",
    ]
    rules += [
        f".picture .{role} {{ {kind}: var(--{name}); }}" for role, (kind, name) in ROLES.items()
    ]
    return "\n".join(rules)
