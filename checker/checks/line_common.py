"""What the checks of shots beside a line share: their rows, names and places, a row a shot."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from checker.checks.closing import column, item, length_text
from checker.checks.course import BEYOND_M, Course
from checker.checks.selecting import check_shots, control_remarks, in_order_of_time, place
from checker.checks.shots import Shots
from checker.checks.staking import offset_remark
from checker.geometry.elements import rightward
from checker.geometry.feet import Feet
from checker.model.arrays import BoolArray, FloatArray, IntArray, TextArray
from checker.model.inputs import Inputs
from checker.model.job import Selection, Stakeout
from checker.model.measure import Column, Comparison, Item, Quantity
from checker.model.points import Points, Quality
from checker.units import LengthUnit


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """The shots that get a row; every array of shape (rows,)."""

    shot: IntArray
    superseded: BoolArray
    unchecked: TextArray
    checks: int

    def take(self, kept: BoolArray) -> "Rows":
        """Return some of the rows."""
        return replace(
            self,
            shot=self.shot[kept],
            superseded=self.superseded[kept],
            unchecked=self.unchecked[kept],
        )


def shots_of(selection: Selection, inputs: Inputs, shots: Shots) -> Rows:
    """Return the selected shots but those that prove control, and which of them are set aside."""
    proof = check_shots(inputs, shots.points)[shots.chosen]
    chosen = shots.chosen[~proof]
    aside = shots.reason[chosen] != ""
    if selection.everything:
        chosen, aside = chosen[~aside], aside[~aside]
    unchecked: TextArray = np.full(len(chosen), "", dtype=object)
    for row in np.flatnonzero(aside).tolist():
        unchecked[row] = f"excluded: {shots.reason[chosen[row]]}"
    return Rows(
        shot=chosen,
        superseded=_superseded(shots, chosen, aside),
        unchecked=unchecked,
        checks=int(proof.sum()),
    )


def _superseded(shots: Shots, chosen: IntArray, aside: BoolArray) -> BoolArray:
    """Return which shots a later one of the same number replaces."""
    gone = np.zeros(len(chosen), dtype=np.bool_)
    live = np.flatnonzero(~aside & (shots.id[chosen] != ""))
    names, group = np.unique(shots.id[chosen[live]].astype(str), return_inverse=True)
    if len(names) == len(live):
        return gone
    order = in_order_of_time(shots.points, group, chosen[live])
    same = np.append(group[order][1:] == group[order][:-1], False)
    gone[live[order]] = same
    return gone


def row_names(shots: Shots, rows: Rows) -> TextArray:
    """Return the numbers of the rows, and for those without one where they were read; (rows,)."""
    names: TextArray = shots.id[rows.shot].copy()
    for row in np.flatnonzero(names == "").tolist():
        names[row] = place(shots.points, int(rows.shot[row]))
    return names


def wanted_points(
    names: TextArray,
    northing_m: FloatArray,
    easting_m: FloatArray,
    elevation_m: FloatArray,
    layer: TextArray | None = None,
) -> Points:
    """Return where shots should be, as points that were computed and stand in no file; (rows,)."""
    rows = len(names)
    blank: TextArray = np.full(rows, "", dtype=object)
    nowhere = np.zeros(rows, dtype=np.int64)
    return Points(
        id=names,
        northing_m=northing_m,
        easting_m=easting_m,
        elevation_m=elevation_m,
        description=blank,
        layer=blank if layer is None else layer,
        handle=blank,
        file=nowhere,
        line=nowhere,
        files=("",),
        quality=Quality(),
    )


def off_the_ends(rows: Rows, feet: Feet, course: Course, unit: LengthUnit) -> TextArray:
    """Return why rows are not compared: set aside, or beyond the ends of the alignment; (rows,)."""
    unchecked = rows.unchecked.copy()
    beyond = beyond_m(feet, course)
    for row in np.flatnonzero((np.abs(beyond) > BEYOND_M) & (unchecked == "")).tolist():
        end = "before the start" if beyond[row] < 0.0 else "past the end"
        past = length_text(float(abs(beyond[row])), unit, plus=False)
        unchecked[row] = f"{past} {end} of {course.name}"
    return unchecked


def beyond_m(feet: Feet, course: Course) -> FloatArray:
    """Return how far shots are past the end of an alignment, - before its start, else 0."""
    return np.asarray(feet.distance_m - np.clip(feet.distance_m, 0.0, course.alignment.length_m))


def in_two_places(feet: Feet, course: Course) -> TextArray:
    """Return of which rows it is not clear where they stand on the alignment, or ""; (rows,)."""
    doubtful: TextArray = np.full(len(feet.distance_m), "", dtype=object)
    doubtful[feet.rivals > 0] = f"as near to two places of {course.name}"
    return doubtful


def heights_where_clear(vertical: Comparison, unclear: BoolArray) -> tuple[Comparison, ...]:
    """Return the comparison of heights; where another place is as near, a miss is only a doubt.

    unclear: shape (rows,). Which of two places is taken first must not make a row outside.
    """
    if not unclear.any():
        return (vertical,)
    return (
        replace(vertical, applies=~unclear),
        replace(vertical, applies=unclear, hint=True),
    )


def aside(
    xy: FloatArray, on: FloatArray, offset: FloatArray, direction: FloatArray, vertex: BoolArray
) -> FloatArray:
    """Return unit vectors to the right of the line; outside a kink towards the shot or from it."""
    right = rightward(direction)
    turned = np.flatnonzero(vertex & (np.abs(offset) > 1e-9))
    right[turned] = (xy[turned] - on[turned]) / offset[turned, None]
    return right


def staked_again(rows: Rows) -> TextArray:
    """Return what to say of rows that a later shot replaces, or ""; shape (rows,)."""
    said: TextArray = np.full(len(rows.shot), "", dtype=object)
    said[rows.superseded] = "staked again later"
    return said


def description_column(texts: TextArray) -> Column:
    """Return the column of the shots' descriptions."""
    return column("description", "Description", Quantity.TEXT, texts, detail=True)


def across_items(across: FloatArray) -> tuple[Item, ...]:
    """Return mean, root mean square and largest of offsets; None where there is none."""
    many = bool(across.size)
    return (
        item("mean_across", "Mean across", Quantity.LENGTH, across.mean() if many else None),
        item(
            "rms_across",
            "RMS across",
            Quantity.LENGTH,
            float(np.sqrt(np.mean(across**2))) if many else None,
        ),
        item(
            "max_abs_across",
            "Largest across, either way",
            Quantity.LENGTH,
            float(np.abs(across).max()) if many else None,
        ),
    )


def line_remarks(
    section: Stakeout,
    rows: Rows,
    course: Course | None,
    unit: LengthUnit,
    found: Sequence[str] = (),
) -> tuple[str, ...]:
    """Return what must be said of a check of shots beside a line as a whole.

    found: what was seen of the line itself.
    """
    return (
        *control_remarks(rows.checks),
        *found,
        *(() if course is None else course.remarks),
        *(
            (offset_remark(section.stake_offset_m, "the line", unit),)
            if section.stake_offset_m
            else ()
        ),
    )
