"""A site fit that the job states, as a calibration elsewhere printed it."""

import math
from typing import Final

from checker.model.job import GivenFit
from checker.read.job_draft import Draft, plan_of
from checker.read.toml_tables import Table
from checker.units import UnitError, parse_angle, parse_small_angle

_EXAMPLE: Final = (
    '{ about = { n = ..., e = ... }, scale_ppm = 12.3, rotation = "0-00-05", '
    "shift = { n = ..., e = ..., z = ... } }"
)
_MOST_PPM = 20_000.0
"""A scale farther from 1 than this is no calibration of a site, but another unit."""
_MOST_RISE = 0.01
"""A correction of heights that rises more is none either."""


def read_given(draft: Draft, section: Table) -> GivenFit | None:
    """Return the stated fit; None where the section has none."""
    table = section.table("given", _EXAMPLE)
    if table is None:
        return None
    about = table.table("about", "{ n = 5000.0, e = 6000.0 }")
    if not table.has("about"):
        table.missing("about", "the point about which it scales and turns, { n = ..., e = ... }")
    northing = easting = None
    if about is not None:
        northing, easting = plan_of(draft, about)
        about.done()
    scale = _scale(table)
    turn = table.parsed(
        "rotation",
        _rotation,
        'an angle, clockwise +, such as "-0-00-05" or "5 arcsec"',
        accept=lambda angle: abs(angle) <= math.pi,
    )
    shift = _part(draft, table, "shift", "a length", ("n", "e", "z"))
    rise = _part(draft, table, "rise", 'metres per metre, or "12 ppm"', ("n", "e"))
    if rise and "z" not in shift:
        table.fault(
            "conflicting-keys",
            "rise",
            f"{table.title}: rise tilts the correction of heights, and shift has no z",
            "state the correction at `about` too, shift = { z = ... }; 0 if it is none",
        )
    stated = True
    plan = scale is not None or turn is not None or bool({"n", "e"} & set(shift))
    if not plan and "z" not in shift:
        stated = False
        table.fault(
            "missing-key",
            None,
            f"{table.title} states nothing that it does: no scale, rotation or shift",
            f"write what the calibration printed: {_EXAMPLE}",
        )
    table.done()
    if northing is None or easting is None or not stated:
        return None
    return GivenFit(
        about_n_m=northing,
        about_e_m=easting,
        scale=1.0 if scale is None else scale,
        rotation_rad=turn or 0.0,
        shift_n_m=shift.get("n", 0.0),
        shift_e_m=shift.get("e", 0.0),
        shift_z_m=shift.get("z"),
        rise_n=rise.get("n", 0.0),
        rise_e=rise.get("e", 0.0),
        plan=plan,
    )


def _scale(table: Table) -> float | None:
    """Return the scale, stated as such or in parts per million beside 1."""
    if table.has("scale") and table.has("scale_ppm"):
        table.fault(
            "conflicting-keys",
            "scale_ppm",
            f"{table.title} has both scale and scale_ppm",
            "keep one of the two",
        )
    most = _MOST_PPM * 1e-6
    scale = table.number(
        "scale", "a scale near 1, such as 1.0000123", accept=lambda found: abs(found - 1.0) <= most
    )
    ppm = table.number(
        "scale_ppm", "parts per million beside 1", accept=lambda found: abs(found) <= _MOST_PPM
    )
    return scale if ppm is None else 1.0 + ppm * 1e-6


def _part(
    draft: Draft, table: Table, key: str, what: str, axes: tuple[str, ...]
) -> dict[str, float]:
    """Return the numbers of shift or rise by their axes, those that are stated."""
    part = table.table(key, f"{{ {', '.join(f'{axis} = ...' for axis in axes)} }}")
    if part is None:
        return {}
    found = {}
    for axis in axes:
        if key == "shift":
            value = part.parsed(axis, draft.length, what)
        else:
            value = part.parsed(axis, _rise, what, accept=lambda slope: abs(slope) <= _MOST_RISE)
        if value is not None:
            found[axis] = value
    part.done()
    return found


def _rotation(value: str | float) -> float:
    """Return an angle: degrees, degrees-minutes-seconds, or arc seconds and minutes by name."""
    text = str(value).strip()
    if text.endswith(("arcsec", "arcmin", '"', "'")) and "-" not in text[1:]:
        sign = -1.0 if text.startswith("-") else 1.0
        return sign * parse_small_angle(text.lstrip("+-").strip())
    return parse_angle(value if isinstance(value, str) else float(value))


def _rise(value: str | float) -> float:
    """Return a rise: a bare number is metres per metre, a text may say ppm."""
    text = str(value).strip()
    try:
        return float(text.removesuffix("ppm")) * (1e-6 if text.endswith("ppm") else 1.0)
    except ValueError:
        raise UnitError(f'"{text[:40]}" is no rise', 'write "12 ppm" or 0.000012') from None
