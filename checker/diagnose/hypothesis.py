"""What a hypothesis is: a cause, the rows that it may concern, and what it would do to them."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from checker.diagnose.evidence import DRAWN, Evidence
from checker.diagnose.fits import ComplexArray
from checker.diagnose.noise import BIAS_M
from checker.model.arrays import BoolArray, FloatArray, IntArray
from checker.model.diagnosis import Cause
from checker.model.measure import Item, Quantity
from checker.units import M_PER_FOOT, M_PER_US_SURVEY_FOOT

BASE_CHARGE = 4.0
"""Nats that every cause owes for being one: 1 to 50 against it before any residual is seen."""
TWO_PI = 2.0 * np.pi
LEAST_PLAN_M = 2.5 * BIAS_M[0]
LEAST_HEIGHT_M = 2.5 * BIAS_M[1]
"""A plain shift smaller than this may be a bias of the session."""
LEAST_FOOT_M = 0.02
"""Where the foot makes no more of coordinates than this, a bias does as much (our choice)."""
UNITS = {
    "metre": 1.0,
    "foot": M_PER_FOOT,
    "us-survey-foot": M_PER_US_SURVEY_FOOT,
    "inch": 0.0254,
    "centimetre": 0.01,
    "millimetre": 0.001,
}
ONE_OFFSET_M = 0.002
"""Offsets that differ less are one and the same."""
USUAL_POLES_M = (2.0, 1.8)
STEPS = ("session", "base", "day", "file")
"""What may split off shots that hang on another base or set-up."""

Apply = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Which rows a cause may concern.

    by, value: as in `Group`; by "all" with value "", "design" or "control".
    """

    by: str
    value: str
    charge: float = 0.0

    def rows(self, evidence: Evidence) -> BoolArray:
        """Return which rows belong to it."""
        if self.by == "all":
            if self.value == "":
                return np.ones(len(evidence), dtype=np.bool_)
            return evidence.control if self.value == "control" else ~evidence.control
        code = evidence.values[self.by].index(self.value)
        return np.asarray(evidence.codes[self.by] == code)

    @property
    def drawn(self) -> bool:
        """True where the fault would be the design's."""
        return self.by in DRAWN or self.value == "design"


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """Another grid that may have been taken. alike: others that put the points in the same places.

    of_design: the design would be on it, not the as-measured points. outside: the points would then
    lie where the job's own grid is not used.
    """

    code: str
    apply: Apply
    same_datum: bool
    of_design: bool
    outside: bool = False
    alike: tuple[str, ...] = ()


DRIFT_YEARS = (1995.0, 2035.0)
"""Between these an epoch that the job does not name may lie: satellites fixed no frame earlier."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """How another realization lies to the job's grid as the years go by.

    text: what was taken for what, {} for the epoch. first_m: shape (3,), north, east, up, at the
    first of `DRIFT_YEARS`. rate_m: shape (3,), a year.
    """

    text: str
    first_m: FloatArray
    rate_m: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What is known beside the residuals.

    combined_factor, convergence_rad: of the named grid at the site, NaN without. marks, ground:
    fixed points worth trying, east + i north: the control, the origin of the ground system.
    poles_m: legitimate settings. units_m: units of the files. shifts_m: what other realizations
    would do, with (dn, de, dz), where rows are off by such an amount; drifts: the
    same for every epoch; frames: the grid's datum is
    known, so that they could be. zones: yields what other grids would do to predicted points, given
    the as-measured ones.
    """

    combined_factor: float = np.nan
    convergence_rad: float = np.nan
    marks: tuple[complex, ...] = ()
    ground: complex | None = None
    poles_m: tuple[float, ...] = USUAL_POLES_M
    units_m: tuple[float, ...] = (1.0,)
    shifts_m: tuple[tuple[str, tuple[float, float, float]], ...] = ()
    drifts: tuple[Drift, ...] = ()
    frames: bool = False
    zones: Callable[[FloatArray, FloatArray], Iterator[Zone]] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypothesis:
    """A cause with the rows that it concerns and what it would do to them.

    apply: predicted points of those rows, shape (rows, 3), to where they would be measured; or
    across_m: to the right of each row's own line; or other_side: each row to where it stands on the
    other side of its line. halves: half widths of 95 % intervals. members:
    for causes of single rows, indices of the evidence; None: the whole part. ids: their numbers.
    times: by how much the noise of the rows was scaled together with their numbers; flat: in plan
    only. told: what is asked of the rows was asked when it was proposed, and they need not reach
    the noise: the same stake may be badly set beside.
    """

    cause: Cause
    part: Part
    charge: float
    apply: Apply | None = None
    across_m: float = 0.0
    other_side: bool = False
    halves: tuple[Item, ...] = ()
    members: IntArray | None = None
    ids: tuple[str, ...] = ()
    times: float = 1.0
    flat: bool = False
    told: bool = False

    @property
    def on_lines(self) -> bool:
        """Whether it moves rows across their own lines."""
        return self.other_side or self.across_m != 0.0

    def concerned(self, evidence: Evidence) -> IntArray:
        """Return the indices of the rows that it concerns."""
        if self.members is not None:
            return self.members
        return np.flatnonzero(self.part.rows(evidence))

    def moved(self, evidence: Evidence, predicted: FloatArray) -> FloatArray:
        """Return where the cause would put the points; predicted: shape (rows, 3)."""
        rows = self.concerned(evidence)
        result = predicted.copy()
        if self.apply is not None:
            result[rows] = self.apply(predicted[rows])
        if self.on_lines:
            across = np.full(len(rows), self.across_m)
            if self.other_side:
                across = -2.0 * np.nan_to_num(evidence.set_off_m[rows])
            result[rows, :2] += across[:, None] * np.nan_to_num(evidence.right[rows])
        return result


