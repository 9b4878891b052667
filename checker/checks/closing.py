"""What the checks that are judged as one have in common: looking up control, making the measure."""

import difflib
from collections.abc import Sequence
from typing import NoReturn

import numpy as np

from checker.errors import InputError, Problem, Where
from checker.lengths import small_text
from checker.model.arrays import FloatArray, TextArray
from checker.model.finding import Verdict
from checker.model.inputs import Inputs
from checker.model.job import CheckSection, Tolerance
from checker.model.measure import Column, Comparison, Item, Measure, Quantity, Supplement
from checker.text import signed
from checker.units import LengthUnit


def refuse(slug: str, where: Where, message: str, hint: str) -> NoReturn:
    """Raise InputError with one problem."""
    raise InputError([Problem(slug=slug, where=where, message=message, hint=hint)])


def find_control(inputs: Inputs, name: str, role: str, where: Where) -> int:
    """Return the index of a control point; the first where its line stands twice.

    role: what the job wants it for ("start"), for the message. Raises InputError at `where` with
    the nearest ids where the control file has no such point.
    """
    control = inputs.control
    if control is None:
        refuse(
            "unknown-control",
            where,
            f'{role} = "{name}" is a control point, but the job has no [control]',
            "name the file of known points under [control]",
        )
    ids = [str(text).strip() for text in control.id]
    if name.strip() in ids:
        return ids.index(name.strip())
    near = difflib.get_close_matches(name.strip(), dict.fromkeys(ids), n=3, cutoff=0.5)
    files = ", ".join(control.files)
    refuse(
        "unknown-control",
        where,
        f'{role} = "{name}": {files} has no point of that id',
        f"the nearest there: {', '.join(near)}" if near else f"add the point to {files}",
    )


def known_points(inputs: Inputs) -> dict[str, int]:
    """Return the index of every control point by its id."""
    if inputs.control is None:
        return {}
    found: dict[str, int] = {}
    for index, text in enumerate(inputs.control.id):
        found.setdefault(str(text).strip(), index)
    return found


def stripped(names: TextArray) -> list[str]:
    """Return the names of a book's column without blanks around them."""
    return [str(name).strip() for name in names]


def length_text(value_m: float, unit: LengthUnit, *, plus: bool = True) -> str:
    """Return a length for a remark, "+0.012 ft" or "+3.7 mm": 3 decimals of a foot, 1 of a mm."""
    return small_text(value_m, unit, decimals=_decimals(unit), plus=plus)


def reading_text(value_m: float, unit: LengthUnit, *, plus: bool = True) -> str:
    """Return the same for a reading or a sum of readings, which stays in the job's unit."""
    text = signed(unit.from_metres(value_m), _decimals(unit))
    return f"{text if plus else text.removeprefix('+')} {unit.short}"


def _decimals(unit: LengthUnit) -> int:
    return 4 if unit is LengthUnit.METRE else 3


def once(
    limit: str,
    label: str,
    value: float,
    *,
    n: float | None = None,
    length_m: float | None = None,
    absent: str = "",
) -> Comparison:
    """Return a comparison for the whole check; value NaN where it is `absent`, then undecided."""
    return Comparison(
        limit=limit,
        label=label,
        value=np.array([value], dtype=np.float64),
        n=None if n is None else np.array([n], dtype=np.float64),
        length_m=None if length_m is None else np.array([length_m], dtype=np.float64),
        absent=np.array([absent], dtype=object) if absent else None,
        absent_verdict=np.array([int(Verdict.UNDECIDED)], dtype=np.int8) if absent else None,
    )


def compared(
    tolerance: Tolerance | None, comparisons: Sequence[Comparison], remarks: list[str]
) -> tuple[Comparison, ...]:
    """Return the comparisons to be judged; remarks takes what a shared tolerance limits in vain.

    A limit that a check states for itself must be shown to hold. A tolerance with a name serves
    several checks: what this one has nothing of is said, and not asked for.
    """
    found = []
    for each in comparisons:
        limited = tolerance is not None and getattr(tolerance, each.limit) is not None
        named = tolerance is not None and bool(tolerance.name)
        if each.absent is not None and (named or not limited):
            text = str(each.absent[0])
            if limited:
                remarks.append(f"{text[:1].upper()}{text[1:]}: that limit was not used.")
            continue
        found.append(each)
    return tuple(found)


def column(
    key: str,
    label: str,
    quantity: Quantity,
    values: FloatArray | TextArray,
    *,
    detail: bool = False,
) -> Column:
    """Return a column of numbers or texts; shape (rows,)."""
    return Column(key=key, label=label, quantity=quantity, values=values, detail=detail)


def item(key: str, label: str, quantity: Quantity, value: float | None) -> Item:
    """Return a number of the summary; NaN is None."""
    known = None if value is None or np.isnan(value) else float(value)
    return Item(key=key, label=label, quantity=quantity, value=known)


def whole_measure(  # noqa: PLR0913  (one for each part of the report)
    kind: str,
    section: CheckSection,
    *,
    row_id: TextArray,
    columns: Sequence[Column],
    summary: Sequence[Item],
    comparisons: Sequence[Comparison],
    remarks: Sequence[str],
    undecided: str = "",
    supplements: Sequence[Supplement] = (),
) -> Measure:
    """Return the measure of a check that gets one verdict: its rows only show."""
    rows = len(row_id)
    blank = np.full(rows, "", dtype=object)
    return Measure(
        kind=kind,
        name=section.name,
        where=section.where,
        tolerance=section.tolerance,
        id=row_id,
        columns=tuple(columns),
        summary=tuple(summary),
        comparisons=tuple(comparisons),
        judged_by_row=False,
        shots=np.full((rows, 1), -1, dtype=np.int64),
        used=np.empty(0, dtype=np.int64),
        unchecked=blank,
        undecided=blank.copy(),
        said=blank.copy(),
        counted=np.ones(rows, dtype=np.bool_),
        whole_undecided=undecided,
        remarks=tuple(remarks),
        supplements=tuple(supplements),
    )
