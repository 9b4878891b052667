"""What the verdicts hand to the report."""

from dataclasses import dataclass, field
from enum import IntEnum, StrEnum

import numpy as np

from checker.model.arrays import BoolArray, CodeArray, FloatArray, IntArray, TextArray
from checker.model.diagnosis import Diagnosed
from checker.model.frame import SiteFrame
from checker.model.inputs import Inputs
from checker.model.job import Job
from checker.model.measure import Item, Measure


class Verdict(IntEnum):
    """The four verdicts; the larger is the worse. Arrays hold them as int8."""

    WITHIN = 0
    UNCHECKED = 1
    UNDECIDED = 2
    OUTSIDE = 3

    @property
    def word(self) -> str:
        """The word that every output uses."""
        return self.name.lower()


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """One comparison against its limits; arrays shaped as the comparison's value.

    lower, upper: signed limits (metres, radians; ratio as 1/N); infinite on a side without a limit.
    guard: expanded uncertainty that was added and subtracted; 0 for the simple rule.
    share: how much of the limit is used, 1 at the limit; NaN where nothing was compared.
    """

    limit: str
    label: str
    value: FloatArray
    lower: FloatArray
    upper: FloatArray
    guard: FloatArray
    share: FloatArray
    verdict: CodeArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A measure with its verdicts.

    row_verdict, row_reason, row_close, row_share, p_within: shape (rows,); where the measure is not
    judged by row they are empty (shape (0,)). p_within is NaN where it cannot be said.
    share: the largest share of a limit that the check uses, NaN where nothing was compared.
    summary: the measure's, followed by the limits that the tolerance gave. unproven: two sentences
    about what a plain comparison would pass and the uncertainty does not, or "". row_elsewhere:
    where it is worse than the row's own, the worst verdict of other checks that rest on the row's
    shot; shape (rows,), or (0,) where no other check holds anything.
    """

    measure: Measure
    summary: tuple[Item, ...]
    verdict: Verdict
    reason: str
    close: bool
    share: float
    judgements: tuple[Judgement, ...]
    row_verdict: CodeArray
    row_reason: TextArray
    row_close: BoolArray
    row_share: FloatArray
    p_within: FloatArray
    unproven: str = ""
    row_elsewhere: CodeArray = field(default_factory=lambda: np.empty(0, dtype=np.int8))

    @property
    def row_hold(self) -> BoolArray:
        """True where nothing is to be built from the row: outside or undecided, here or elsewhere.

        Shape as row_verdict.
        """
        if not len(self.row_elsewhere):
            return self.row_verdict >= Verdict.UNDECIDED
        return np.maximum(self.row_verdict, self.row_elsewhere) >= Verdict.UNDECIDED


BESIDE_THE_VERDICT = (
    *("placeholder-limits", "limits-without-source", "large-limit"),
    *("header-unit", "which-foot", "header-foot", "elsewhere", "swapped-axes", "drawing-elsewhere"),
    *("shots-are-design", "control-otherwise", "older-unit"),
)
"""Notices without which a verdict could be taken for more than it is, in the order of telling."""


class Open(StrEnum):
    """What a verdict leaves open."""

    PLAN = "plan"
    HEIGHT = "height"
    CONTROL = "control"
    PRECISION = "precision"
    SHOTS = "shots"


@dataclass(frozen=True, slots=True, kw_only=True)
class Unjudged:
    """Something that was compared, or could be thought to be, and was not judged; as sentences."""

    what: Open
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Results:
    """All of a job's findings.

    counts: how many counted rows (or checks that are judged as one) have each verdict.
    unused: indices of as-measured points that no check compared.
    doubts: for every as-measured point why verdicts that rest on it are undecided, or "".
    frame: the named grid at the site, None where none that is known is named.
    diagnosed: common causes that would explain the residuals; they change no verdict.
    unjudged: what the verdict leaves open. replaces: the title of another job whose report stood in
    the same folder, or "".
    """

    job: Job
    inputs: Inputs
    findings: tuple[Finding, ...]
    verdict: Verdict
    counts: dict[Verdict, int]
    unused: IntArray
    doubts: TextArray
    frame: SiteFrame | None = None
    diagnosed: Diagnosed = field(default_factory=Diagnosed)
    unjudged: tuple[Unjudged, ...] = ()
    replaces: str = ""

    @property
    def beware(self) -> tuple[str, ...]:
        """What must stand beside the verdict of what was noticed, each with its file."""
        told = [notice for notice in self.inputs.notices if notice.slug in BESIDE_THE_VERDICT]
        told.sort(key=lambda notice: BESIDE_THE_VERDICT.index(notice.slug))
        return tuple(
            dict.fromkeys(
                f"{notice.message}."
                if notice.where.file == self.job.file
                else f"{notice.where.file}: {notice.message}."
                for notice in told
            )
        )
