"""What repeats say about the method: scatter against the stated sigmas, independence, coverage."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from checker.checks.closing import item, length_text
from checker.checks.deltas import Sigmas, counts_item
from checker.checks.selecting import place
from checker.geometry.statistics import dixon, sample_size, sigma_factor, sigma_interval
from checker.model.arrays import BoolArray, FloatArray, IntArray, TextArray
from checker.model.job import Repeats
from checker.model.measure import Item, Quantity
from checker.model.points import Points
from checker.text import fixed
from checker.units import LengthUnit

_CONFIDENCE = 0.95
_DIXON = 0.01
"""Two-sided level of the test of single shots of a mark; there may be many marks."""
_DIXON_LEAST = 4
"""Of three shots two are often equal as written, and then the third always stands apart."""
_NAMED = 8
"""How many marks a remark names."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Groups:
    """Shots by the mark that they are of, in the order of groups.

    shots: indices of as-measured points; group: shape as shots, numbered from 0; size: shape
    (groups,). name: shape (groups,), what the marks are called. control: shape (groups,), whether
    they are check shots on control, which are no stakes.
    """

    shots: IntArray
    group: IntArray
    size: IntArray
    name: TextArray
    control: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """Standard deviation of a single shot, pooled over the marks; metres.

    s^2 = sum of squared deviations from each mark's mean over the sum of its shots less one (pooled
    variance, a textbook formula; from memory). predicted: root mean square of the stated sigmas of
    the same shots, NaN where one shows none.
    """

    s: float
    freedom: int
    predicted: float


def scatter(values: FloatArray, sigma: FloatArray, groups: Groups) -> Scatter:
    """Return the pooled deviation of the shots' values; values, sigma: shape as the shots."""
    there = np.isfinite(values)
    number = np.bincount(groups.group[there], minlength=len(groups.size))
    near = float(values[there][0]) if there.any() else 0.0  # so that squares keep their digits
    centre = np.bincount(
        groups.group[there], weights=values[there] - near, minlength=len(groups.size)
    )
    mean = centre / np.maximum(number, 1)
    freedom = int(np.maximum(number - 1, 0).sum())
    squares = float(np.square(values[there] - near - mean[groups.group[there]]).sum())
    again = there & (number[groups.group] > 1)
    said = sigma[again]
    return Scatter(
        s=float(np.sqrt(squares / freedom)) if freedom else np.nan,
        freedom=freedom,
        predicted=float(np.sqrt(np.mean(said**2))) if said.size else np.nan,
    )


def scatter_of(measured: Points, sigma: Sigmas, groups: Groups) -> dict[str, Scatter]:
    """Return the scatter in northing, easting and elevation; sigma: of the shots."""
    return {
        "n": scatter(measured.northing_m[groups.shots], sigma.n, groups),
        "e": scatter(measured.easting_m[groups.shots], sigma.e, groups),
        "z": scatter(measured.elevation_m[groups.shots], sigma.z, groups),
    }


def scatter_items(found: dict[str, Scatter]) -> Iterator[Item]:
    """Give pooled deviations with their 95 % confidence limits, and what the sigmas predict."""
    length = Quantity.LENGTH
    for axis, each in found.items():
        low, high = sigma_interval(each.s, each.freedom, _CONFIDENCE)
        name = axis.upper()
        yield item(f"sd_{axis}", f"σ of one shot, {name}", length, each.s)
        yield item(f"sd_{axis}_low", f"σ {name}, at least (95 %)", length, low)
        yield item(f"sd_{axis}_high", f"σ {name}, at most (95 %)", length, high)
        yield item(f"predicted_{axis}", f"σ {name} as stored", length, each.predicted)
    free = found["n"].freedom
    yield item("degrees_of_freedom", "Degrees of freedom", Quantity.COUNT, float(free))


