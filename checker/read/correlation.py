"""How the northing and the easting of a shot hang together, as a table shows it."""

from collections.abc import Mapping
from typing import Final

import numpy as np

from checker.errors import Where
from checker.model.arrays import FloatArray
from checker.model.drawing import Notice
from checker.read.cells import Cells
from checker.text import quoted
from checker.units import SigmaLevel

_ROUNDED: Final = 0.02
"""What rounding in a file may add to a correlation of 1."""


def read_correlation(
    cells: Cells, sigmas: Mapping[str, FloatArray], level: SigmaLevel | None
) -> FloatArray | None:
    """Return the correlation of northing and easting, -1 to 1; None where it is not shown.

    Shown as such, or as a covariance in the square of the unit and, as the sigmas, at the stored
    level. sigmas: at one sigma, metres. NaN where a row is silent, or shows an axis of 0.
    """
    names = [name for name in ("correlation_ne", "covariance_ne") if name in cells]
    if not names:
        return None
    name = names[0]
    n, e = sigmas.get("sigma_n_m"), sigmas.get("sigma_e_m")
    if n is None or e is None:
        cells.notices.append(
            Notice(
                slug="correlation-not-used",
                where=Where(file=cells.table.path, line=cells.table.header_line or None),
                message=f'"{cells.heading(name)}" says how northing and easting hang together, and '
                "the table does not show the standard deviations of both, so it is not used; "
                "export sigma_n and sigma_e too",
            )
        )
        return None
    if name == "correlation_ne":
        found = cells.numbers(name)
    else:
        times = 1.0 if level is None else level.axis**2
        with np.errstate(divide="ignore", invalid="ignore"):
            found = cells.squares(name) / times / (n * e)
        found[~np.isfinite(found)] = np.nan
    raw = cells.raw(name)
    word = name.removesuffix("_ne")

    def fault(row: int) -> tuple[str, str, str]:
        message = (
            f"{quoted(raw[row])} is no {word} of northing and easting with these standard "
            f"deviations: a correlation of {found[row]:.2f}, and none is beyond -1 to 1"
        )
        hint = "check the column and its unit; a covariance is in the square of the unit"
        return "bad-covariance", message, hint

    cells.faults.of_rows(
        cells.table, np.flatnonzero(np.abs(found) > 1.0 + _ROUNDED), cells.heading(name), fault
    )
    return np.clip(found, -1.0, 1.0)
