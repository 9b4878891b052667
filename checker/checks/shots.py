"""Which shot speaks for a mark: selected, not excluded, the latest of its number."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from checker.checks.selecting import (
    all_different,
    exclusion_reasons,
    in_order_of_time,
    need_points,
    place,
    select_points,
    stripped_ids,
    unique_points,
)
from checker.errors import InputError, Problem, Where
from checker.model.arrays import BoolArray, FloatArray, IntArray, TextArray, same_text, taken
from checker.model.inputs import Inputs
from checker.model.job import CheckSection, Job, Selection
from checker.model.points import Points
from checker.units import SigmaLevel

_SAME_PLACE_M = 1.0
"""A number shot again within this distance is the same place, finished or mended."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shots:
    """The selected as-measured points and what sets some aside.

    chosen: indices of the selected points. id, reason: shape (as-measured points,): the number, and
    why the user excluded the point, or "".
    """

    points: Points
    chosen: IntArray
    id: TextArray
    reason: TextArray

    @property
    def live(self) -> IntArray:
        """Indices of the selected points that are not excluded."""
        live: IntArray = self.chosen[self.reason[self.chosen] == ""]
        return live

    def latest(self) -> tuple[dict[str, int], int]:
        """Return the shot that governs each number, and how many earlier ones it supersedes."""
        live = self.live
        names = self.id[live].tolist()
        code = {name: number for number, name in enumerate(dict.fromkeys(names))}
        group = np.array([code[name] for name in names], dtype=np.int64)
        order = in_order_of_time(self.points, group, live)
        governs = {names[place]: int(live[place]) for place in order.tolist() if names[place]}
        return governs, sum(bool(name) for name in names) - len(governs)

    def why_absent(self, name: str) -> str:
        """Return why no shot speaks for a number: excluded, or never measured."""
        aside = self.chosen[(self.id[self.chosen] == name) & (self.reason[self.chosen] != "")]
        if aside.size:
            return f"{name} is excluded: {self.reason[aside[0]]}"
        return f"{name} was not measured"


def select_shots(section: CheckSection, selection: Selection, inputs: Inputs, job: Job) -> Shots:
    """Return the selected shots; raises InputError with all that is wrong with the selection."""
    problems: list[Problem] = []
    points = need_points(inputs.measured, "measured", section.where)
    chosen = np.empty(0, dtype=np.int64)
    reason = same_text("", len(points))
    try:
        chosen = select_points(points, selection, "measured", section.where)
    except InputError as fault:
        problems += fault.problems
    try:
        reason = exclusion_reasons(job, points)
    except InputError as fault:
        problems += fault.problems
    if problems:
        raise InputError(problems)
    return Shots(points=points, chosen=chosen, id=stripped_ids(points), reason=reason)


def sigma_level_of(section: CheckSection, job: Job) -> SigmaLevel | None:
    """Return what stored sigmas are multiples of, as the tolerance says; None: they are single.

    Where [measured] says it the reader has already divided.
    """
    stated = job.measured is not None and job.measured.sigma_level is not None
    return None if section.tolerance is None or stated else section.tolerance.sigma_level


def plan_xy_m(points: Points, index: IntArray) -> FloatArray:
    """Return easting and northing of points, shape (rows, 2)."""
    return np.column_stack((taken(points.easting_m, index), taken(points.northing_m, index)))


def design_index(inputs: Inputs, names: Iterable[str], where: Where) -> dict[str, int]:
    """Return the design point of each of these numbers that has one.

    Raises InputError where one stands twice with other coordinates.
    """
    design = inputs.design
    if design is None:
        return {}
    wanted = set(names)
    ids = stripped_ids(design)
    chosen = np.array([i for i, name in enumerate(ids.tolist()) if name in wanted], dtype=np.int64)
    return {str(ids[index]): int(index) for index in unique_points(design, chosen, where).tolist()}


def names_of(shots: Shots, row: IntArray) -> TextArray:
    """Return the numbers of shots, and for those without one where they were read; (rows,)."""
    names: TextArray = taken(shots.id, row)
    nameless = np.flatnonzero(names == "").tolist()
    if nameless:
        names = names.copy()
    for position in nameless:
        names[position] = f"no number: {place(shots.points, int(row[position]))}"
    return names


def shot_again(shots: Shots, row: IntArray, xy_m: FloatArray) -> tuple[BoolArray, TextArray]:
    """Return which rows a later shot of their number supersedes, and what to say of others.

    row: indices of the shots; xy_m: shape (rows, 2). A number that returns at the same place is a
    shot of finished or mended work; one that returns elsewhere is another place, and both count.
    """
    superseded = np.zeros(len(row), dtype=np.bool_)
    if all_different(taken(shots.id, row)):
        return superseded, same_text("", len(row))
    said: TextArray = np.full(len(row), "", dtype=object)
    places: dict[str, list[int]] = {}
    names, reasons = shots.id[row].tolist(), shots.reason[row].tolist()
    for position, (name, reason) in enumerate(zip(names, reasons, strict=True)):
        if name and not reason:
            places.setdefault(name, []).append(position)
    for name, positions in places.items():
        if len(positions) < 2:
            continue
        where = np.array(positions, dtype=np.int64)
        order = in_order_of_time(shots.points, np.zeros(len(where), dtype=np.int64), row[where])
        last = where[order[-1]]
        for position in where[order[:-1]].tolist():
            if np.hypot(*(xy_m[position] - xy_m[last])) <= _SAME_PLACE_M:
                superseded[position] = True
            else:
                said[position] = f"number {name} stands at another place too"
    return superseded, said


def several(count: int, word: str) -> str:
    """Return a count with its noun: 1 shot, 2 shots."""
    return f"{count} {word}{'' if count == 1 else 's'}"
