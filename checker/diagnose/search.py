"""The search: take the cause that explains most, then look again at what is left."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from checker.diagnose.causes import hypotheses
from checker.diagnose.evidence import Evidence
from checker.diagnose.hypothesis import Hypothesis, Part, Setting, View
from checker.diagnose.noise import BIAS_M, SHARES, Fit, Noise, badly_set
from checker.diagnose.sparse import disturbed_marks, sparse_hypotheses
from checker.model.arrays import BoolArray, FloatArray, IntArray
from checker.model.diagnosis import Cause, Explained
from checker.model.measure import Item

LEAST_GAIN = 3.0
"""Nats that a cause must gain after all its charges before it is named: 20 to 1."""
ALIKE = 3.0
"""Causes that gain within so many nats of the best cannot be told from it."""
_MOST_CAUSES = 8
_MOST_DRAWN = 300
_MOST_ROWS = 800
_LEAST_OF_GROUP = 12
_SEED = 20310417
_FAR, _MANY_OFF, _FEW_OFF = 3.0, 0.15, 0.06
"""A row so many standard deviations off is off; shares of a group's rows."""
_WIDE, _ROUGH_M = 8.0, 0.02
"""So many of the widest standard deviations, and of this beside for biases and rounding, are no
noise."""
_MARGIN = 8.0
"""Nats that a new fit of the noise may add to what single rows gain by themselves."""
_PLAIN = 30.0
"""Nats from which a cause of all points may save the look at each group."""
_REACHED = 0.5
"""Share of the rows of a cause that must reach the noise once it is taken into account."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A cause that was found.

    rows: of the whole evidence. before, after: residuals' root mean squares (plan, height), metres,
    NaN without. also: what gains as much. sure_side: False where it cannot be told whether the
    design or the measuring is at fault. explained: the residuals themselves.
    """

    cause: Cause
    part: Part
    rows: IntArray
    ids: tuple[str, ...]
    gain: float
    before: tuple[float, float]
    after: tuple[float, float]
    halves: tuple[Item, ...] = ()
    also: tuple[Cause, ...] = ()
    sure_side: bool = True
    explained: Explained | None = None


@dataclass(slots=True)
class _State:
    """What is explained by now.

    times: shape (rows, 2), by how much each row's noise was scaled with its numbers: plan, height.
    """

    evidence: Evidence
    predicted: FloatArray
    noise: tuple[Noise, Noise]
    times: FloatArray
    widest: tuple[FloatArray, FloatArray] | None = None
    plan: Fit = field(init=False)
    height: Fit = field(init=False)

    def settle(self, sample: "_State") -> None:
        """Fit all rows with the noise that a sample of them has chosen, check by check."""
        full = self.noise
        if len(full[0].starts) == len(sample.noise[0].starts):
            chosen = sample.plan.option, sample.height.option
            self.noise = (full[0].settled(chosen[0]), full[1].settled(chosen[1]))
        self.refit()
        self.noise = full

    def refit(self) -> None:
        residual = self.evidence.measured - self.predicted
        self.plan = self.noise[0].fit(residual[:, :2], self.times[:, 0])
        self.height = self.noise[1].fit(residual[:, 2:], self.times[:, 1])

    def tried(self, hypothesis: Hypothesis) -> tuple[float, FloatArray, Fit, Fit]:
        """Return the gain of a hypothesis and what would then be predicted and fit."""
        predicted = hypothesis.moved(self.evidence, self.predicted)
        residual = self.evidence.measured - predicted
        times = self.scaled(hypothesis)
        plan, height = self.plan, self.height
        if _differs(predicted[:, :2], self.predicted[:, :2]):
            plan = self.noise[0].fit(residual[:, :2], times[:, 0])
        if _differs(predicted[:, 2], self.predicted[:, 2]):
            height = self.noise[1].fit(residual[:, 2:], times[:, 1])
        gain = self.plan.nats + self.height.nats - plan.nats - height.nats - hypothesis.charge
        return gain, predicted, plan, height

    def scaled(self, hypothesis: Hypothesis) -> FloatArray:
        """Return by how much each row's noise would be scaled, in plan and in height."""
        if hypothesis.times == 1.0:
            return self.times
        times = self.times.copy()
        height = 1.0 if hypothesis.flat else hypothesis.times
        times[hypothesis.concerned(self.evidence)] *= (hypothesis.times, height)
        return times


def _differs(one: FloatArray, other: FloatArray) -> bool:
    return not np.array_equal(one, other, equal_nan=True)


