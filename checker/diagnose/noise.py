"""How likely residuals are: Gaussian noise of a few possible sizes, badly set points beside it.

A row is an inlier with variance (s sigma)^2 + q^2, or, with a small probability, something else:
a single point that is off by any amount, with a density that is the same at every scale. s leaves
room for stored standard deviations that are too small, q for how well stakes are set; both are
chosen for each check from a short list, each step at a charge. Every session may have a bias of a
few millimetres in common. The result is a negative log likelihood in nats, so that causes can be
weighed against each other (comparison of models by their marginal likelihood, approximated as
Laplace did; textbook statistics, common practice).
"""

from dataclasses import dataclass, field, replace

import numpy as np

from checker.diagnose.evidence import Evidence
from checker.model.arrays import BoolArray, FloatArray, IntArray

BIAS_M = (0.004, 0.006)
"""Standard deviation of a session's common bias: each plan axis, height."""
CORE_M = 0.005
"""Below this size the density of a badly set point stays flat."""
ROUNDING_M = 0.0003
"""Standard deviation of what is left when numbers are written to a millimetre."""
DECADES = float(np.log(1e3 / CORE_M))
"""Logarithm of the range of sizes that a badly set point may have."""
SHARES = (0.02, 0.12)
"""What share of the rows single errors may be."""
_SHARE_COST = (0.0, 2.0)

_STATED = ((1.0, 0.0, 0.0), (1.4, 0.0, 0.7), (1.7, 0.0, 1.2))
_SHOWN = {
    "stake": (
        (
            *(*_STATED, (1.0, 0.008, 1.0), (1.4, 0.016, 1.5), (1.4, 0.032, 2.5)),
            *((1.4, 0.064, 4.0), (1.4, 0.13, 6.0)),
        ),
        (
            *(*_STATED, (1.0, 0.012, 1.0), (1.4, 0.025, 1.5), (1.4, 0.05, 2.0)),
            *((1.4, 0.1, 3.0), (1.4, 0.3, 4.0), (1.4, 1.0, 6.0)),
        ),
    ),
    "control": (
        (*_STATED, (1.4, 0.008, 2.0), (1.4, 0.016, 4.0)),
        (*_STATED, (1.4, 0.012, 2.0), (1.4, 0.025, 4.0)),
    ),
}
"""What noise may be where standard deviations are shown: s, q in metres, charge; plan, height."""
_USUAL = ((0.4, 0.0, 1.0), (0.7, 0.0, 0.5), (1.0, 0.0, 0.0))
_NOT_SHOWN = {
    "stake": (
        (
            *(*_USUAL, (1.5, 0.0, 0.5), (2.2, 0.0, 1.0)),
            *((3.5, 0.0, 2.0), (6.0, 0.0, 4.0), (12.0, 0.0, 6.0)),
        ),
        (
            *(*_USUAL, (1.5, 0.0, 0.5), (2.2, 0.0, 1.0)),
            *((4.0, 0.0, 2.0), (8.0, 0.0, 3.0), (20.0, 0.0, 4.0), (70.0, 0.0, 6.0)),
        ),
    ),
    "control": (
        (*_USUAL, (1.5, 0.0, 0.7), (2.2, 0.0, 1.5)),
        (*_USUAL, (1.5, 0.0, 0.7), (2.2, 0.0, 1.5)),
    ),
}
"""The same where none are shown, times the usual ones."""
_ANYWHERE = (
    *(*_STATED, (1.4, 0.025, 1.0), (1.4, 0.06, 1.0)),
    *((1.4, 0.13, 1.0), (1.4, 0.3, 1.5), (1.4, 0.7, 3.0)),
)
"""The same in plan where nothing limits it, as for stakes whose height alone counts."""
_OPTIONS = 9
_NEVER = 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """How well residuals of one component fit.

    nats: negative log likelihood with its charges. inlier: shape (rows,), probability that a row
    is no single error; 0 where nothing is compared. variance: shape (rows,), the chosen one;
    option: shape (sections,), which it is.
    """

    nats: float
    inlier: FloatArray
    variance: FloatArray
    option: IntArray


