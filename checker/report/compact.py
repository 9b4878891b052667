"""Shorter drawings for the report of one page: looks that recur become classes, marks are shared.

A drawing carries its looks as attributes, so that it is right wherever it stands. On a page that is
to be small, every set of them that recurs moves into one rule of a stylesheet.
"""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from markupsafe import Markup

from checker.report import svg

_LOOKS = (
    *("fill", "stroke", "stroke-width", "stroke-dasharray", "stroke-linecap", "stroke-linejoin"),
    *("fill-opacity", "font-size", "font-weight", "text-anchor"),
)
_ELEMENT = re.compile(r'<(?:path|rect|circle|text|g)((?: [\w-]+="[^"]*")+)')
_LOOK = re.compile(rf' ({"|".join(_LOOKS)})="([^"]*)"')
_CLASS = re.compile(r' class="([^"]*)"')
_MARK = re.compile(r'<g class="m-([a-z]+)">.*?</g>')
_DOT = r'<g transform="translate\([^)]*\)"><title>[^<]*</title><path class="mk" d="M0 0h0"/></g>'
_DOTS = re.compile(f"(?:{_DOT})+")
_PLACE = re.compile(r"translate\(([^)]*)\)")
_DATA = re.compile(r'(?<= d=")M[^"]*')
_LEVEL = re.compile(r"^M(\S+) (\S+)L(\S+) \2$")
_UPRIGHT = re.compile(r"^M(\S+) (\S+)L\1 (\S+)$")
_RECURS = 3
"""A set of looks that stands so often is worth a rule."""


def compact(figures: Sequence[svg.Figure]) -> tuple[tuple[svg.Figure, ...], str]:
    """Return figures that look the same in fewer bytes, and the rules that they need.

    The rules must stand before the page's own, which override them on a dark screen.
    """
    drawings = [
        _DATA.sub(_shorter, _DOTS.sub(_dots, _MARK.sub(_use, str(each.svg)))) for each in figures
    ]
    counts = Counter(looks for text in drawings for looks in _all_looks(text))
    names = {
        looks: f"q{number}"
        for number, (looks, count) in enumerate(counts.most_common())
        if count >= _RECURS
    }
    rules = "".join(f".{name}{{{_rule(looks)}}}" for looks, name in names.items())
    made = tuple(
        replace(each, svg=Markup(_named(text, names)))  # noqa: S704  (the drawing, escaped already)
        for each, text in zip(figures, drawings, strict=True)
    )
    return made, rules


def _use(found: re.Match[str]) -> str:
    return f'<use href="#at-{found.group(1)}"/>'


def _shorter(found: re.Match[str]) -> str:
    """Return a path in fewer characters: the same numbers, level and upright lines as such."""
    path = _LEVEL.sub(r"M\1 \2H\3", _UPRIGHT.sub(r"M\1 \2V\3", found.group()))
    return path.replace(" -", "-")


def _dots(found: re.Match[str]) -> str:
    """Return the dots of points that are within as one path; they lose their names, not size."""
    places = "".join(f"M{place}h0" for place in _PLACE.findall(found.group()))
    return f'<path d="{places}" vector-effect="non-scaling-stroke"/>'


def _all_looks(text: str) -> list[tuple[tuple[str, str], ...]]:
    found = (_looks(each.group(1)) for each in _ELEMENT.finditer(text))
    return [looks for looks in found if looks]


def _looks(attributes: str) -> tuple[tuple[str, str], ...]:
    """Return the looks of an element, or nothing where one of them is its drawing's own pattern."""
    found = tuple(sorted((name, value) for name, value in _LOOK.findall(attributes)))
    return () if any(value.startswith("url(") for _, value in found) else found


def _rule(looks: Sequence[tuple[str, str]]) -> str:
    return ";".join(f"{name}:{value}{'px' * (name == 'font-size')}" for name, value in looks)


def _named(text: str, names: dict[tuple[tuple[str, str], ...], str]) -> str:
    """Return a drawing whose recurring looks are classes."""

    def short(found: re.Match[str]) -> str:
        attributes = found.group(1)
        name = names.get(_looks(attributes))
        if name is None:
            return found.group()
        head = found.group()[: -len(attributes)]
        rest = _LOOK.sub("", attributes)
        if _CLASS.search(rest):
            return head + _CLASS.sub(rf' class="{name} \1"', rest)
        return f'{head} class="{name}"{rest}'

    return _ELEMENT.sub(short, text)