def _state(evidence: Evidence) -> _State:
    return _State(
        evidence=evidence,
        predicted=evidence.known.copy(),
        noise=(Noise.of(evidence, 0), Noise.of(evidence, 1)),
        times=np.ones((len(evidence), 2)),
    )


Whole = Callable[[View], Iterator[Hypothesis]]
Single = Callable[[Evidence, FloatArray], Iterator[Hypothesis]]


def search(
    evidence: Evidence,
    setting: Setting,
    *,
    causes: Whole = hypotheses,
    single: Single | None = None,
) -> list[Found]:
    """Return the causes that the residuals show, the strongest first; marks that moved at the end.

    Large tables are searched by a fixed sample of their rows, with some of every group; what was
    found is then applied to all of them. causes: those of whole parts that are tried; single: those
    of single rows, given the predicted points; None: all.
    """
    sample = _sampled(evidence)
    whole = _state(evidence)
    state = whole if len(sample) == len(evidence) else _state(evidence.picked(sample))
    state.refit()
    found: list[Found] = []
    while len(found) < _MOST_CAUSES:
        best = _best(state, setting, causes, single, sparse=state is whole)
        if best is None and state is not whole:
            whole.settle(state)
            best = _best(whole, setting, None, single, sparse=True)
        if best is None:
            break
        gain, hypothesis, also, sure = best
        found.append(_applied(hypothesis, gain, also, whole, sure_side=sure))
        if state is not whole:
            state.predicted = whole.predicted[sample]
            state.times = whole.times[sample]
        state.refit()
    if state is not whole and evidence.control.any():
        whole.settle(state)
    if not evidence.control.any():
        return found
    for cause, rows in disturbed_marks(evidence, whole.predicted, whole.plan, whole.height):
        residual = (evidence.measured - whole.predicted)[rows]
        size = _rms(residual)
        found.append(
            Found(
                cause=cause,
                part=Part(by="all", value="control"),
                rows=rows,
                ids=cause.ids,
                gain=np.nan,
                before=size,
                after=(np.nan, np.nan),
            )
        )
    return found


