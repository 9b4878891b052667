"""Numbers as text: the one place that decides how a number is rounded and written.

Rounding is half up on the magnitude, as stakes and cut sheets are written (common practice, no
source), and never of binary noise: 2.675 is 2.68 to two decimals though the nearest double is
smaller. A minus sign never stands before a zero, and a failure never prints as equal to its limit.
All texts are plain ASCII but for `MISSING` and `UNLIMITED`; a page may set a true minus sign.
What was found in an input is quoted in messages by `quoted`.
Nothing here knows a unit: values are those that shall be shown.
"""

import math

MISSING = "\N{EN DASH}"
"""What stands for a number that does not exist."""
UNLIMITED = "\N{INFINITY}"
ARCSEC = "\N{DOUBLE PRIME}"
"""The sign of arc seconds."""

_NOISE = 1e-6
"""In units of the last place: what a tie may fall short by and still be taken for a tie."""
_RATIO_NOISE = 1e-9
"""Relative: the guard with which a closure ratio is judged, so that text and verdict agree."""
_EXACT = 2.0**53
"""Beyond this a double has no digit left to round."""
_MORE = 9
"""How many further digits `show_failure` adds at most."""
_STATED = 2
"""How many further digits `stated_decimals` adds at most."""


def fixed(value: float, decimals: int, *, missing: str = MISSING) -> str:
    """Return a number with that many decimals, rounded half up, never ``-0.000``.

    NaN is `missing`, an infinite value `UNLIMITED` with its sign.
    """
    scale = 10.0**decimals
    scaled = abs(value) * scale
    if not scaled < _EXACT:
        if math.isnan(value):
            return missing
        if math.isinf(value):
            return UNLIMITED if value > 0 else f"-{UNLIMITED}"
        return f"{value:.{decimals}f}"
    units = math.floor(scaled + 0.5 + max(_NOISE, 4.0 * math.ulp(scaled)))
    sign = "-" if value < 0 and units else ""
    return f"{sign}{units / scale:.{decimals}f}"


def signed(value: float, decimals: int, *, missing: str = MISSING) -> str:
    """Return `fixed` with a plus sign before what prints above zero."""
    text = fixed(value, decimals, missing=missing)
    return f"+{text}" if value > 0 and any(digit in "123456789" for digit in text) else text


def decimals_apart(value: float, limit: float, decimals: int) -> int:
    """Return how many decimals, `decimals` or more, tell two finite numbers apart.

    Where they differ by less than the last digit that is tried it is `decimals`: then they are
    equal within the guard of the judgement and there is no failure to show.
    """
    # further apart than a unit of the last place no two numbers round alike
    if abs(value - limit) * 10.0**decimals > 1.0 + 2.0 * _NOISE:
        return decimals
    for more in range(_MORE + 1):
        if fixed(value, decimals + more) != fixed(limit, decimals + more):
            return decimals + more
    return decimals


def show_failure(value: float, limit: float, decimals: int) -> tuple[str, str]:
    """Return both numbers as text, with as many digits more as it takes to tell them apart."""
    shown = fixed(value, decimals), fixed(limit, decimals)
    if shown[0] != shown[1]:
        return shown
    enough = decimals_apart(value, limit, decimals)
    return fixed(value, enough), fixed(limit, enough)


def stated_decimals(value: float, decimals: int) -> int:
    """Return the decimals, `decimals` or up to two more, that show a limit as it was stated.

    12.5 needs one where whole numbers are shown. A limit that has no such end, like an inch in
    feet, and one that is not finite, gets `decimals`.
    """
    for more in range(_STATED + 1):
        scaled = abs(value) * 10.0 ** (decimals + more)
        if not scaled < _EXACT:
            break
        if abs(scaled - math.floor(scaled + 0.5)) <= max(_NOISE * 10.0**-3, 4.0 * math.ulp(scaled)):
            return decimals + more
    return decimals


