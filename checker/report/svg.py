"""Figures: a few shapes and one scale, every text escaped.

Looks stand in presentation attributes, so that a figure is right by itself and in print; the
stylesheet overrides them for dark screens by class.
"""

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from checker.model.arrays import BoolArray, FloatArray, IntArray
from checker.report.escape import escape
from checker.text import fixed

__all__ = ("BoolArray", "FloatArray", "IntArray", "escape")
INK = "#1d2733"
DIM = "#55606e"
RULE = "#c9d0d8"
BAND = "#eef4fa"
PAPER = "#ffffff"
DRAWN = "#7b8794"
COLOURS = {
    "outside": "#8c1400",
    "undecided": "#1d2733",
    "unchecked": "#626d78",
    "close": "#946000",
    "within": "#0b5cad",
}
"""By verdict, worst first, `close` apart from the rest of within. The stylesheet has them too."""
DARK = {
    "outside": "#f4694f",
    "undecided": "#ffffff",
    "unchecked": "#8d9aa8",
    "close": "#ffdc8a",
    "within": "#5b9dff",
}
"""The same on a dark screen, whose ground is `DARK_PAPER`."""
DARK_PAPER = "#12181f"
KINDS = tuple(COLOURS)
FONT = "system-ui,-apple-system,Segoe UI,Roboto,Helvetica,Arial,sans-serif"

TEXT_SIZE = 11
_HALO = re.compile(r'<text ([^>]*) class="t(?: dim)? halo"([^>]*)>([^<]*)</text>')

