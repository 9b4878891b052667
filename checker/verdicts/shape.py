"""Shape and place of a group in words: which of the two its tolerance finds wrong."""

import numpy as np

from checker.lengths import small_text
from checker.model.finding import Judgement
from checker.model.measure import Measure
from checker.units import LengthUnit


def shape_remarks(
    measure: Measure, judgements: tuple[Judgement, ...], unit: LengthUnit
) -> tuple[str, ...]:
    """Return what a relative check says of the group as a whole; nothing where both are right.

    What is left after a rigid best fit, and how far the fit moves the group, are each held against
    the tightest limit of a distance. The words give no verdict of their own.
    """
    distance = next((each for each in judgements if each.limit == "distance"), None)
    numbers = {item.key: item.value for item in measure.summary}
    shift, left = numbers.get("shift"), numbers.get("left_max")
    if measure.kind != "relative" or distance is None or not np.isfinite(distance.upper).any():
        return ()
    if not isinstance(shift, float) or not isinstance(left, float):
        return ()
    limit = float(np.nanmin(distance.upper))

    def size(value_m: float) -> str:
        return small_text(value_m, unit)

    if left <= limit < shift:
        text = (
            "The shape is right, the place is wrong: inside the group at most "
            f"{size(left)} is left, but as a whole it lies {size(shift)} off its design "
            f"({size(limit)} is allowed between its points). Look at control, backsight or design "
            "before moving single points."
        )
        return (text,)
    if shift <= limit < left:
        text = (
            f"The place is right, the shape is wrong: as a whole the group lies {size(shift)} off, "
            f"but {size(left)} is left inside it. Single points stand wrong."
        )
        return (text,)
    return ()