def about_scatter(
    measured: Points, sigma: Sigmas, groups: Groups, unit: LengthUnit
) -> Iterator[str]:
    """Say whether single shots scatter as their stored sigmas say (chi-square, one-sided, 95 %).

    Where they scatter more and without one mark they would not, that mark is named instead of a
    factor for all. sigma: of the shots.
    """
    for part, each in _by_part(scatter_of(measured, sigma, groups)).items():
        if not each.freedom or not np.isfinite(each.s + each.predicted) or not each.predicted:
            continue
        times = each.s / each.predicted
        text = (
            f"{part}: single shots scatter with {length_text(each.s, unit, plus=False)} on an axis,"
            f" and their stored standard deviations say"
            f" {length_text(each.predicted, unit, plus=False)}"
        )
        if _agrees(each):
            yield f"{text}: no contradiction (chi-square, 95 %)."
            continue
        text = f"{text}, {fixed(times, 1)} times too little (chi-square, 95 %)."
        alone = _one_mark(measured, sigma, groups, part)
        if alone is None:
            yield (
                f"{text} No mark does it alone: state sigma_factor = {fixed(times, 1)} under"
                " [measured]."
            )
        else:
            name, rest = alone
            yield (
                f"{text} {name} alone does it: without it they scatter with"
                f" {length_text(rest.s, unit, plus=False)}, which agrees with what is stored."
            )


def _by_part(found: dict[str, Scatter]) -> dict[str, Scatter]:
    """Return the scatter in plan, on an axis, and in height."""
    n, e = found["n"], found["e"]
    plan = Scatter(
        s=float(np.sqrt(0.5 * (n.s**2 + e.s**2))),
        freedom=n.freedom + e.freedom,
        predicted=float(np.sqrt(0.5 * (n.predicted**2 + e.predicted**2))),
    )
    return {"Plan": plan, "Height": found["z"]}


def _agrees(found: Scatter) -> bool:
    return found.s / found.predicted <= sigma_factor(found.freedom, _CONFIDENCE)


def _one_mark(
    measured: Points, sigma: Sigmas, groups: Groups, part: str
) -> tuple[str, Scatter] | None:
    """Return the mark without which the shots scatter as stated, and how they do; None: none."""
    shots, group = groups.shots, groups.group
    squares = np.zeros(len(groups.size))
    axes = (measured.northing_m, measured.easting_m) if part == "Plan" else (measured.elevation_m,)
    for axis in axes:
        value = axis[shots]
        there = np.isfinite(value)
        least = np.full(len(squares), np.inf)
        most = np.full(len(squares), -np.inf)
        np.minimum.at(least, group[there], value[there])
        np.maximum.at(most, group[there], value[there])
        squares += np.square(np.where(most >= least, most - least, 0.0))
    worst = int(squares.argmax())
    keep = group != worst
    rest = replace(groups, shots=shots[keep], group=group[keep])
    others = Sigmas(n=sigma.n[keep], e=sigma.e[keep], h=sigma.h[keep], z=sigma.z[keep])
    found = _by_part(scatter_of(measured, others, rest))[part]
    if not found.freedom or not _agrees(found):
        return None
    return str(groups.name[worst]), found


def apart(measured: Points, groups: Groups) -> tuple[TextArray, list[str]]:
    """Return of which shots Dixon's test says that they stand apart from the others of their mark.

    Two-sided at 1 % on each axis, for marks with 4 to 10 shots. Shape as the shots, "" where
    nothing is said; and a sentence that names the marks, where there are any.
    """
    shots = groups.shots
    texts: TextArray = np.full(len(shots), "", dtype=object)
    for word, values in (
        ("northing", measured.northing_m),
        ("easting", measured.easting_m),
        ("height", measured.elevation_m),
    ):
        test = dixon(values[shots], groups.group, _DIXON, _DIXON_LEAST)
        for row in np.flatnonzero(test.rejected).tolist():
            text = (
                f"stands apart from the other shots of the mark in {word}"
                f" (r10 {fixed(float(test.ratio[row]), 2)} over"
                f" {fixed(float(test.critical[row]), 2)})"
            )
            texts[row] = f"{texts[row]}; {text}" if texts[row] else text
    rows = np.flatnonzero(texts != "")
    if not rows.size:
        return texts, []
    names = list(dict.fromkeys(str(groups.name[groups.group[row]]) for row in rows.tolist()))
    first = int(rows[0])
    text = (
        f"By Dixon's test, two-sided at 1 % on each axis, one shot stands apart from the others of"
        f" its mark: {_named(names)}. Shot {place(measured, int(shots[first]))} {texts[first]}."
        " All are in the numbers; leave one out only for a reason, under [measured] exclude."
    )
    return texts, [text]


