"""Causes of some rows only: exchanged numbers or digits, an older revision, a moved mark."""

from collections.abc import Iterator
from math import lgamma

import numpy as np

from checker.diagnose.evidence import Evidence
from checker.diagnose.fits import Freedom, fit_move, robust_mean
from checker.diagnose.heights import height_charge
from checker.diagnose.hypothesis import (
    BASE_CHARGE,
    Hypothesis,
    Part,
    Setting,
    length,
    shifted,
    wrong_side,
)
from checker.diagnose.noise import BIAS_M, Fit, badly_set
from checker.geometry.neighbours import nearest, neighbours_within
from checker.model.arrays import BoolArray, FloatArray, IntArray
from checker.model.diagnosis import Cause
from checker.model.measure import Item, Quantity

_ALL = Part(by="all", value="")
_STAKING_M = 0.012
"""How well a stake is set at its place, beside its standard deviation (common practice)."""
_MOST_ROWS = 3000
_MOST_CYCLE = 6
_FEW = {3: 8.0, 4: 4.0}
"""Nats against so few stakes that share one vector: badly set ones do so by chance (ours)."""
_LEAST_HEIGHTS = 4
"""Fewer stakes that are off in height alone may agree by chance."""
_LEAST_DIGIT = 0.8
"""Differences by exchanged digits are not looked for below this, in units of the file."""
_POWERS = range(-1, 8)
_BEYOND_CARE_M = 2.5
"""Nobody sets a single stake worse than this: larger differences have another cause (ours)."""
_BESIDE = 0.05
"""How far off its place a stake may be beside a slip, as a part of the slip (ours)."""
_CLEAR = 3.0
"""Nats that such a difference speaks for exchanged digits."""


def sparse_hypotheses(
    evidence: Evidence,
    predicted: FloatArray,
    fits: tuple[Fit, Fit],
    times: FloatArray,
    setting: Setting,
) -> Iterator[Hypothesis]:
    """Yield causes of single rows, given how well the rows fit by now, in plan and in height.

    times: shape (rows, 2), by how much their numbers were scaled.
    """
    plan, height = fits
    residual = evidence.measured - predicted
    out = (plan.inlier < 0.5) & np.isfinite(residual[:, :2]).all(axis=1)
    yield from _exchanged(evidence, predicted, out)
    low = (height.inlier < 0.5) & np.isfinite(residual[:, 2])
    written = times == 1.0  # in other units the digits were others
    out, low = out & written[:, 0], low & written[:, 1]
    yield from _transposed(evidence, predicted, out, low, setting)
    yield from _of_revision(evidence, predicted)
    yield from _older(evidence, predicted)
    yield from _older_heights(evidence, predicted)
    yield from on_the_other_side(evidence, predicted)


def _exchanged(evidence: Evidence, predicted: FloatArray, out: BoolArray) -> Iterator[Hypothesis]:
    rows = np.flatnonzero(out & evidence.by_id)
    if not 2 <= len(rows) <= 20 * _MOST_ROWS:
        return
    apart, near = nearest(predicted[rows, :2], evidence.measured[rows, :2])
    own = np.hypot(*(evidence.measured[rows, :2] - predicted[rows, :2]).T)
    target = np.where(apart < 0.3 * own, near, -1)
    # Of the points that stand on each other's places some may be badly set as well.
    close = apart < 5.0 * np.hypot(1.7 * evidence.sigma[rows, 0], _STAKING_M)
    done = np.zeros(len(rows), dtype=np.bool_)
    for start in np.flatnonzero(target >= 0).tolist():
        if done[start]:
            continue
        cycle, at = [start], int(target[start])
        while at >= 0 and at != start and at not in cycle and len(cycle) < _MOST_CYCLE:
            cycle.append(at)
            at = int(target[at])
        if at != start or len(cycle) < 2 or 2 * int(close[cycle].sum()) < len(cycle):
            continue
        done[cycle] = True
        members = rows[cycle]
        places = predicted[rows[target[cycle]]].copy()
        names = tuple(str(evidence.id[row]) for row in members)
        yield Hypothesis(
            cause=Cause(blunder="ids-exchanged", ids=names),
            part=_ALL,
            charge=BASE_CHARGE + len(cycle) * np.log(len(evidence)),
            apply=lambda points, to=places: to + 0.0 * points,  # type: ignore[misc]
            members=members,
            ids=names,
            told=True,
        )


