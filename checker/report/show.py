"""Numbers as a page shows them: with a true minus, a unit, and degrees written as degrees."""

import math
import re

import numpy as np

from checker.lengths import FINE_M, LARGE_M, small_text, spoken_scale
from checker.model.arrays import FloatArray
from checker.model.measure import Item, Quantity
from checker.report.numbers import LENGTH_DECIMALS, Outside, fixed_column, station_texts
from checker.text import (
    MISSING,
    azimuth,
    decimals_apart,
    dms,
    fixed,
    group,
    lath,
    ratio,
    stated_decimals,
)

MINUS = "−"
_NEGATIVE = re.compile(r"(?<![^\s(])-(?=\d+\.\d)")
THIN = "\N{NARROW NO-BREAK SPACE}"
_MANY = 10.0
"""From this share of a limit on it is told how many times the limit it is."""
_SIGNED = frozenset(
    {"dn", "de", "dz", "along", "across", "offset", "latitude", "departure", "d_distance", "shift"}
    | {"adjusted_latitude", "adjusted_departure", "rise", "correction"}
    | {"design_offset", "feature_offset", "catch_offset", "hinge_offset"}
    | {"scale_ppm", "rotation_deg", "left_out_n", "left_out_e", "left_out_z"}
    | {"d_grade", "d_slope", "d_fall", "residual", "shift_n", "shift_e", "shift_z"}
)
_NAMES = {"baarda": "Baarda", "pope": "Pope"}
"""Tests of residuals by the names of those who wrote them; files keep the job's word."""
_STATED = ("allow", "angular_allow")
"""How the keys of limits begin; they show the digits that they were stated with."""
_SIGNED_STARTS = (
    *("mean_", "correction_", "misclosure_n", "misclosure_e", "raw_misclosure_"),
    "angular_misclosure",
)


def is_signed(key: str) -> bool:
    """Tell whether a number is a difference, whose plus sign is shown."""
    return key in _SIGNED or (
        key.startswith(_SIGNED_STARTS) and not key.endswith(("allowable", "azimuth"))
    )


def minus(text: str) -> str:
    """Return a number's text with a true minus sign."""
    return text.replace("-", MINUS)


def true_minus(text: str) -> str:
    """Return a sentence with a true minus sign before its decimal numbers."""
    return _NEGATIVE.sub(MINUS, text)


def degrees_text(text: str) -> str:
    """Return ``123-45-56.7`` as 123°45′56.7″, with a true minus sign."""
    if text == MISSING:
        return text
    sign = MINUS if text.startswith("-") else ""
    parts = text.removeprefix("-").split("-")
    return sign + "".join(part + mark for part, mark in zip(parts, "°′″", strict=True))


def percent(share: float) -> str:
    """Return a share as whole percent; what is over its limit never prints as 100 %.

    Ten times the limit and more is told as so many times it.
    """
    if not math.isfinite(share):
        return MISSING if math.isnan(share) else "∞"
    if share >= _MANY:
        return f"{group(share, 0)}{THIN}×"
    decimals = 0 if share <= 1.0 else decimals_apart(share * 100.0, 100.0, 0)
    return f"{fixed(share * 100.0, decimals)}{THIN}%"


def percents(shares: FloatArray) -> list[str]:
    """Return `percent` of every share; shape (rows,)."""
    texts = [f"{text}{THIN}%" for text in fixed_column(shares * 100.0, 0)]
    odd = ~np.isfinite(shares) | ((shares > 1.0) & (shares < 1.01)) | (shares >= _MANY)
    for row in np.flatnonzero(odd).tolist():
        texts[row] = percent(float(shares[row]))
    return texts


def chances(probabilities: FloatArray) -> list[str]:
    """Return `chance` of every probability; shape (rows,)."""
    texts = [f"{text}{THIN}%" for text in fixed_column(probabilities * 100.0, 1)]
    plain = (probabilities >= 0.001) & (probabilities <= 0.999)
    for row in np.flatnonzero(~plain).tolist():
        texts[row] = chance(float(probabilities[row]))
    return texts


def chance(probability: float) -> str:
    """Return a probability as percent that is never rounded to certainty."""
    if not math.isfinite(probability):
        return MISSING
    if probability > 0.999:
        return f">{THIN}99.9{THIN}%"
    if 0.0 <= probability < 0.001:
        return f"<{THIN}0.1{THIN}%"
    return f"{fixed(probability * 100.0, 1)}{THIN}%"


def small(value_m: float, outside: Outside) -> str:
    """Return a limit or a sigma with its unit, see `checker.lengths`."""
    if not math.isfinite(value_m):
        return MISSING
    return minus(small_text(value_m, outside.unit)).replace(" ", THIN)


def difference(value_m: float, outside: Outside) -> str:
    """Return a difference with its unit and the decimals that it has in the check's table."""
    if not math.isfinite(value_m):
        return MISSING
    scale = spoken_scale(outside.unit, value_m, fine_m=FINE_M)
    decimals = outside.small.decimals if scale.unit == outside.small.unit else scale.decimals
    return f"{minus(fixed(value_m / scale.metres, decimals))}{THIN}{scale.unit}"


def length(value_m: float, outside: Outside, decimals: int = LENGTH_DECIMALS) -> str:
    """Return a length with its unit."""
    text = fixed(float(outside.unit.from_metres(value_m)), decimals)
    return text if text == MISSING else f"{minus(text)}{THIN}{outside.unit.short}"