def chances(
    dn: FloatArray, de: FloatArray, dz: FloatArray, sigma: Sigmas
) -> tuple[FloatArray, FloatArray]:
    """Return how often shots that differ only by their sigmas would differ more; shape (rows,).

    Plan: exp(-q / 2), q the offset squared over its covariance, without correlation
    dn^2 / sn^2 + de^2 / se^2 (chi-square of two degrees of freedom). Height: two-sided normal. NaN
    without a sigma.
    """
    from scipy.special import ndtr

    with np.errstate(divide="ignore", invalid="ignore"):
        u, v = dn / sigma.n, de / sigma.e
        square = u**2 + v**2
        if sigma.correlation is not None:
            r = sigma.correlation
            square = (square - 2.0 * r * u * v) / (1.0 - r**2)
        plan = np.exp(-0.5 * square)
        height = 2.0 * ndtr(-np.abs(dz / sigma.z))
    return np.asarray(plan), np.asarray(height)


def shared(measured: Points, first: IntArray, later: IntArray) -> TextArray:
    """Return what the later shot shares with the first, so that it is less than independent."""
    quality = measured.quality
    parts = []
    for word, values in (("session", quality.session), ("base", quality.base)):
        if values is not None:
            parts.append((word, (values[first] == values[later]) & (values[first] != "")))
    if quality.pole_m is not None:
        parts.append(("pole", quality.pole_m[first] == quality.pole_m[later]))
    texts: TextArray = np.full(len(later), "", dtype=object)
    for row in range(len(later)):
        texts[row] = ", ".join(word for word, same in parts if same[row])
    return texts


def about_sharing(texts: TextArray) -> Iterator[str]:
    """Say how many repeats share what, in one sentence."""
    count = len(texts)
    for word, why in (
        ("base", "a wrong base coordinate shifts both shots alike"),
        ("pole", "a wrong length of the pole shows in neither"),
    ):
        same = sum(word in str(text).split(", ") for text in texts.tolist())
        if same:
            yield f"{same} of {count} repeats were shot with the same {word} as the first: {why}."


def coverage(section: Repeats, groups: Groups) -> tuple[list[Item], list[str]]:
    """Return how many stakes have no second look, and a plan for looking at more of them."""
    stakes = ~groups.control
    single = np.flatnonzero((groups.size == 1) & stakes)
    lot = int(stakes.sum())
    seen = lot - len(single)
    items = [counts_item("single", "Marks without a second shot", len(single))]
    if not single.size:
        return items, []
    needed = sample_size(lot, section.share, section.confidence)
    more = max(needed - seen, 0)
    items.append(counts_item("to_repeat", "More to shoot again, by the sample plan", more))
    names = [str(groups.name[index]) for index in single.tolist()]
    text = f"No second shot: {_named(names)}."
    sure = fixed(100.0 * section.confidence, 0)
    part = fixed(100.0 * section.share, 0)
    if not more:
        plan = (
            f"Sample plan: {seen} of {lot} marks have one, enough to be {sure} % sure that no more"
            f" than {part} % are bad, if every repeat agrees."
        )
    else:
        # spread evenly over the marks in their order, so that every part of the work is seen
        chosen_at = ((np.arange(more) + 0.5) * len(single) / more).astype(np.int64)
        chosen = [names[index] for index in chosen_at.tolist()]
        plan = (
            f"Sample plan: to be {sure} % sure that no more than {part} % of the {lot} marks are"
            f" bad, {needed} must be looked at and all agree; {more} more, spread over the work:"
            f" {_named(chosen, 20)}. Where one does not agree, look at all."
        )
    return items, [text, plan]


def _named(names: list[str], most: int = _NAMED) -> str:
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")