_STROKES = {
    "ink": f'class="ink-s" stroke="{INK}"',
    "rule": f'class="gl" stroke="{RULE}"',
    "drawn": f'class="des" stroke="{DRAWN}"',
    "within": f'class="v-within" stroke="{COLOURS["within"]}"',
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A figure of a page. title: the finding in words; caption: how to read it; both plain text.

    verdicts: its marks are those of the verdicts, and the page tells what they mean.
    """

    id: str
    title: str
    caption: str
    svg: Markup
    wide: bool = False
    zoomable: bool = False
    verdicts: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """A linear scale: value `low` stands at pixel `start`, `high` at `end`."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """Return the pixel of a value."""
        return self.start + (value - self.low) * self.per_unit

    def array(self, values: FloatArray) -> FloatArray:
        """Return the pixels of values; shape as given."""
        return self.start + (values - self.low) * self.per_unit

    @property
    def per_unit(self) -> float:
        """Pixels for one unit, negative where the axis runs the other way."""
        span = self.high - self.low
        return (self.end - self.start) / span if span else 0.0

    def ticks(self, about: int = 5) -> tuple[list[float], int]:
        """Return round values inside the scale and the decimals that they need."""
        low, high = sorted((self.low, self.high))
        if not high > low:
            return [low], 3
        step = round_step((high - low) / max(about, 1))
        first = math.ceil(low / step - 1e-9)
        last = math.floor(high / step + 1e-9)
        decimals = max(0, -math.floor(math.log10(step) + 1e-9))
        return [index * step for index in range(first, last + 1)], decimals


def round_step(length: float) -> float:
    """Return the largest of 1, 2 or 5 times a power of ten that is not above `length`."""
    power = 10.0 ** math.floor(math.log10(length))
    for factor in (5.0, 2.0):
        if factor * power <= length * (1 + 1e-9):
            return factor * power
    return power


def num(value: float) -> str:
    """Return a pixel to a tenth, without trailing zero or minus zero."""
    text = f"{value:.1f}"
    text = text.removesuffix(".0")
    return "0" if text == "-0" else text


def nums(values: FloatArray) -> list[str]:
    """Return `num` of every value; shape (n,)."""
    if not len(values):
        return []
    tenths = np.rint(values * 10.0) / 10.0 + 0.0
    texts = (("%.1f\n" * len(tenths)) % tuple(tenths.tolist())).split("\n")
    texts.pop()
    return [text.removesuffix(".0") for text in texts]


def line(
    x1: float,
    y1: float,
    x2: float,
    y2: float,
    look: str = "ink",
    *,
    width: float = 1,
    more: str = "",
) -> str:
    """Return a straight line. look: ink, rule or drawn; more: further attributes of ours."""
    return path(f"M{num(x1)} {num(y1)}L{num(x2)} {num(y2)}", look, width=width, more=more)


def path(data: str, look: str = "ink", *, width: float = 1, more: str = "") -> str:
    """Return an unfilled path."""
    extra = f" {more}" if more else ""
    return f'<path d="{data}" fill="none" {_STROKES[look]} stroke-width="{width:g}"{extra}/>'


def rect(x: float, y: float, width: float, height: float, look: str) -> str:
    """Return a filled rectangle. look: a class with its attributes, see `FILLS`."""
    return (
        f'<rect x="{num(x)}" y="{num(y)}" width="{num(max(width, 0))}" '
        f'height="{num(max(height, 0))}" {FILLS[look]}/>'
    )


FILLS = {
    "band": f'class="band" fill="{BAND}"',
    "paper": f'class="paper" fill="{PAPER}"',
    "frame": f'class="frame" fill="none" stroke="{DRAWN}"',
    "ink": f'class="ink" fill="{INK}"',
    "limit": f'class="band tol" fill="{BAND}" stroke="{INK}" stroke-width="1.4"',
    "run": (
        f'class="hollow v-within" fill="{PAPER}" stroke="{COLOURS["within"]}" stroke-width="1.6"'
    ),
    "sight": f'class="sight" fill="{DRAWN}"',
    "ring": f'class="gl" fill="none" stroke="{RULE}"',
    "foot": f'class="paper" fill="{PAPER}" fill-opacity=".88"',
}


def disc(x: float, y: float, radius: float, look: str) -> str:
    """Return a circle; looks as for `rect`."""
    return f'<circle cx="{num(x)}" cy="{num(y)}" r="{radius:g}" {FILLS[look]}/>'


def text(
    x: float,
    y: float,
    content: str,
    *,
    anchor: str = "start",
    size: float = 11,
    dim: bool = False,
    bold: bool = False,
    halo: bool = False,
) -> str:
    """Return a line of text, escaped. halo: a paper-coloured rim keeps it legible over linework.

    The rim is the stylesheet's; `rimmed` draws it for readers that know no ``paint-order``.
    """
    place = f'x="{num(x)}" y="{num(y)}"'
    if anchor != "start":
        place += f' text-anchor="{anchor}"'
    if size != TEXT_SIZE:
        place += f' font-size="{size:g}"'
    if bold:
        place += ' font-weight="600"'
    look = "t dim" if dim else "t"
    colour = f' fill="{DIM}"' if dim else ""
    return f'<text {place} class="{look}{" halo" if halo else ""}"{colour}>{escape(content)}</text>'


def rimmed(drawing: str) -> str:
    """Return a drawing in which a paper-coloured copy below every such text makes its rim."""
    return _HALO.sub(
        lambda found: (
            f'<text {found.group(1)} fill="{PAPER}" stroke="{PAPER}" stroke-width="3.4" '
            f'stroke-linejoin="round">{found.group(3)}</text>{found.group(0)}'
        ),
        drawing,
    )


def mark(kind: str, radius: float = 5) -> str:
    """Return the mark of a verdict about the origin; told apart by shape alone."""
    colour, r = COLOURS[kind], radius
    if kind == "outside":
        a = r * 0.52
        body = (
            f'<rect x="{-r:g}" y="{-r:g}" width="{2 * r:g}" height="{2 * r:g}" fill="{colour}"/>'
            f'<path d="M{-a:.2f} {-a:.2f}L{a:.2f} {a:.2f}M{-a:.2f} {a:.2f}L{a:.2f} {-a:.2f}" '
            f'class="cross" stroke="{PAPER}" stroke-width="{r * 0.38:.2f}"/>'
        )
    elif kind == "undecided":
        a, w = r * 1.2, r * 0.34
        body = (
            f'<path d="M0 {-a:.2f}L{a:.2f} {a * 0.82:.2f}H{-a:.2f}Z" class="hollow" fill="{PAPER}" '
            f'stroke="{colour}" stroke-width="{w:.2f}" stroke-linejoin="round"/>'
            f'<path d="M0 {-a * 0.3:.2f}V{a * 0.45:.2f}" stroke="{colour}" '
            f'stroke-width="{w:.2f}"/>'
        )
    elif kind == "close":
        a = r * 1.2
        body = (
            f'<path d="M0 {-a:.2f}L{a:.2f} 0L0 {a:.2f}L{-a:.2f} 0Z" class="hollow" '
            f'fill="{PAPER}" stroke="{colour}" stroke-width="{r * 0.3:.2f}"/>'
            f'<path d="M0 {-a:.2f}V{a:.2f}L{-a:.2f} 0Z" class="half" fill="{colour}"/>'
        )
    elif kind == "unchecked":
        body = (
            f'<circle r="{r * 0.88:.2f}" class="hollow" fill="{PAPER}" stroke="{colour}" '
            f'stroke-width="{r * 0.3:.2f}" stroke-dasharray="{r * 0.52:.2f} {r * 0.4:.2f}"/>'
        )
    else:
        body = f'<circle r="{r * 0.86:.2f}" fill="{colour}"/>'
    return f'<g class="m-{kind}">{body}</g>'


def mark_rules() -> str:
    """Return style rules that put its mark before every word of a verdict.

    As pictures of the stylesheet the marks cost a table of thousands of rows no elements.
    """
    light = "".join(_mark_rule(kind, mark(kind, 5)) for kind in KINDS)
    dark = "".join(_mark_rule(kind, _in_dark(kind)) for kind in KINDS)
    return f"{light}@media screen and (prefers-color-scheme:dark){{{dark}}}"


def _mark_rule(kind: str, drawing: str) -> str:
    drawing = re.sub(r' class="[^"]*"', "", drawing).replace('"', "'")
    drawing = drawing.replace("#", "%23").replace("<", "%3C").replace(">", "%3E")
    head = "%3Csvg xmlns='http://www.w3.org/2000/svg' viewBox='-7 -7 14 14'%3E"
    address = f"data:image/svg+xml,{head}{drawing}%3C/svg%3E"
    return f'.c-{kind}::before{{background-image:url("{address}")}}'


def _in_dark(kind: str) -> str:
    return mark(kind, 5).replace(PAPER, DARK_PAPER).replace(COLOURS[kind], DARK[kind])


def at(x: float, y: float, body: str, title: str = "") -> str:
    """Return a group moved to a place, with a title for the pointer."""
    name = f"<title>{escape(title)}</title>" if title else ""
    return f'<g transform="translate({num(x)} {num(y)})">{name}{body}</g>'


def dots(x: FloatArray, y: FloatArray, radius: float, kind: str = "within") -> str:
    """Return many round marks of one verdict as one path; shape (n,) each."""
    if not len(x):
        return ""
    steps = "".join(f"M{a} {b}h0" for a, b in zip(nums(x), nums(y), strict=True))
    return (
        f'<path d="{steps}" class="v-{kind}" fill="none" stroke="{COLOURS[kind]}" '
        f'stroke-width="{2 * radius:g}" stroke-linecap="round"/>'
    )


def hatch(figure_id: str) -> str:
    """Return the pattern of fill for one figure, to stand in its defs."""
    return (
        f'<pattern id="{figure_id}-hatch" width="5" height="5" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)"><path d="M0 0V5" class="ink-s" stroke="{INK}" '
        'stroke-width="1.8"/></pattern>'
    )


def bar(x: float, y: float, width: float, height: float, *, cut: bool, of: str) -> str:
    """Return a bar of cut (solid) or fill (hatched by the figure's pattern)."""
    look = (
        f'class="cut" fill="{DIM}" stroke="{INK}" stroke-width=".8"'
        if cut
        else f'class="fill" fill="url(#{of}-hatch)" stroke="{INK}" stroke-width=".8"'
    )
    return f'<rect x="{num(x)}" y="{num(y)}" width="{num(width)}" height="{num(height)}" {look}/>'


def draw(
    figure_id: str,
    width: float,
    height: float,
    parts: Iterable[str],
    *,
    name: str,
    description: str,
    classes: Sequence[str] = (),
    role: str = "img",
) -> Markup:
    """Return a whole drawing with its name and description for those who cannot see it.

    role: img, or group where it holds links.
    """
    look = f' class="{" ".join(classes)}"' if classes else ""
    return Markup(  # noqa: S704  (every text below is escaped)
        f'<svg id="{figure_id}"{look} viewBox="0 0 {width:g} {height:g}" role="{role}" '
        f'aria-labelledby="{figure_id}-t {figure_id}-d" font-family="{FONT}" '
        f'font-size="{TEXT_SIZE}" fill="{INK}">'
        f'<title id="{figure_id}-t">{escape(name)}</title>'
        f'<desc id="{figure_id}-d">{escape(description)}</desc>{"".join(parts)}</svg>'
    )


def figure(  # noqa: PLR0913  (what a page shows of it)
    figure_id: str,
    size: tuple[float, float],
    parts: Iterable[str],
    *,
    title: str,
    caption: str,
    name: str,
    description: str,
    classes: Sequence[str] = (),
    role: str = "img",
    wide: bool = False,
    zoomable: bool = False,
    verdicts: bool = False,
) -> Figure:
    """Return a drawing as a figure of a page; size: width and height. See `Figure` and `draw`."""
    width, height = size
    drawing = draw(
        figure_id,
        width,
        height,
        parts,
        name=name,
        description=description,
        classes=classes,
        role=role,
    )
    return Figure(
        id=figure_id,
        title=title,
        caption=caption,
        svg=drawing,
        wide=wide,
        zoomable=zoomable,
        verdicts=verdicts,
    )


def height_rules(y_of: Scale, left: float, right: float, about: int) -> list[str]:
    """Return a line across at every tick of a vertical scale, with its number at the left."""
    parts = []
    values, decimals = y_of.ticks(about)
    for value in values:
        parts.append(line(left, y_of(value), right, y_of(value), "rule"))
        label = tick_text(value, decimals)
        parts.append(text(left - 6, y_of(value) + 4, label, anchor="end", size=10.5, dim=True))
    return parts


def tick_text(value: float, decimals: int) -> str:
    """Return the number of an axis, with a true minus sign."""
    return fixed(value, decimals).replace("-", "−")