def length(key: str, value: float) -> Item:
    """Return a length of a parameter."""
    return Item(key=key, label=key, quantity=Quantity.LENGTH, value=float(value))


def wrong_side(offsets_m: FloatArray) -> Cause:
    """Return the cause of stakes on the other side; offsets_m: their own, of one size or several.

    across is of the first side and size where they differ.
    """
    across = -2.0 * offsets_m
    first = float(np.median(across[np.abs(across - across[0]) < ONE_OFFSET_M]))
    facts = [length("across", first)]
    if np.ptp(across) > ONE_OFFSET_M:
        facts.append(
            Item(key="one_offset", label="one offset", quantity=Quantity.FLAG, value=False)
        )
    return Cause(blunder="wrong-side", parameter=tuple(facts))


def item(key: str, quantity: Quantity, value: float | str | None) -> Item:
    """Return a number or a word of a parameter."""
    return Item(key=key, label=key, quantity=quantity, value=value)


def mapped(mapping: Callable[[ComplexArray], ComplexArray]) -> Apply:
    """Return a move in plan given for places east + i north."""

    def apply(points: FloatArray) -> FloatArray:
        moved = mapping(points[:, 1] + 1j * points[:, 0])
        return np.column_stack((moved.imag, moved.real, points[:, 2]))

    return apply


def shifted(dn: float, de: float, dz: float = 0.0) -> Apply:
    """Return the move by one vector."""
    vector = np.array((dn, de, dz))
    return lambda points: points + vector


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """The rows of a part.

    rows: those that can be compared in plan; tall: those in height. coarse: by how much their noise
    was scaled together with their numbers.
    """

    part: Part
    evidence: Evidence
    rows: BoolArray
    tall: BoolArray
    predicted: FloatArray
    setting: Setting
    coarse: float = 1.0

    @property
    def known(self) -> ComplexArray:
        """Predicted points."""
        here = self.predicted[self.rows]
        return np.asarray(here[:, 1] + 1j * here[:, 0])

    @property
    def measured(self) -> ComplexArray:
        """As-measured points."""
        here = self.evidence.measured[self.rows]
        return np.asarray(here[:, 1] + 1j * here[:, 0])

    @property
    def sigma(self) -> FloatArray:
        """Standard deviations of a plan axis."""
        return np.asarray(self.evidence.sigma[self.rows, 0] * self.coarse)

    @property
    def sessions(self) -> int:
        """How many sessions share their bias out."""
        bias = self.evidence.bias
        return len(np.unique(bias[self.rows | self.tall])) if len(bias) else 1

    def make(
        self,
        blunder: str,
        apply: Apply,
        charge: float,
        *parameter: Item,
        about: complex | None = None,
        halves: tuple[Item, ...] = (),
    ) -> Hypothesis:
        """Return a hypothesis for the whole part."""
        return Hypothesis(
            cause=Cause(
                blunder=blunder,
                parameter=parameter,
                about_m=None if about is None else (about.imag, about.real),
            ),
            part=self.part,
            charge=BASE_CHARGE + self.part.charge + max(charge, 0.0),
            apply=apply,
            halves=halves,
        )


def ratios(view: View, ratio: float) -> Iterator[tuple[float, str, str]]:
    """Yield ratios of two units near one that was found, each once, with their names."""
    seen: list[float] = []
    for true, of_true in UNITS.items():
        for taken, of_taken in UNITS.items():
            factor = of_true / of_taken if view.part.drawn else of_taken / of_true
            if abs(np.log(factor)) < 1e-4 or abs(np.log(max(ratio, 1e-12) / factor)) > 0.05:
                continue
            if any(abs(factor / other - 1.0) < 1e-9 for other in seen):
                continue
            seen.append(factor)
            yield factor, true, taken
