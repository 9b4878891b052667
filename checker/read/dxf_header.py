"""What a drawing's header says of its unit, and how far that may be believed: it is told, no more.

Unit codes: $INSUNITS of the open DXF reference, see tests/published.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np

from checker.model.arrays import FloatArray
from checker.model.drawing import Polyline
from checker.read.dxf_notices import Notices
from checker.units import M_PER_FOOT, M_PER_US_SURVEY_FOOT, LengthUnit

HEADER_UNITS: Final[dict[int, tuple[str, float]]] = {
    1: ("inches", 0.0254),
    2: ("feet", M_PER_FOOT),
    3: ("miles", 5280.0 * M_PER_FOOT),
    4: ("millimetres", 1e-3),
    5: ("centimetres", 1e-2),
    6: ("metres", 1.0),
    7: ("kilometres", 1e3),
    8: ("microinches", 1e-6 * M_PER_FOOT / 12.0),
    9: ("mils", 1e-3 * M_PER_FOOT / 12.0),
    10: ("yards", 3.0 * M_PER_FOOT),
    11: ("angstroms", 1e-10),
    12: ("nanometres", 1e-9),
    13: ("microns", 1e-6),
    14: ("decimetres", 1e-1),
    15: ("decametres", 1e1),
    16: ("hectometres", 1e2),
    17: ("gigametres", 1e9),
    18: ("astronomical units", 149_597_870_700.0),
    19: ("light years", 9_460_730_472_580_800.0),
    20: ("parsecs", 149_597_870_700.0 * 648_000.0 / np.pi),
    21: ("US survey feet", M_PER_US_SURVEY_FOOT),
    22: ("US survey inches", M_PER_US_SURVEY_FOOT / 12.0),
    23: ("US survey yards", 3.0 * M_PER_US_SURVEY_FOOT),
    24: ("US survey miles", 5280.0 * M_PER_US_SURVEY_FOOT),
}
"""Words and metres of the header's unit codes; 0 names no unit."""


def tell_header(
    notices: Notices,
    code: int | None,
    unit: LengthUnit,
    xyz: FloatArray,
    linework: Sequence[Polyline],
) -> None:
    """Tell where the header's unit is not the job's.

    code: None where the header has none. unit: what the drawing was read in. xyz: points, shape
    (points, 3), in that unit; linework, in metres: both for the size of the site.
    """
    if code is None or code == 0:
        _tell_no_unit(notices, code, unit, _extent(xyz, linework, unit.metres))
        return
    if code not in HEADER_UNITS:
        notices.tell(
            "header-unit",
            f"the header gives unit code {code}, which the format does not define; "
            f"read as {unit.words}, as the job states",
        )
        return
    words, metres = HEADER_UNITS[code]
    if metres == unit.metres:
        return
    size = _extent(xyz, linework, unit.metres)
    if words in ("feet", "US survey feet") and unit.is_foot:
        shift = float(np.max(np.abs(xyz[:, :2]))) * abs(metres - unit.metres) if len(xyz) else 0
        notices.tell(
            "header-foot",
            f"the header says {words}, the job says {unit.words}; read as the job "
            "says. The two differ by 2 parts in a million of the coordinate: "
            f"{shift:.3f} m at the farthest point here",
        )
        return
    told = ""
    if size is not None:
        width, height = size
        told = (
            f" The site is {width * unit.metres:,.6g} m by {height * unit.metres:,.6g} m as "
            f"read; it would be {width * metres:,.6g} m by {height * metres:,.6g} m by the "
            "header."
        )
    notices.tell(
        "header-unit",
        f"the header says {words}, the job says {unit.words}; read as the job says, "
        f"nothing is converted.{told} Ask which is meant if the size looks wrong",
    )


def _tell_no_unit(
    notices: Notices, code: int | None, unit: LengthUnit, size: tuple[float, float] | None
) -> None:
    told = ""
    if size is not None:
        width, height = size
        other = LengthUnit.METRE if unit.is_foot else LengthUnit.FOOT
        told = (
            " The site is "
            + "; it would be ".join(
                f"{width * each.metres:,.6g} m by {height * each.metres:,.6g} m in {each.words}"
                for each in (unit, other)
            )
            + "."
        )
    has = "has no unit" if code is None else 'says "no unit"'
    notices.tell(
        "no-header-unit",
        f"the header {has}; read as {unit.words}, as the job states.{told} Ask which is "
        "meant if the size looks wrong",
    )


def _extent(
    xyz: FloatArray, linework: Sequence[Polyline], metres: float
) -> tuple[float, float] | None:
    """Return the width and height of the site in drawing units, None for an empty drawing."""
    if len(xyz) > 1:
        span = np.ptp(xyz[:, :2], axis=0)
    elif linework:
        span = np.ptp(np.concatenate([line.xy_m for line in linework]), axis=0) / metres
    else:
        return None
    return float(span[0]), float(span[1])