def _transposed(
    evidence: Evidence,
    predicted: FloatArray,
    out: BoolArray,
    low: BoolArray,
    setting: Setting,
) -> Iterator[Hypothesis]:
    """Yield exchanged digits: the as-measured value is the design's so written."""
    residual = evidence.measured - predicted
    for axis, name in ((0, "n"), (1, "e"), (2, "z")):
        rows = np.flatnonzero(low if axis == 2 else out)[:_MOST_ROWS]
        if not len(rows):
            continue
        sigma = np.hypot(1.7 * evidence.sigma[rows, 1 if axis == 2 else 0], _STAKING_M)
        # Beside a slip of many metres the stake may be badly set as well.
        slack = np.minimum(_BESIDE * np.abs(residual[rows, axis]), _BEYOND_CARE_M)
        slack = np.maximum(5.0 * sigma, slack)
        if axis < 2:
            other = np.abs(residual[rows, 1 - axis]) < slack
            rows, sigma, slack = rows[other], sigma[other], slack[other]
        # row -> how far from likely, value, charge
        found: dict[int, tuple[float, float, float]] = {}
        for unit in setting.units_m:
            # Either value may be the one that was written wrong: the other, so written, is it.
            for values, way in ((predicted, 1.0), (evidence.measured, -1.0)):
                for change, near, charge in _rewritten(values[rows, axis], unit):
                    gap = np.abs(residual[rows, axis] - way * change)
                    for place in np.flatnonzero(near & (gap < slack)).tolist():
                        value = float(way * change[place])
                        if evidence.control[rows[place]] and abs(value) < _BEYOND_CARE_M:
                            continue  # as likely a mark that has moved
                        # The more stakes are off, the more of them are so by chance.
                        clear = abs(value) > _BEYOND_CARE_M
                        cost = charge + (-_CLEAR if clear else float(np.log(len(rows))))
                        far = cost + float(np.log1p((gap[place] / sigma[place]) ** 2))
                        row = int(rows[place])
                        if row not in found or found[row][0] > far:
                            found[row] = (far, value, cost)
        for row, (_, value, charge) in sorted(found.items())[:50]:
            move = np.zeros(3)
            move[axis] = value
            identity = str(evidence.id[row])
            yield Hypothesis(
                cause=Cause(
                    blunder="transposed-digits",
                    parameter=(
                        Item(key="id", label="id", quantity=Quantity.TEXT, value=identity),
                        Item(key="axis", label="axis", quantity=Quantity.TEXT, value=name),
                        length("difference", value),
                    ),
                ),
                part=_ALL,
                charge=BASE_CHARGE + charge + np.log(3.0 * len(setting.units_m)) + 2.0,
                apply=lambda points, by=move: points + by,  # type: ignore[misc]
                members=np.array([row]),
                ids=(identity,),
                told=abs(value) > _BEYOND_CARE_M,
            )


def _rewritten(values: FloatArray, unit: float) -> Iterator[tuple[FloatArray, BoolArray, float]]:
    """Yield what exchanging two digits changes values by (metres), where they can be, a charge."""
    here = np.abs(values) / unit
    sign = np.where(values < 0, -unit, unit)
    digit = {p: np.floor(here / 10.0**p + 1e-6) % 10 for p in _POWERS}
    for high in _POWERS:
        for small in range(_POWERS.start, high):
            change = (digit[small] - digit[high]) * (10.0**high - 10.0**small)
            # A digit that is exchanged must be written: not before the leading one.
            written = (here >= 10.0 ** (high - 1)) & (np.abs(change) >= _LEAST_DIGIT)
            if written.any():
                yield sign * change, written, np.log(8.0) + (0.0 if high == small + 1 else 3.0)


def _of_revision(evidence: Evidence, predicted: FloatArray) -> Iterator[Hypothesis]:
    """Yield stakes that stand where a given earlier revision of the design puts them."""
    residual = evidence.measured - predicted
    sigma = np.hypot(1.7 * evidence.sigma, _STAKING_M)
    for name, move in evidence.older.items():
        moved = np.isfinite(move).all(axis=1) & (np.abs(move).max(axis=1, initial=0.0) > 1e-4)
        there, here = (
            np.hypot(*np.nan_to_num(each[:, :2] / sigma[:, :1]).T) ** 2
            + np.nan_to_num(each[:, 2] / sigma[:, 1]) ** 2
            for each in (residual - move, residual)
        )
        with np.errstate(invalid="ignore"):
            members = np.flatnonzero(moved & (there < here) & (there < 25.0))
        if not len(members):
            continue
        names = tuple(str(evidence.id[row]) for row in members)
        dn, de, dz = np.median(move[members], axis=0).tolist()
        alike = bool(np.ptp(move[members], axis=0).max() < 1e-3)
        facts = [length("dn", dn), length("de", de), length("dz", dz)]
        facts.append(Item(key="revision", label="revision", quantity=Quantity.TEXT, value=name))
        if not alike:
            facts.append(
                Item(key="one_vector", label="one vector", quantity=Quantity.FLAG, value=False)
            )
        yield Hypothesis(
            cause=Cause(blunder="stale-revision", parameter=tuple(facts), ids=names),
            part=Part(by="all", value="design"),
            charge=BASE_CHARGE
            - 1.0
            + float(np.log(len(evidence.older)))
            + _choice(int(moved.sum()), len(members)),
            apply=lambda points, by=move[members]: points + by,  # type: ignore[misc]
            members=members,
            ids=names,
        )


