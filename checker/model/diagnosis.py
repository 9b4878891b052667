"""What a diagnosis says: one common cause that would explain residuals. It corrects nothing."""

from dataclasses import dataclass, field

from checker.model.arrays import FloatArray
from checker.model.measure import Item


@dataclass(frozen=True, slots=True, kw_only=True)
class AppliesTo:
    """Which rows a cause concerns.

    check: name of the check, "" where several are concerned. by: the column that splits the group
    off (session, base, pole, file, day, layer), or "all". group: its value; with "all" it is
    "design" or "control" where that side alone is concerned, else "". ids: the points, where single
    ones are meant.
    """

    check: str
    by: str
    group: str
    ids: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """A cause of the closed list with its parameters.

    parameter: numbers and words, lengths in metres, angles in radians. about_m: northing and
    easting of the point that a turn or a scale leaves where it is, None where it has none. ids: the
    points that a parameter names. decides: of a cause that cannot be told from another, the one
    observation that would tell them apart, "" elsewhere.
    """

    blunder: str
    parameter: tuple[Item, ...] = ()
    about_m: tuple[float, float] | None = None
    ids: tuple[str, ...] = ()
    decides: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Explained:
    """Residuals without and with a cause, for a figure: some hundreds of its rows at most.

    before_m, after_m: shape (rows, 3), north, east, up, NaN where nothing is compared. count: of
    all rows that it concerns.
    """

    before_m: FloatArray
    after_m: FloatArray
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """One separate cause.

    support: what speaks for it: points, rms before and after, the gain in log likelihood after all
    charges, half widths of 95 % intervals of free parameters. also: what the residuals cannot tell
    from it. says: whole sentences. concerns: names of the checks whose rows it touches. explained:
    None where there is nothing to draw.
    """

    cause: Cause
    applies_to: AppliesTo
    support: tuple[Item, ...]
    also: tuple[Cause, ...]
    says: str
    concerns: tuple[str, ...] = ()
    explained: Explained | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Power:
    """Whether the job's data could have shown a cause; says: why, in a sentence."""

    blunder: str
    could_show: bool
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosed:
    """All that was found, and what the data are blind to."""

    diagnoses: tuple[Diagnosis, ...] = ()
    power: tuple[Power, ...] = ()