def group(value: float, decimals: int = 0, *, missing: str = MISSING) -> str:
    """Return `fixed` with a comma between groups of three digits before the point, ``12,345.6``.

    For what is read: counts, areas, volumes, ratios. Coordinates, stations and lengths, which are
    copied into other tables, stay without.
    """
    text = fixed(value, decimals, missing=missing)
    if math.isnan(value) or math.isinf(value):
        return text
    sign = "-" if text.startswith("-") else ""
    whole, point, rest = text.removeprefix("-").partition(".")
    return f"{sign}{int(whole):,}{point}{rest}"


def ratio(n: float, decimals: int = 0) -> str:
    """Return ``1:12,345`` for the N of a closure ratio, rounded down so that it never flatters.

    An infinite N is a perfect closure: ``1:`` and `UNLIMITED`. NaN is `MISSING`.
    """
    if math.isnan(n) or math.isinf(n):
        return MISSING if math.isnan(n) else f"1:{UNLIMITED}"
    scaled = n * 10.0**decimals
    down = math.floor(scaled * (1.0 + _RATIO_NOISE)) / 10.0**decimals
    return f"1:{group(down, decimals)}"


def dms(angle_rad: float, decimals: int = 0, *, missing: str = MISSING) -> str:
    """Return an angle as ``123-45-56.7``: degrees, minutes and seconds, rounded as one number.

    A negative angle has one minus sign in front; 59.96 seconds never print as 60.0.
    """
    if not math.isfinite(angle_rad):
        return missing
    scale = 10.0**decimals
    scaled = abs(math.degrees(angle_rad)) * 3600.0 * scale
    units = math.floor(scaled + 0.5 + max(_NOISE, 4.0 * math.ulp(scaled)))
    minutes, seconds = divmod(units, round(60 * scale))
    degrees, minutes = divmod(minutes, 60)
    sign = "-" if angle_rad < 0 and units else ""
    width = decimals + 3 if decimals else 2
    return f"{sign}{degrees}-{minutes:02d}-{seconds / scale:0{width}.{decimals}f}"


def angle_words(angle_rad: float, decimals: int = 0) -> str:
    """Return `dms` as it stands in a sentence: 123°45′56.7″."""
    return with_signs(dms(angle_rad, decimals))


def with_signs(text: str) -> str:
    """Return a text of `dms` or `azimuth` with the signs of degrees, minutes and seconds."""
    if text == MISSING:
        return text
    sign = "-" if text.startswith("-") else ""
    parts = text.removeprefix("-").split("-")
    return sign + "".join(part + mark for part, mark in zip(parts, "°′″", strict=True))


def azimuth(angle_rad: float, decimals: int = 0, *, missing: str = MISSING) -> str:
    """Return an azimuth as `dms` in 0 to 360 degrees; what rounds to 360-00-00 prints 0-00-00."""
    if not math.isfinite(angle_rad):
        return missing
    text = dms(angle_rad % math.tau, decimals)
    return dms(0.0, decimals) if text.startswith("360-") else text


def lath(dz: float, decimals: int, *, missing: str = MISSING) -> str:
    """Return the text of the lath: ``C 0.32`` where the shot is above design, ``F 0.15`` below.

    At grade, to the digits shown, there is neither: ``0.00``.
    """
    if math.isnan(dz):
        return missing
    text = fixed(abs(dz), decimals)
    if not any(digit in "123456789" for digit in text):
        return text
    return f"{'C' if dz > 0 else 'F'} {text}"


def printable(text: str) -> str:
    """Return a text on one line, without characters that move a cursor or turn the reading."""
    return "".join(sign if sign.isprintable() else " " for sign in text)


def quoted(value: object, longest: int = 60) -> str:
    """Return what was found between quotation marks, on one line and of bearable length."""
    try:
        text = str(value)
    except ValueError:  # an integer of thousands of digits
        text = "a very long number"
    text = "".join(c if c.isprintable() else " " for c in text[: 2 * longest])
    if len(text) > longest:
        text = text[: longest - 3] + "..."
    return f'"{text}"'