def _older(evidence: Evidence, predicted: FloatArray) -> Iterator[Hypothesis]:
    """Yield stakes that follow an older design: equal residuals away from the rest."""
    residual = evidence.measured - predicted
    sigma = np.hypot(1.7 * evidence.sigma[:, 0], _STAKING_M)
    size = np.hypot(residual[:, 0], residual[:, 1])
    stakes = ~evidence.control & np.isfinite(size)
    far = np.flatnonzero(stakes & (size > np.maximum(4.0 * sigma, 0.02)))
    if len(far) < 3:
        return
    if len(far) > _MOST_ROWS:
        far = far[:: len(far) // _MOST_ROWS + 1]
    reach = 4.0 * float(np.median(sigma[far]))
    crowd = neighbours_within(residual[far, :2], reach)
    tried: list[FloatArray] = []
    for seed in np.argsort(-crowd, kind="stable").tolist():
        if len(tried) >= 3 or crowd[seed] < 3:
            return
        centre = residual[far[seed], :2]
        if any(np.hypot(*(centre - each)) < 2.0 * reach for each in tried):
            continue
        tried.append(centre)
        yield from _cluster(evidence, residual, stakes, sigma, centre)


def _cluster(
    evidence: Evidence,
    residual: FloatArray,
    stakes: BoolArray,
    sigma: FloatArray,
    centre: FloatArray,
) -> Iterator[Hypothesis]:
    """Yield the stakes around one vector, without and with a common height."""
    size = np.hypot(residual[:, 0], residual[:, 1])
    members, move = np.zeros(0, dtype=np.int64), None
    for _ in range(3):
        apart = np.hypot(*(residual[:, :2] - centre).T)
        members = np.flatnonzero(stakes & (apart < 4.5 * sigma) & (apart < size))
        if len(members) < 3:
            return
        zero = np.zeros(len(members), dtype=np.complex128)
        vectors = residual[members, 1] + 1j * residual[members, 0]
        move = fit_move(zero, vectors, sigma[members], Freedom.NONE)
        if move is None:
            return
        centre = np.array((move.shift.imag, move.shift.real))
    k, count = len(members), int(stakes.sum())
    if move is None or k == count:
        return
    choice = _choice(count, k) + np.log(count) + _FEW.get(k, 0.0)
    variance = move.sigma_shift**2 + BIAS_M[0] ** 2
    charge = float(badly_set(np.asarray(abs(move.shift)), 2) - np.log(2 * np.pi * variance))
    names = tuple(str(evidence.id[row]) for row in members)
    half = 1.96 * float(np.sqrt(variance))
    halves = (length("dn_95", half), length("de_95", half))
    heights: list[tuple[float, float]] = [(0.0, 0.0)]
    high = members[np.isfinite(residual[members, 2])]
    if len(high):
        dz, spread = robust_mean(residual[high, 2], evidence.sigma[high, 1])
        heights.append((dz, height_charge(dz, float(np.hypot(spread, BIAS_M[1])))))
    for dz, extra in heights:
        vector = np.array((centre[0], centre[1], dz))
        plan = (length("dn", centre[0]), length("de", centre[1]), length("dz", dz))
        yield Hypothesis(
            cause=Cause(blunder="stale-revision", parameter=plan, ids=names),
            part=Part(by="all", value="design"),
            charge=BASE_CHARGE + float(choice) + max(charge, 0.0) + max(extra, 0.0),
            apply=lambda points, by=vector: points + by,  # type: ignore[misc]
            halves=halves,
            members=members,
            ids=names,
        )


def _older_heights(evidence: Evidence, predicted: FloatArray) -> Iterator[Hypothesis]:
    """Yield stakes that follow an older design whose heights alone were others."""
    gap = (evidence.measured - predicted)[:, 2]
    sigma = np.hypot(1.7 * evidence.sigma[:, 1], _STAKING_M)
    stakes = ~evidence.control & np.isfinite(gap)
    far = np.flatnonzero(stakes & (np.abs(gap) > np.maximum(4.0 * sigma, 0.05)))
    count = int(stakes.sum())
    if len(far) < _LEAST_HEIGHTS:
        return
    reach = 4.0 * float(np.median(sigma[far]))
    values = np.sort(gap[far])
    crowd = np.searchsorted(values, values + reach) - np.searchsorted(values, values - reach)
    tried: list[float] = []
    for seed in np.argsort(-crowd, kind="stable").tolist():
        centre = float(values[seed])
        if len(tried) >= 3 or crowd[seed] < _LEAST_HEIGHTS:
            return
        if any(abs(centre - each) < 2.0 * reach for each in tried):
            continue
        tried.append(centre)
        members, spread = far, 0.0
        for _ in range(3):
            members = np.flatnonzero(stakes & (np.abs(gap - centre) < 4.5 * sigma))
            members = members[np.abs(gap[members] - centre) < np.abs(gap[members])]
            if len(members) < _LEAST_HEIGHTS:
                break
            centre, spread = robust_mean(gap[members], evidence.sigma[members, 1])
        if not _LEAST_HEIGHTS <= len(members) < count:
            continue
        spread = float(np.hypot(spread, BIAS_M[1]))
        names = tuple(str(evidence.id[row]) for row in members)
        charge = _choice(count, len(members)) + np.log(count) + height_charge(centre, spread)
        charge += _FEW.get(len(members), 0.0)
        yield Hypothesis(
            cause=Cause(
                blunder="stale-revision",
                parameter=(length("dn", 0.0), length("de", 0.0), length("dz", centre)),
                ids=names,
            ),
            part=Part(by="all", value="design"),
            charge=BASE_CHARGE + 1.0 + float(charge),
            apply=shifted(0.0, 0.0, centre),
            halves=(length("dz_95", 1.96 * spread),),
            members=members,
            ids=names,
        )


def _choice(count: int, k: int) -> float:
    """Return the logarithm of the number of ways to pick k of count."""
    return lgamma(count + 1) - lgamma(k + 1) - lgamma(count - k + 1)


def on_the_other_side(evidence: Evidence, predicted: FloatArray) -> Iterator[Hypothesis]:
    """Yield offset stakes on the other side of their line: twice their offset across."""
    residual = (evidence.measured - predicted)[:, :2]
    stakes = ~evidence.control & np.isfinite(evidence.set_off_m)
    stakes &= np.isfinite(evidence.right[:, 0])
    if not stakes.any():
        return
    sigma = np.hypot(1.7 * evidence.sigma[:, 0], 2.0 * _STAKING_M)
    across = 2.0 * evidence.set_off_m[:, None] * evidence.right
    with np.errstate(invalid="ignore"):
        there = np.hypot(*(residual + across).T) < 5.0 * sigma
        # A stake so near its line is on both sides of it.
        there &= np.abs(2.0 * evidence.set_off_m) > 8.0 * sigma
    members = np.flatnonzero(stakes & there)
    count, k = int(stakes.sum()), len(members)
    if not 0 < k < count:
        return
    names = tuple(str(evidence.id[row]) for row in members)
    yield Hypothesis(
        cause=wrong_side(evidence.set_off_m[members]),
        part=Part(by="all", value="design"),
        charge=BASE_CHARGE + float(_choice(count, k)) + np.log(count),
        other_side=True,
        members=members,
        ids=names,
    )


def disturbed_marks(
    evidence: Evidence, predicted: FloatArray, plan: Fit, height: Fit
) -> Iterator[tuple[Cause, IntArray]]:
    """Yield control marks that disagree with the others, and their rows.

    At least two other marks must agree; every shot of the mark must be off in the same component.
    """
    control = evidence.control & ~evidence.tested
    names = np.unique(evidence.id[control].astype(str))
    if len(names) < 3:
        return
    residual = evidence.measured - predicted
    bad: list[tuple[str, IntArray]] = []
    for name in names.tolist():
        rows = np.flatnonzero(control & (evidence.id == name))
        flat = plan.inlier[rows] < 0.05
        there = np.isfinite(residual[rows, 2])
        tall = (height.inlier[rows] < 0.05) & there
        sizes = np.hypot(residual[rows, 0], residual[rows, 1])
        # A second shot that shows the same tells more than the size of one.
        times = 5.0 if len(rows) > 1 else 6.5
        far = flat & (sizes > times * evidence.sigma[rows, 0] + 2.0 * BIAS_M[0])
        high = tall & (np.abs(residual[rows, 2]) > times * evidence.sigma[rows, 1] + 2 * BIAS_M[1])
        if far.all() or (there.any() and high[there].all()):
            bad.append((name, rows))
    if not bad or len(names) - len(bad) < max(2, len(bad) + 1):
        return
    for name, rows in bad:
        dn, de = (float(np.median(residual[rows, axis])) for axis in (0, 1))
        tall_rows = residual[rows, 2][np.isfinite(residual[rows, 2])]
        dz = float(np.median(tall_rows)) if len(tall_rows) else 0.0
        yield (
            Cause(
                blunder="disturbed-mark",
                parameter=(
                    Item(key="id", label="id", quantity=Quantity.TEXT, value=name),
                    length("dn", dn),
                    length("de", de),
                    length("dz", dz),
                ),
                ids=(name,),
            ),
            rows,
        )
