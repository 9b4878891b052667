"""The map of a curb return: the design arc, and how far every shot stands off it."""

import numpy as np

from checker.model.arrays import FloatArray
from checker.report import svg
from checker.report.plots.differences import Words, difference_map
from checker.report.rows import Rows

_ARC = Words(key="across", limit="horizontal", above="right of the arc", below="left of the arc")
_STEPS = 60


def curb_return(rows: Rows, figure_id: str) -> svg.Figure | None:
    """Return the map, or None where fewer than three shots have a place."""
    return difference_map(rows, _ARC, _design(rows), figure_id)


def _design(rows: Rows) -> list[FloatArray]:
    """Return the design arc as a line there and back, in the job's unit."""
    measure = rows.finding.measure
    place = next((each for each in measure.supplements if each.key == "arc"), None)
    turn = next((item.value for item in measure.summary if item.key == "turn"), None)
    if place is None or not isinstance(turn, float):
        return []
    values = {each.key: each.values for each in place.columns}
    (north, begin_n), (east, begin_e) = values["n"][:2].tolist(), values["e"][:2].tolist()
    radius = float(np.hypot(begin_n - north, begin_e - east))
    first = float(np.arctan2(begin_e - east, begin_n - north))
    angle = first + np.linspace(0.0, turn, _STEPS)
    line = np.column_stack((east + radius * np.sin(angle), north + radius * np.cos(angle)))
    # The map closes its lines: back on the same way it is an arc still.
    return [rows.outside.unit.from_metres(np.concatenate((line, line[::-1])))]