def _applied(
    hypothesis: Hypothesis, gain: float, also: tuple[Cause, ...], whole: _State, *, sure_side: bool
) -> Found:
    rows = hypothesis.members
    if rows is None:
        rows = np.flatnonzero(hypothesis.part.rows(whole.evidence))
        if hypothesis.on_lines:
            rows = rows[np.isfinite(whole.evidence.right[rows, 0])]
    residual = (whole.evidence.measured - whole.predicted)[rows]
    before = _rms(residual)
    whole.predicted = hypothesis.moved(whole.evidence, whole.predicted)
    whole.times = whole.scaled(hypothesis)
    left = (whole.evidence.measured - whole.predicted)[rows]
    after = _rms(left)
    some = slice(None, None, len(rows) // _MOST_DRAWN + 1)
    return Found(
        cause=hypothesis.cause,
        part=hypothesis.part,
        rows=rows,
        ids=hypothesis.ids,
        gain=gain,
        before=before,
        after=after,
        halves=hypothesis.halves,
        also=also,
        sure_side=sure_side,
        explained=Explained(before_m=residual[some], after_m=left[some], count=len(rows)),
    )


def _rms(residual: FloatArray) -> tuple[float, float]:
    """Return root mean squares of plan and height, NaN where nothing is compared."""
    plan = np.hypot(residual[:, 0], residual[:, 1])
    height = residual[:, 2]

    def root(values: FloatArray) -> float:
        values = values[np.isfinite(values)]
        return float(np.sqrt(np.mean(values**2))) if len(values) else np.nan

    return root(plan), root(height)


def _sampled(evidence: Evidence) -> IntArray:
    """Return sorted indices of the rows to search by: all, or a fixed choice with every group."""
    rows = len(evidence)
    if rows <= 2 * _MOST_ROWS:
        return np.arange(rows)
    order = np.random.default_rng(_SEED).permutation(rows)
    keep = np.zeros(rows, dtype=np.bool_)
    keep[order[:_MOST_ROWS]] = True
    keep[order[evidence.control[order]][:300]] = True
    for codes in evidence.codes.values():
        shuffled = codes[order]
        by_group = np.argsort(shuffled, kind="stable")
        sorted_codes = shuffled[by_group]
        first = np.searchsorted(sorted_codes, sorted_codes)
        rank = np.arange(rows) - first
        if sorted_codes[-1] < 200:
            keep[order[by_group[(rank < _LEAST_OF_GROUP) & (sorted_codes >= 0)]]] = True
    return np.flatnonzero(keep)


def parts(evidence: Evidence) -> Iterator[Part]:
    """Yield what a cause may concern: all, the design's side, the control's, each group."""
    yield Part(by="all", value="")
    control = int(evidence.control.sum())
    if control and control < len(evidence):
        yield Part(by="all", value="design")
    if control >= 2 and control < len(evidence):
        yield Part(by="all", value="control", charge=1.5)
    groups = evidence.groups()
    for group in groups:
        alike = sum(other.by == group.by for other in groups)
        yield Part(by=group.by, value=group.value, charge=1.0 + float(np.log(alike)))


def _best(
    state: _State, setting: Setting, causes: Whole | None, single: Single | None, *, sparse: bool
) -> tuple[float, Hypothesis, tuple[Cause, ...], bool] | None:
    evidence = state.evidence
    scored = [] if causes is None else _of_parts(state, setting, causes)
    if sparse:
        if single is None:
            fits = state.plan, state.height
            each = sparse_hypotheses(evidence, state.predicted, fits, state.times, setting)
        else:
            each = single(evidence, state.predicted)
        scored += _scored(state, each, None)
    scored.sort(key=lambda item: -item[0])
    if not scored or scored[0][0] < LEAST_GAIN:
        return None
    gain, winner = scored[0]
    also: dict[str, Cause] = {}
    sure = True
    for other_gain, other in scored[1:]:
        if other_gain < gain - ALIKE or other_gain < LEAST_GAIN:
            break
        if not _rivals(winner, other, evidence):
            continue
        blunder = other.cause.blunder
        if blunder == winner.cause.blunder:
            sure &= other.part == winner.part or other.part.by != winner.part.by
            if blunder == "wrong-zone" and other.cause.parameter != winner.cause.parameter:
                also.setdefault(f"{blunder} {other.cause.parameter[0].value}", other.cause)
        elif blunder not in also:
            also[blunder] = other.cause
    return gain, winner, tuple(also.values()), sure


def _of_parts(state: _State, setting: Setting, causes: Whole) -> list[tuple[float, Hypothesis]]:
    """Return what gains of the causes of all points and of groups."""
    evidence = state.evidence
    there = np.isfinite(evidence.measured - state.predicted)
    finite, tall = there[:, :2].all(axis=1), there[:, 2]
    scored: list[tuple[float, Hypothesis]] = []
    alone = True  # only what concerns no group was tried yet
    for part in parts(evidence):
        if part.by != "all" and alone:
            alone = False
            if scored and not _groups_left(state, scored):
                break
        whole = part.rows(evidence)
        if part.by != "all" and not _telling(state, whole):
            continue
        rows = whole & finite
        view = View(
            part=part,
            evidence=evidence,
            rows=rows,
            tall=whole & tall,
            predicted=state.predicted,
            setting=setting,
            coarse=max(float(np.median(state.times[rows, 0])), 1.0) if rows.any() else 1.0,
        )
        scored += _scored(state, causes(view), whole)
    return scored


def _rivals(one: Hypothesis, other: Hypothesis, evidence: Evidence) -> bool:
    """Tell whether two causes are about the same rows, so that one stands in place of the other."""
    rows, others = one.concerned(evidence), other.concerned(evidence)
    shared = len(np.intersect1d(rows, others, assume_unique=True))
    return 2 * shared >= min(len(rows), len(others))


def _groups_left(state: _State, scored: list[tuple[float, Hypothesis]]) -> bool:
    """Tell whether some group is still off once the best of the common causes is applied."""
    gain, best = max(scored, key=lambda item: item[0])
    if best.part.value or gain < _PLAIN:
        return True
    predicted = best.moved(state.evidence, state.predicted)
    groups = state.evidence.groups()
    return any(_telling(state, group.rows, predicted, _FEW_OFF) for group in groups)


def _telling(
    state: _State, rows: BoolArray, predicted: FloatArray | None = None, share: float = _MANY_OFF
) -> bool:
    """Tell whether a group is off at all: in its middle, or more than a share of its rows."""
    if not rows.any():
        return False
    known = state.predicted if predicted is None else predicted
    residual = (state.evidence.measured - known)[rows]
    sigma = 1.3 * state.evidence.sigma[rows]
    for axis in range(3):
        values = residual[:, axis]
        there = np.isfinite(values)
        if not there.any():
            continue
        kind = 1 if axis == 2 else 0
        spread = sigma[there, kind]
        middle = abs(float(np.median(values[there])))
        noise = np.hypot(BIAS_M[kind], 1.25 * np.median(spread) / np.sqrt(there.sum()))
        if middle > 2.0 * noise or np.mean(np.abs(values[there]) > _FAR * spread) > share:
            return True
    return False


def _weight(state: _State, rows: BoolArray) -> FloatArray:
    """Return what each of these rows counts: all shots of a mark together as much as one stake."""
    weight = np.ones(int(rows.sum()))
    control = state.evidence.control[rows]
    if control.any():
        names = state.evidence.id[rows][control].astype(str)
        _, of, count = np.unique(names, return_inverse=True, return_counts=True)
        weight[control] = 1.0 / count[of.reshape(-1)]
    return weight


def _hopeless(state: _State, hypothesis: Hypothesis) -> bool:
    """Tell whether a cause of single rows cannot gain enough, by those rows alone.

    The noise of a large table hardly depends on them, and to fit all of it again takes long.
    """
    rows = hypothesis.concerned(state.evidence)
    moved = hypothesis.moved(state.evidence, state.predicted)[rows]
    measured, least = state.evidence.measured[rows], -np.log(min(SHARES))
    gain = _MARGIN - hypothesis.charge
    for fit, axes in ((state.plan, slice(0, 2)), (state.height, slice(2, 3))):
        now, then = (
            np.sum((measured - place)[:, axes] ** 2, axis=1)
            for place in (state.predicted[rows], moved)
        )
        there = np.isfinite(now) & np.isfinite(then)
        variance, count = fit.variance[rows][there], axes.stop - axes.start
        wide = badly_set(np.sqrt(now[there]), count) + least
        level = 0.5 * count * np.log(2.0 * np.pi * variance)
        before = np.minimum(wide, 0.5 * now[there] / variance + level)
        gain += float(np.sum(before - 0.5 * then[there] / variance - level))
    return gain < LEAST_GAIN


def _beyond(state: _State, hypothesis: Hypothesis) -> bool:
    """Tell whether a cause would leave most of its rows far beyond any noise: soon told."""
    rows = hypothesis.concerned(state.evidence)
    if hypothesis.on_lines:
        rows = rows[np.isfinite(state.evidence.right[rows, 0])]
    predicted = hypothesis.moved(state.evidence, state.predicted)[rows]
    left, times = state.evidence.measured[rows] - predicted, state.scaled(hypothesis)[rows]
    if state.widest is None:
        state.widest = (state.noise[0].widest(), state.noise[1].widest())
    for kind, axes in enumerate((slice(0, 2), slice(2, 3))):
        if np.nanmax(np.abs(predicted - state.predicted[rows])[:, axes], initial=0.0) > 0.0:
            size = np.sqrt(np.sum(left[:, axes] ** 2, axis=1)) / times[:, kind]
            off = size / (state.widest[kind][rows] + _ROUGH_M / times[:, kind])
            off = off[np.isfinite(off)]
            if len(off) and float(np.median(off)) > _WIDE:
                return True
    return False


def _scored(
    state: _State, proposed: Iterator[Hypothesis], rows: BoolArray | None
) -> list[tuple[float, Hypothesis]]:
    """Return the hypotheses that gain and reach the noise, with what they gain."""
    scored = []
    many = len(state.evidence) > 2 * _MOST_ROWS
    for hypothesis in proposed:
        if many and hypothesis.members is not None and _hopeless(state, hypothesis):
            continue
        if hypothesis.members is None and _beyond(state, hypothesis):
            continue
        gain, predicted, plan, height = state.tried(hypothesis)
        if gain < LEAST_GAIN:
            continue
        here = rows
        if hypothesis.members is not None:
            here = np.zeros(len(predicted), dtype=np.bool_)
            here[hypothesis.members] = True
        elif hypothesis.on_lines and here is not None:
            here = here & np.isfinite(state.evidence.right[:, 0])
        if here is None or not here.any():
            continue
        if hypothesis.told or _reaches(state, here, predicted, (plan, height)):
            scored.append((gain, hypothesis))
    return scored


def _reaches(state: _State, here: BoolArray, predicted: FloatArray, fits: tuple[Fit, Fit]) -> bool:
    """Tell whether enough of the rows that a cause moves would then be no more than noise off."""
    moved = predicted[here] - state.predicted[here]
    for fit, axes in zip(fits, (slice(0, 2), slice(2, 3)), strict=True):
        if np.nanmax(np.abs(moved[:, axes]), initial=0.0) > 0.0:
            compared = np.isfinite(state.evidence.measured[here] - predicted[here])
            there = compared[:, axes].all(axis=1)
            if there.any():
                share = np.average(fit.inlier[here][there], weights=_weight(state, here)[there])
                if share < _REACHED:
                    return False
    return True
