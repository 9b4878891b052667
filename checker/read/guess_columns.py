"""Which columns of a table are number, northing, easting and elevation, where headings do not tell.

The content decides: known numbers, and the places where other files have them; else the usual
order, which is said to be a mere guess.
"""

from collections.abc import Mapping
from typing import Final

import numpy as np

from checker.errors import InputError, Problem, Where
from checker.model.arrays import FloatArray
from checker.read.cells import floats, is_blank
from checker.read.files import Source
from checker.read.headings import column_number, normal
from checker.read.look import loose_table, said_unit
from checker.read.points import VOCABULARY, assign_columns, has_degrees
from checker.read.tables import Table, capped, read_table
from checker.units import LengthUnit

Known = Mapping[str, tuple[float, float, float]]
"""Where numbers stand in other files, as these have them: easting, northing, elevation."""
_LARGEST: Final = 1e12
_RATIOS: Final = (
    1.0,
    *sorted(
        {
            one.metres / other.metres
            for one in LengthUnit
            for other in LengthUnit
            if one is not other
        }
    ),
)
"""What numbers may have to be multiplied by to be in the unit of another file."""


def columns_of(
    source: Source, known: Known
) -> tuple[LengthUnit | None, dict[str, str], tuple[str, ...]]:
    """Return the unit that a table names, and the mapping of columns that it needs, argued."""
    try:
        table = read_table(source, VOCABULARY, {}, tail="description")
    except InputError as fault:
        loose = loose_table(source)
        if loose is None or {problem.slug for problem in fault.problems} != {"no-header"}:
            raise
        table = loose
    assigned, _ = assign_columns(table, {})
    unit = said_unit(table, assigned.columns)
    has_plan = {"northing", "easting"} <= set(assigned.columns)
    clear = {problem.slug for problem in assigned.problems} == set()
    if has_degrees(assigned):
        raise InputError(
            [
                Problem(
                    slug="no-frame",
                    where=Where(file=source.path),
                    message="the points are given as longitude and latitude; a new job cannot "
                    "guess their frame, nor the grid of the design",
                    hint="export northings and eastings; or write the job by hand with [measured] "
                    "crs and [reference] crs",
                )
            ]
        )
    if clear and has_plan and "id" in assigned.columns and table.header_line:
        return unit, {}, ()
    settled = {name: column.index for name, column in assigned.columns.items()}
    # Of several columns that claim one field the content decides.
    for problem in assigned.problems:
        if problem.slug == "ambiguous-column":
            for name in ("id", "northing", "easting", "elevation", "description"):
                if f"may each be the {name}" in problem.message:
                    settled.pop(name, None)
    return unit, *_by_content(source, table, settled, known)


def _by_content(
    source: Source, table: Table, settled: dict[str, int], known: Known
) -> tuple[dict[str, str], tuple[str, ...]]:
    """Return which columns are number, northing, easting, elevation and description."""
    if table.problems:
        # Rows that cannot be split come first: what they would hold is anybody's guess.
        raise InputError(capped(table.problems, source.path, table.unlisted))
    content = _Content(table, settled, known)
    places, why = content.guess()
    missing = [name for name in ("id", "northing", "easting") if name not in places]
    if missing:
        words = {"id": "numbers the points", "northing": "is the northing"}
        lacking = " or ".join(words.get(name, f"is the {name}") for name in missing)
        raise InputError(
            [
                Problem(
                    slug="unknown-columns",
                    where=Where(file=source.path, line=int(table.lines[0])),
                    message=f"no column of this table {lacking}, neither by its heading nor by "
                    "what it holds",
                    hint="give the table a line of headings such as "
                    "id,northing,easting,elevation,description",
                )
            ]
        )
    headings = [heading.strip() for heading in table.header]
    bare = [normal(heading) for heading in headings]
    mapping = {}
    for name, index in places.items():
        heading = headings[index]
        by_heading = (
            bool(table.header_line)
            and heading != ""
            and bare.count(bare[index]) == 1
            and column_number(heading) is None
        )
        mapping[name] = heading if by_heading else str(index + 1)
    if not table.header_line:
        mapping = {name: str(index + 1) for name, index in places.items()}
    return mapping, why