@dataclass(slots=True)
class Noise:
    """The noise model of one component (0: plan, 1: height) of a table of evidence."""

    component: int
    variance: FloatArray
    charge: FloatArray
    starts: IntArray
    row_of: IntArray
    bias: IntArray
    axes: int
    sigma: FloatArray
    levels: dict[float, tuple[FloatArray, FloatArray]] = field(default_factory=dict)

    @classmethod
    def of(cls, evidence: Evidence, component: int) -> "Noise":
        """Return the model; evidence: sorted by section."""
        rows = len(evidence)
        sigma = evidence.sigma[:, component]
        variance = np.full((_OPTIONS, rows), 1.0)
        present = np.unique(evidence.section)
        charge = np.full((_OPTIONS, len(present)), _NEVER)
        starts = np.searchsorted(evidence.section, present)
        place = np.searchsorted(present, evidence.section)
        for index, start in enumerate(starts.tolist()):
            of = place == index
            proof = evidence.control[start] and not evidence.tested[start]
            kind = "control" if proof else "stake"
            shown = bool(np.mean(evidence.shown[of, component]) > 0.5)
            options = (_SHOWN if shown else _NOT_SHOWN)[kind][component]
            if component == 0 and evidence.anywhere[start]:
                options = _ANYWHERE
            for number, (times, added, cost) in enumerate(options):
                variance[number, of] = (times * sigma[of]) ** 2 + added**2
                charge[number, index] = cost
        bias = evidence.bias if len(evidence.bias) else np.zeros(rows, dtype=np.int64)
        return cls(
            component=component,
            variance=variance,
            charge=charge,
            starts=starts,
            row_of=place,
            bias=bias,
            axes=2 if component == 0 else 1,
            sigma=sigma,
        )

    def widest(self) -> FloatArray:
        """Return the largest standard deviation that each row may have; shape (rows,)."""
        there = (self.charge < _NEVER)[:, self.row_of]
        return np.asarray(np.sqrt(np.where(there, self.variance, 0.0).max(axis=0)))

    def settled(self, option: IntArray) -> "Noise":
        """Return the model with one option a section, as a sample of the rows has chosen it."""
        rows = np.arange(self.variance.shape[1])
        return replace(
            self,
            variance=self.variance[option[self.row_of], rows][None],
            charge=self.charge[option, np.arange(len(option))][None],
            levels={},
        )

    def fit(self, residual: FloatArray, times: FloatArray) -> Fit:
        """Return how well residuals fit; shape (rows, axes), NaN where nothing is compared.

        times: shape (rows,), by how much a row's noise was scaled together with its numbers.
        """
        there: BoolArray = np.asarray(np.isfinite(residual).all(axis=1))
        residual = residual / times[:, None]
        if not there.any():
            zero = np.zeros(len(residual))
            first = np.zeros(len(self.starts), dtype=np.int64)
            return Fit(nats=0.0, inlier=zero, variance=self.variance[0], option=first)
        clean = np.where(there[:, None], residual, 0.0)
        tau2 = BIAS_M[self.component] ** 2
        # What was written to a millimetre in a larger unit was written coarsely.
        coarse = bool((times < 1.0).any())
        rounding = np.where(times < 1.0, (ROUNDING_M / times) ** 2, 0.0) if coarse else 0.0
        loose = self._mixture(clean, there, tau2 + rounding)
        weight = loose.inlier / loose.variance
        total = np.bincount(self.bias, weights=weight)
        shift = np.column_stack(
            [
                np.bincount(self.bias, weights=weight * clean[:, axis]) / (total + 1.0 / tau2)
                for axis in range(self.axes)
            ]
        )
        known = self._mixture(clean - shift[self.bias], there, rounding)
        prior = 0.5 * float(np.sum(shift**2)) / tau2
        prior += 0.5 * self.axes * float(np.sum(np.log1p(total * tau2)))
        # A density of numbers that are so much larger is so much thinner.
        prior += self.axes * float(np.log(times[there]).sum())
        return replace(known, nats=known.nats + prior)

    def _level(self, more: FloatArray | float) -> tuple[FloatArray, FloatArray]:
        """Return variances with so much more, and the logarithm of their densities' height."""
        known = self.levels.get(more) if isinstance(more, float) else None
        if known is None:
            variance = self.variance + more
            known = variance, -0.5 * self.axes * np.log(2.0 * np.pi * variance)
            if isinstance(more, float):
                self.levels[more] = known
        return known

    def _mixture(self, residual: FloatArray, there: BoolArray, more: FloatArray | float) -> Fit:
        square = np.sum(residual**2, axis=1)
        variance, level = self._level(more)
        inside = level - 0.5 * square / variance
        apart = -badly_set(np.sqrt(square), self.axes)
        best_nats = np.full((len(SHARES), *self.charge.shape), 0.0)
        both = []
        # The second term is never small, so nothing is lost by adding the densities themselves; to
        # add their logarithms as such takes many times as long.
        density, density_apart = np.exp(inside), np.exp(apart)
        for number, share in enumerate(SHARES):
            mixed = np.log((1.0 - share) * density + share * density_apart)
            both.append(mixed)
            sums = np.add.reduceat(np.where(there, mixed, 0.0), self.starts, axis=1)
            best_nats[number] = -sums + self.charge + _SHARE_COST[number]
        flat = best_nats.reshape(-1, best_nats.shape[-1])
        chosen = flat.argmin(axis=0)
        nats = float(flat[chosen, np.arange(flat.shape[1])].sum())
        share_of = (chosen // self.charge.shape[0])[self.row_of]
        option_of = (chosen % self.charge.shape[0])[self.row_of]
        rows = np.arange(len(residual))
        ln_in = np.log1p(-np.asarray(SHARES))[share_of] + inside[option_of, rows]
        mixed_of = np.where(share_of == 0, both[0][option_of, rows], both[1][option_of, rows])
        return Fit(
            nats=nats,
            inlier=np.where(there, np.exp(np.minimum(ln_in - mixed_of, 0.0)), 0.0),
            variance=variance[option_of, rows],
            option=chosen % self.charge.shape[0],
        )


def badly_set(size_m: FloatArray, axes: int) -> FloatArray:
    """Return minus the log density of a single error of that size: alike at every scale."""
    if axes == 2:
        return np.asarray(np.log(2.0 * np.pi * (size_m**2 + CORE_M**2) * DECADES))
    return np.asarray(np.log(2.0 * (np.abs(size_m) + CORE_M) * DECADES))