def plus(text: str) -> str:
    """Return a number's text with a plus sign if it prints above zero, and a true minus sign."""
    if text.startswith("-"):
        return minus(text)
    return f"+{text}" if any(digit in "123456789" for digit in text) else text


def item_text(item: Item, outside: Outside, more: int = 0, *, sign: bool = False) -> str:
    """Return one number of a summary with its unit.

    more: further decimals. sign: show a plus where the key alone does not ask for it.
    """
    value, quantity = item.value, item.quantity
    if value is None:
        return MISSING
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return _NAMES.get(value, value) if item.key == "test" else value
    special = _special(quantity, float(value), item.key, outside)
    if special is not None:
        return special
    number = outside.one(quantity, item.key, float(value))
    decimals = (outside.decimals(quantity, item.key) or 0) + more
    unit = _page_unit(quantity, outside)
    scale = outside.on_page(quantity, item.key)
    if scale is not None and abs(value) < LARGE_M:
        values_m = np.array([value], dtype=np.float64)
        number, unit = float(outside.smalls(values_m)[0]), scale.unit
        decimals = outside.finer(item.key, scale, values_m) + more
    if item.key.startswith(_STATED):
        decimals = stated_decimals(number, decimals)
    if quantity in (
        Quantity.AREA,
        Quantity.VOLUME,
        Quantity.COUNT,
    ):
        text = minus(group(number, decimals))
    else:
        text = fixed(number, decimals)
        text = plus(text) if sign or is_signed(item.key) else minus(text)
    return text if text == MISSING or not unit else f"{text}{THIN}{unit}"


def closure_ratio(n: float, asked: float) -> str:
    """Return ``1:74,000`` for the N of a closure ratio, without digits that mean nothing.

    Two figures, rounded down; more where what is asked for lies between. asked: NaN: nothing.
    """
    if not math.isfinite(n) or n < 1.0:
        return ratio(n)
    for figures in range(2, 16):
        step = 10.0 ** (math.floor(math.log10(n)) + 1 - figures)
        if step < 1.0:
            break
        down = math.floor(n / step * (1.0 + 1e-9)) * step
        if not down < asked <= n:
            return ratio(down)
    return ratio(n)


def _special(quantity: Quantity, value: float, key: str, outside: Outside) -> str | None:
    """Return the text of what is no plain number with a unit."""
    if quantity is Quantity.RATIO:
        return ratio(value)
    if quantity is Quantity.PROBABILITY:
        return chance(value)
    if quantity is Quantity.SHARE:
        # Never rounded up to all of them.
        return f"{fixed(math.floor(value * 1000.0 + 1e-9) / 10.0, 1)}{THIN}%"
    if quantity is Quantity.ANGLE:
        return degrees_text(azimuth(value, 1) if "azimuth" in key else dms(value, 1))
    if quantity is Quantity.STATION:
        return minus(station_texts(np.array([value]), outside.unit, outside.station_digits)[0])
    if quantity is Quantity.SMALL_ANGLE:
        text = fixed(math.degrees(value) * 3600.0, 1)
        return text if text == MISSING else f"{plus(text) if is_signed(key) else minus(text)}″"
    return None


def _page_unit(quantity: Quantity, outside: Outside) -> str:
    return outside.unit_name(quantity, "") or ""


def column_texts(quantity: Quantity, key: str, values: FloatArray, outside: Outside) -> list[str]:
    """Return a column of numbers for a table, without units; shape (rows,)."""
    if quantity is Quantity.RATIO:
        return [ratio(value) for value in values.tolist()]
    if quantity is Quantity.PROBABILITY:
        return chances(values)
    if quantity is Quantity.ANGLE and key == "bearing":
        whole = fixed_column(np.mod(np.rint(np.degrees(values)), 360.0), 0)
        return [text if text == MISSING else f"{text}°" for text in whole]
    if quantity is Quantity.ANGLE:
        return [degrees_text(dms(value, 1)) for value in values.tolist()]
    if quantity is Quantity.STATION:
        texts = station_texts(values, outside.unit, outside.station_digits)
        return [minus(text) for text in texts]
    if quantity is Quantity.CUT_FILL:
        dz = outside.unit.from_metres(values)
        return [lath(value, outside.lath_decimals) for value in dz.tolist()]
    numbers = outside.convert(quantity, f"{key}_arcsec" if _small(quantity) else key, values)
    decimals = 1 if _small(quantity) else (outside.decimals(quantity, key) or 0)
    scale = outside.on_page(quantity, key)
    if scale is not None:
        numbers, decimals = outside.smalls(values), outside.finer(key, scale, values)
    texts = fixed_column(numbers, decimals)
    if is_signed(key):
        zero = fixed(0.0, decimals)
        return [
            f"{MINUS}{text[1:]}"
            if text[0] == "-"
            else text
            if text in (zero, MISSING)
            else f"+{text}"
            for text in texts
        ]
    return "\n".join(texts).replace("-", MINUS).split("\n") if texts else []


def _small(quantity: Quantity) -> bool:
    return quantity is Quantity.SMALL_ANGLE


def column_unit(quantity: Quantity, key: str, outside: Outside) -> str:
    """Return the unit that a table's heading names; "" where the cells say it themselves."""
    if quantity in (Quantity.ANGLE, Quantity.RATIO, Quantity.PROBABILITY, Quantity.STATION):
        return ""
    if quantity is Quantity.SMALL_ANGLE:
        return "″"
    scale = outside.on_page(quantity, key)
    return scale.unit if scale is not None else outside.unit_name(quantity, key) or ""
