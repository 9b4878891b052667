"""Areas as a job states them."""

import re
from typing import Final

from checker.read.toml_tables import quoted
from checker.units import LengthUnit, UnitError

_AREA: Final = re.compile(r"\s*(\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?)\s*(\D*?2?)\s*")
_SQUARE_FEET_PER_ACRE: Final = 43560.0


def parse_area(value: str | float, unit: LengthUnit) -> tuple[float, float]:
    """Return an area and one unit of its last written digit, square metres.

    A bare number is in the square of the unit. An acre is 43,560 square feet of the job's own foot
    (the international foot in a job in metres). Raises UnitError.
    """
    text = value if isinstance(value, str) else repr(value).removesuffix(".0")
    match = _AREA.fullmatch(text)
    foot = LengthUnit.FOOT if unit is LengthUnit.METRE else unit
    known = {"": unit.metres**2}
    known |= dict.fromkeys(("m2", "sqm", "squaremetre", "squaremeter"), 1.0)
    known |= dict.fromkeys(("ft2", "sqft", "squarefoot", "squarefeet", "sf"), foot.metres**2)
    known |= dict.fromkeys(("ac", "acre"), foot.metres**2 * _SQUARE_FEET_PER_ACRE)
    known |= dict.fromkeys(("ha", "hectare"), 1e4)
    if match is not None:
        word = re.sub(r"[\s.^]", "", match[2].lower().replace("²", "2"))
        scale = known.get(word, known.get(word.removesuffix("s")))
        if scale is not None:
            digits = match[1].replace(",", "")
            places = len(digits.partition(".")[2])
            return float(digits) * scale, 10.0**-places * scale
    raise UnitError(
        f"{quoted(value)} is no area",
        'write a number in the square of the unit, or "37331 sq ft", "0.857 acre", "3468 m2"',
    )