class _Content:
    """Tells columns by what they hold."""

    def __init__(self, table: Table, settled: dict[str, int], known: Known) -> None:
        self._table = table
        self._known = known
        self._places = dict(settled)
        self._numbers: dict[int, FloatArray] = {}
        for index, cells in enumerate(table.cells):
            values, errors = floats(cells, decimal_comma=table.dialect.decimal_comma)
            # No coordinate is larger, and products of it would overflow.
            values = np.where(np.abs(values) < _LARGEST, values, np.nan)
            if not errors and np.isfinite(values).any():
                self._numbers[index] = values

    def guess(self) -> tuple[dict[str, int], tuple[str, ...]]:
        """Return field -> place from 0, and the argument in sentences."""
        why = [self._id()] if "id" not in self._places else []
        if not {"northing", "easting"} <= set(self._places):
            why.append(self._plan())
        if "elevation" not in self._places:
            why.append(self._elevation())
        if "description" not in self._places:
            why.append(self._description())
        wanted = ("id", "northing", "easting", "elevation", "description")
        places = {name: self._places[name] for name in wanted if name in self._places}
        return places, tuple(text for text in why if text)

    def _free(self) -> list[int]:
        taken = set(self._places.values())
        return [index for index in range(len(self._table.cells)) if index not in taken]

    def _id(self) -> str:
        met = {
            index: sum(cell in self._known for cell in self._table.cells[index])
            for index in self._free()
        }
        best = max(met, key=lambda index: met[index], default=None)
        if best is not None and met[best]:
            self._places["id"] = best
            return (
                f"column {best + 1} numbers the points: {met[best]} of its {len(self._table)} "
                "cells are numbers of the other files"
            )
        for index in self._free():
            cells = [cell for cell in self._table.cells[index] if not is_blank(cell)]
            decimals = index in self._numbers and any("." in cell or "," in cell for cell in cells)
            filled = len(cells) == len(self._table)
            if filled and not decimals and len(set(cells)) >= 0.5 * len(cells):
                self._places["id"] = index
                return (
                    f"column {index + 1} is taken for the numbers of the points: it is the first "
                    "that is filled throughout and seldom repeats. TO CONFIRM"
                )
        return ""

    def _plan(self) -> str:
        """Find the two columns of the plan: by known numbers, else by the place, else by order."""
        self._places.pop("northing", None)
        self._places.pop("easting", None)
        free = [index for index in self._free() if self._is_coordinate(index)]
        if len(free) < 2:
            return ""
        ids = self._table.cells[self._places["id"]] if "id" in self._places else []
        rows = [row for row, name in enumerate(ids) if name in self._known]
        if rows:
            there = np.array([self._known[ids[row]][:2] for row in rows])
            fits = {
                (e, n): min(
                    float(
                        np.nanmedian(
                            np.hypot(
                                factor * self._numbers[e][rows] - there[:, 0],
                                factor * self._numbers[n][rows] - there[:, 1],
                            )
                        )
                    )
                    for factor in _RATIOS
                )
                for e in free
                for n in free
                if e != n
            }
            e, n = min(fits, key=lambda pair: fits[pair])
            spread = float(np.max(np.ptp(there, axis=0))) if len(rows) > 1 else 0.0
            if fits[e, n] <= max(0.2 * spread, 5.0):
                self._places["northing"], self._places["easting"] = n, e
                return (
                    f"columns {n + 1} and {e + 1} are northing and easting: so {len(rows)} known "
                    "numbers stand where the other files have them"
                )
        if self._known:
            box = np.array([place[:2] for place in self._known.values()])
            low, high = box.min(axis=0), box.max(axis=0)
            room = np.maximum(high - low, 1.0)
            inside = {
                (e, n): float(
                    np.mean(
                        (np.abs(self._numbers[e] - (low + high)[0] / 2) <= room[0])
                        & (np.abs(self._numbers[n] - (low + high)[1] / 2) <= room[1])
                    )
                )
                for e in free
                for n in free
                if e != n
            }
            e, n = max(inside, key=lambda pair: inside[pair])
            if inside[e, n] > 0.5 and inside[e, n] > 2 * inside.get((n, e), 0.0):
                self._places["northing"], self._places["easting"] = n, e
                return (
                    f"columns {n + 1} and {e + 1} are northing and easting: so the points lie "
                    "where the other files' points are"
                )
        n, e = free[:2]
        self._places["northing"], self._places["easting"] = n, e
        return (
            f"columns {n + 1} and {e + 1} are taken for northing and easting by the usual order "
            "alone (number, northing, easting, elevation, description). TO CONFIRM"
        )

    def _is_coordinate(self, index: int) -> bool:
        values = self._numbers.get(index)
        return values is not None and bool(np.isfinite(values).all())

    def _elevation(self) -> str:
        if not {"northing", "easting"} <= set(self._places):
            return ""
        after = max(self._places["northing"], self._places["easting"])
        free = [index for index in self._free() if index in self._numbers and index > after]
        ids = self._table.cells[self._places["id"]] if "id" in self._places else []
        rows = [
            row
            for row, name in enumerate(ids)
            if name in self._known and np.isfinite(self._known[name][2])
        ]
        if rows:
            there = np.array([self._known[ids[row]][2] for row in rows])
            fits = {
                index: min(
                    float(np.nanmedian(np.abs(factor * self._numbers[index][rows] - there)))
                    for factor in _RATIOS
                )
                for index in free
                if np.isfinite(self._numbers[index][rows]).any()
            }
            best = min(fits, key=lambda index: fits[index], default=None)
            if best is not None and fits[best] <= 5.0:
                self._places["elevation"] = best
                return f"column {best + 1} is the elevation: so it agrees with the other files"
        for index in free[:1]:
            cells = [cell for cell in self._table.cells[index] if not is_blank(cell)]
            if index == after + 1 and any("." in cell or "," in cell for cell in cells):
                self._places["elevation"] = index
                return (
                    f"column {index + 1} is taken for the elevation by the usual order alone. "
                    "TO CONFIRM"
                )
        return ""

    def _description(self) -> str:
        for index in self._free():
            cells = [cell for cell in self._table.cells[index] if not is_blank(cell)]
            words = [cell for cell in cells if any(sign.isalpha() for sign in cell)]
            if words and len(words) >= 0.5 * len(cells) and index > self._places.get("easting", 0):
                self._places["description"] = index
                return f"column {index + 1} is taken for the description"
        return ""
