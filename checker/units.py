"""Units: what a number or a text of the trade means in metres, radians and seconds.

The only table of factors in the project, exact by definition: the foot is 0.3048 m, the US survey
foot 1200/3937 m (NIST and NOAA, 85 FR 62698). Every parser raises `UnitError`; a reader turns it
into a problem with a place.
"""

import math
import re
from dataclasses import dataclass, field
from enum import StrEnum
from statistics import NormalDist
from typing import Final, overload

import numpy as np
import numpy.typing as npt

from checker.text import quoted

M_PER_FOOT: Final = 0.3048
M_PER_US_SURVEY_FOOT: Final = 1200 / 3937
ARCSEC: Final = math.pi / 648_000
"""One second of arc in radians."""


def exact_metres(factor: float) -> float:
    """Return the exact metres in a unit of length, for a factor that a library may have rounded.

    A factor that is no metre, foot or US survey foot to 1e-10 comes back as it is.
    """
    for exact in (1.0, M_PER_FOOT, M_PER_US_SURVEY_FOOT):
        if abs(factor - exact) < 1e-10:
            return exact
    return factor


_FloatArray = npt.NDArray[np.float64]


class UnitError(ValueError):
    """A text or number that means nothing as the quantity asked for.

    The message quotes what was found and says what was expected; hint says what to write.
    """

    def __init__(self, message: str, hint: str) -> None:
        """Keep the message as the error's text and the hint beside it."""
        super().__init__(message)
        self.hint = hint


class LengthUnit(StrEnum):
    """The unit of a job's or a file's lengths; a job's is one of `JOB_UNITS`.

    The small ones are those of drawings by architects and fabricators.
    """

    METRE = "metre"
    FOOT = "foot"
    US_SURVEY_FOOT = "us-survey-foot"
    MILLIMETRE = "millimetre"
    CENTIMETRE = "centimetre"
    INCH = "inch"

    @property
    def metres(self) -> float:
        """Metres in one unit."""
        return _UNITS[self][0]

    @property
    def short(self) -> str:
        """The symbol behind a number, such as m or ft."""
        return _UNITS[self][1]

    @property
    def words(self) -> str:
        """The unit in plain words, plural."""
        return _UNITS[self][2]

    @property
    def is_foot(self) -> bool:
        """Whether it is one of the two feet."""
        return self in (LengthUnit.FOOT, LengthUnit.US_SURVEY_FOOT)

    @overload
    def to_metres(self, value: float) -> float: ...
    @overload
    def to_metres(self, value: _FloatArray) -> _FloatArray: ...
    def to_metres(self, value: float | _FloatArray) -> float | _FloatArray:
        """Return lengths in this unit as metres; any shape."""
        return value * self.metres

    @overload
    def from_metres(self, value_m: float) -> float: ...
    @overload
    def from_metres(self, value_m: _FloatArray) -> _FloatArray: ...
    def from_metres(self, value_m: float | _FloatArray) -> float | _FloatArray:
        """Return metres as lengths in this unit; any shape."""
        return value_m / self.metres


_UNITS: Final = {
    LengthUnit.METRE: (1.0, "m", "metres"),
    LengthUnit.FOOT: (M_PER_FOOT, "ft", "feet"),
    LengthUnit.US_SURVEY_FOOT: (M_PER_US_SURVEY_FOOT, "ft", "US survey feet"),
    LengthUnit.MILLIMETRE: (1e-3, "mm", "millimetres"),
    LengthUnit.CENTIMETRE: (1e-2, "cm", "centimetres"),
    LengthUnit.INCH: (0.0254, "in", "inches"),
}
JOB_UNITS: Final = (LengthUnit.METRE, LengthUnit.FOOT, LengthUnit.US_SURVEY_FOOT)
"""What a job, and every file but the design, may be in."""


class AngleFormat(StrEnum):
    """How a bare number is read as an angle.

    SEXAGESIMAL: decimal degrees. PACKED: ddd.mmss. GON: 400 to the circle. A text with degrees,
    minutes and seconds speaks for itself.
    """

    SEXAGESIMAL = "sexagesimal"
    PACKED = "packed"
    GON = "gon"
    RADIANS = "radians"


@dataclass(frozen=True, slots=True, kw_only=True)
class SigmaLevel:
    """What stored sigmas are multiples of: stored sigma / this = one standard deviation.

    axis: for one axis (northing, easting, height). radial: for a radial plan sigma, taken as
    sqrt(sigma_n^2 + sigma_e^2) of two equal independent axes.
    """

    axis: float
    radial: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Formula:
    """An allowable value as a sum of terms; metres for a length, radians for an angle.

    constant; per_n and per_sqrt_n times the count n and its root; per_km and per_sqrt_km times the
    length in kilometres and its root; per_length times the length itself (dimensionless, from ppm).
    least, most: what the sum is held between. up_to_m, short: for lengths up to so much the value
    is `short` instead. text: as the user wrote it. bare: it was a number without a unit.
    """

    constant: float = 0.0
    per_n: float = 0.0
    per_sqrt_n: float = 0.0
    per_km: float = 0.0
    per_sqrt_km: float = 0.0
    per_length: float = 0.0
    least: float = 0.0
    most: float = math.inf
    up_to_m: float = 0.0
    short: float = 0.0
    text: str
    bare: bool = field(default=False, compare=False)

    @property
    def needs_n(self) -> bool:
        """True where the value depends on a count."""
        return bool(self.per_n or self.per_sqrt_n)

    @property
    def needs_length(self) -> bool:
        """True where the value depends on a length."""
        return bool(self.per_km or self.per_sqrt_km or self.per_length or self.up_to_m)

    @overload
    def at(self, n: float | None = None, length_m: float | None = None) -> float: ...
    @overload
    def at(
        self, n: float | _FloatArray | None = None, length_m: float | _FloatArray | None = None
    ) -> float | _FloatArray: ...
    def at(
        self, n: float | _FloatArray | None = None, length_m: float | _FloatArray | None = None
    ) -> float | _FloatArray:
        """Return the value for n and length_m, metres; scalars or arrays that broadcast.

        Raises UnitError where the formula needs one of them and it is not given.
        """
        value: float | _FloatArray = self.constant
        if self.needs_n:
            if n is None:
                raise UnitError(
                    f"{quoted(self.text)} needs the number of angles or set-ups,"
                    " which is not known here",
                    "write a limit that does not depend on n",
                )
            value = value + self.per_n * n + self.per_sqrt_n * np.sqrt(n)
        if self.needs_length:
            if length_m is None:
                raise UnitError(
                    f"{quoted(self.text)} needs a length, which is not known here",
                    "give the distances, or write a limit that does not depend on them",
                )
            km = length_m / 1000.0
            value = value + self.per_km * km + self.per_sqrt_km * np.sqrt(km)
            value = value + self.per_length * length_m
        if self.least or self.most < math.inf:
            value = np.clip(value, self.least, self.most)
        if self.up_to_m and length_m is not None:
            value = np.where(np.asarray(length_m) <= self.up_to_m, self.short, value)
        return value if np.ndim(value) else float(value)


# ---------------------------------------------------------------- numbers

NUMBER = r"(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
FRACTION = r"(?:(?:[0-9]+[ -])?[0-9]+/[0-9]+)"  # "1/8", "1 1/4", "1-1/4"
SIGNED = re.compile(rf"[+-]?{NUMBER}")
_QUANTITY = re.compile(rf"([+-]?)\s*({FRACTION}|{NUMBER})\s*(.*)", re.DOTALL)

_LOOKALIKES = str.maketrans(
    {
        "−": "-",
        "\u2011": "-",
        "–": "-",
        "º": "°",
        "˚": "°",
        "′": "'",
        "’": "'",
        "\u2018": "'",
        "″": '"',
        "”": '"',
        "“": '"',
        "×": "*",
        "·": "*",
        "\u00a0": " ",
        "\u202f": " ",
        "\u2009": " ",
    }
)


def plain_signs(text: str) -> str:
    """Return the text with typographic signs as plain ones and without blanks at its ends."""
    return text.translate(_LOOKALIKES).replace("''", '"').strip()


def finite(value: float, found: object, expected: str) -> float:
    """Return the number as a float; an infinite one and a truth value are refused."""
    try:
        number = math.nan if isinstance(value, bool) else float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise UnitError(f"{quoted(found)} is not a number", f"write {expected}")
    return number


def number_of(text: str) -> float:
    """Return a decimal number or a fraction such as 1/8 or 1 1/4; else raise ValueError."""
    if "/" not in text:
        return float(text)
    *whole, fraction = re.split(r"[ -]", text)
    above, below = fraction.split("/")
    if int(below) == 0:
        raise ValueError(text)
    return (int(whole[0]) if whole else 0) + int(above) / int(below)


def _quantity(text: str, expected: str) -> tuple[float, str]:
    """Split "15 mm" into 15.0 and "mm"; the unit is "" for a bare number."""
    match = _QUANTITY.fullmatch(plain_signs(text))
    if match is None:
        hint = f"write {expected}"
        if "," in text:
            hint += "; decimals behind a point, no thousands separator"
        raise UnitError(f"{quoted(text)} does not begin with a number", hint)
    sign, digits, unit = match.groups()
    if unit.startswith(","):
        raise UnitError(
            f"{quoted(text)} has a comma in its number",
            f"write {expected}; decimals behind a point, no thousands separator",
        )
    try:
        value = number_of(digits)
    except (ValueError, OverflowError):
        value = math.nan
    value = finite(value, text, expected)
    return (-value if sign == "-" else value), unit.strip()


# ---------------------------------------------------------------- lengths

_METRIC = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 1.0),
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), 1e-3),
    **dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), 1e-2),
    **dict.fromkeys(("km", "kilometre", "kilometres", "kilometer", "kilometers"), 1e3),
}
_OF_A_FOOT = {  # of the international foot, of the US survey foot
    **dict.fromkeys(("ft", "foot", "feet"), (M_PER_FOOT, M_PER_US_SURVEY_FOOT)),
    **dict.fromkeys(("in", "inch", "inches"), (0.0254, 100 / 3937)),
    **dict.fromkeys(("mi", "mile", "miles"), (1609.344, 5280 * 1200 / 3937)),
}
_NAMED_FEET = {
    **dict.fromkeys(("ift", "international-foot", "international-feet"), M_PER_FOOT),
    **dict.fromkeys(
        ("usft", "ftus", "us-ft", "us-foot", "us-survey-foot", "us-survey-feet"),
        M_PER_US_SURVEY_FOOT,
    ),
}
LENGTHS = "a length such as 0.05 ft, 15 mm, 1/8 in or 2 m"


def metres_per(word: str, unit: LengthUnit) -> float | None:
    """Return the metres in the unit of that name, None where there is none.

    Inches, feet and miles are those of the job's own foot; of the international foot in metres.
    """
    name = re.sub(r"[\s_-]+", "-", word.strip().lower().removesuffix("."))
    if name in _METRIC:
        return _METRIC[name]
    if name in _OF_A_FOOT:
        return _OF_A_FOOT[name][unit is LengthUnit.US_SURVEY_FOOT]
    return _NAMED_FEET.get(name)


def parse_length(value: str | float, unit: LengthUnit) -> float:
    """Return a length in metres, signed.

    A bare number (or a text that holds only one) is in `unit`; "15 mm" says its own. "ft", "in" and
    "mi" mean the job's own foot where the job is in feet, else the international foot; "usft" and
    "ift" are always what they say. Raises UnitError, also for what is longer than `LONGEST_M`.
    """
    if not isinstance(value, str):
        return _on_earth(value, unit.to_metres(finite(value, value, LENGTHS)))
    number, word = _quantity(value, LENGTHS)
    if not word:
        return _on_earth(value, unit.to_metres(number))
    factor = metres_per(word, unit)
    if factor is None:
        raise UnitError(
            f"{quoted(value)}: {quoted(word)} is not a unit of length",
            "use mm, cm, m, km, in, ft, mi, usft (US survey foot) or ift (international foot)",
        )
    return _on_earth(value, number * factor)


LONGEST_M = 5e10
"""Longer than any coordinate of any grid; beyond it sums of lengths lose their millimetres."""


def _on_earth(value: str | float, length_m: float) -> float:
    if not abs(length_m) <= LONGEST_M:
        raise UnitError(
            f"{quoted(value)} is longer than anything on earth", "check the decimal point"
        )
    return length_m


# ---------------------------------------------------------------- angles

_DMS = re.compile(
    r"""
    (?P<sign>[+-]?)\s*
    (?P<d>[0-9]+(?:\.[0-9]*)?)
    (?:
        (?:\s*[°dD]\s*|\s*-\s*|\s+)
        (?P<m>[0-9]+(?:\.[0-9]*)?)
        (?:
            (?:\s*['mM]\s*|\s*-\s*|\s+)
            (?P<s>[0-9]+(?:\.[0-9]*)?)
            \s*(?:"|[sS])?
        | \s*['mM]
        )?
    | \s*(?:°|[dD](?:eg(?:rees?)?)?)
    )
    """,
    re.VERBOSE,
)
_ANGLES = {
    AngleFormat.SEXAGESIMAL: "degrees as 123-45-56.7, 123°45'56.7\" or decimal degrees",
    AngleFormat.PACKED: "a packed angle, ddd.mmss: 123.4556 for 123°45'56\"",
    AngleFormat.GON: "an angle in gon, 400 to the circle",
    AngleFormat.RADIANS: "an angle in radians",
}
_SUFFIXES = {AngleFormat.GON: ("gon",), AngleFormat.RADIANS: ("rad", "radians")}


def from_dms(found: object, sign: str, degrees: str, minutes: str, seconds: str) -> float:
    """Return radians from the three parts; "" for a part that is left out."""
    parts = [degrees, minutes, seconds]
    given = [part for part in parts if part]
    hint = "write degrees, minutes and seconds as 123-45-56.7; decimals only in the last part"
    if any("." in part for part in given[:-1]):
        raise UnitError(f"{quoted(found)} has decimals before its last part", hint)
    if minutes and float(minutes) >= 60.0:
        raise UnitError(f"{quoted(found)} has {minutes} minutes; expected less than 60", hint)
    if seconds and float(seconds) >= 60.0:
        raise UnitError(f"{quoted(found)} has {seconds} seconds; expected less than 60", hint)
    arcsec = float(degrees) * 3600 + float(minutes or 0) * 60 + float(seconds or 0)
    if not math.isfinite(arcsec):
        raise UnitError(f"{quoted(found)} is not an angle", hint)
    return -arcsec * ARCSEC if sign == "-" else arcsec * ARCSEC


def _packed(found: object, text: str) -> float:
    """Return radians from ddd.mmss, by its digits, so that no binary fraction moves a minute."""
    match = re.fullmatch(r"([+-]?)([0-9]*)(?:\.([0-9]*))?", text)
    if match is None or not (match[2] or match[3]):
        raise UnitError(
            f"{quoted(found)} is not a packed angle", f"write {_ANGLES[AngleFormat.PACKED]}"
        )
    digits = (match[3] or "").ljust(4, "0")
    seconds = digits[2:4] + ("." + digits[4:] if digits[4:] else "")
    return from_dms(found, match[1], match[2] or "0", digits[:2], seconds)


def _bare_angle(found: object, text: str, fmt: AngleFormat) -> float:
    """Return radians from a text that is nothing but a decimal number."""
    if fmt is AngleFormat.PACKED:
        return _packed(found, text)
    number = finite(float(text), found, _ANGLES[fmt])
    if fmt is AngleFormat.SEXAGESIMAL:
        return math.radians(number)
    return number * math.pi / 200 if fmt is AngleFormat.GON else number


def parse_angle(text: str | float, fmt: AngleFormat = AngleFormat.SEXAGESIMAL) -> float:
    r"""Return an angle in radians, signed and of any size.

    A bare number is read as `fmt` says. A text with degrees, minutes and seconds ("123-45-56.7",
    "123 45 56.7", "123°45'56.7\"", "123d45m56.7s") is read as such in every format; minutes or
    seconds of 60 and more are refused. Raises UnitError.
    """
    if not isinstance(text, str):
        value = finite(text, text, _ANGLES[fmt])
        # the shortest decimal that gives this number is what was typed
        plain = np.format_float_positional(value, trim="-") if fmt is AngleFormat.PACKED else ""
        return _bare_angle(text, plain or repr(value), fmt)
    plain = plain_signs(text)
    for suffix in _SUFFIXES.get(fmt, ()):
        if plain.lower().endswith(suffix):
            plain = plain[: -len(suffix)].rstrip()
            break
    if SIGNED.fullmatch(plain):
        return _bare_angle(text, plain, fmt)
    match = _DMS.fullmatch(plain)
    if match is None:
        raise UnitError(f"{quoted(text)} is not an angle", f"write {_ANGLES[fmt]}")
    return from_dms(text, match["sign"], match["d"], match["m"] or "", match["s"] or "")


_SMALL_UNITS = {
    **dict.fromkeys(('"', "arcsec", "arcsecs", "arcsecond", "arcseconds"), ARCSEC),
    **dict.fromkeys(("'", "arcmin", "arcmins", "arcminute", "arcminutes"), 60 * ARCSEC),
    **dict.fromkeys(("°", "deg", "degree", "degrees"), 3600 * ARCSEC),
    "gon": math.pi / 200,
    "mgon": math.pi / 200_000,
    "rad": 1.0,
    "mrad": 1e-3,
}
_SMALL_ANGLES = "an angle with its unit, such as 20 arcsec, 0.5 arcmin or 0.01 deg"


def radians_per(word: str) -> float | None:
    """Return the radians in the unit of angle of that name, None where there is none."""
    return _SMALL_UNITS.get(re.sub(r"^arc[\s-]+", "arc", word.strip().lower().removesuffix(".")))


def parse_small_angle(text: str | float) -> float:
    """Return an angle that must carry its unit, in radians: "20 arcsec", "0.5 arcmin", '5"'.

    Degrees, minutes and seconds ("0-00-20") are read too. Raises UnitError.
    """
    if not isinstance(text, str):
        raise UnitError(f"{quoted(text)} has no unit", f"write {_SMALL_ANGLES}")
    plain = plain_signs(text)
    match = _DMS.fullmatch(plain)
    if match is not None and match["m"]:
        return from_dms(text, match["sign"], match["d"], match["m"], match["s"] or "")
    number, word = _quantity(text, _SMALL_ANGLES)
    if not word:
        raise UnitError(f"{quoted(text)} has no unit", f"write {_SMALL_ANGLES}")
    factor = radians_per(word)
    if factor is None:
        raise UnitError(
            f"{quoted(text)}: {quoted(word)} is not a unit of angle", f"write {_SMALL_ANGLES}"
        )
    return number * factor


_BEARING = re.compile(
    r"(N(?:orth)?|S(?:outh)?)\.?\s*(.*?)\s*(E(?:ast)?|W(?:est)?)\.?", re.IGNORECASE | re.DOTALL
)
_DUE = {"n": 0.0, "e": 90.0, "s": 180.0, "w": 270.0}
_BEARINGS = "a bearing such as N 45-30-15 E, S45°W or due north"


def parse_bearing(text: str | float, fmt: AngleFormat = AngleFormat.SEXAGESIMAL) -> float:
    """Return the azimuth of a quadrant bearing in radians, 0 up to but not 2 pi.

    The angle within the quadrant is read by `parse_angle` and may be 0 to 90 degrees. Raises
    UnitError.
    """
    if not isinstance(text, str):
        raise UnitError(f"{quoted(text)} is not a bearing", f"write {_BEARINGS}")
    plain = plain_signs(text)
    due = re.fullmatch(r"(?:due\s+)?(n(?:orth)?|e(?:ast)?|s(?:outh)?|w(?:est)?)\.?", plain.lower())
    if due is not None:
        return math.radians(_DUE[due[1][0]])
    match = _BEARING.fullmatch(plain)
    if match is None or not match[2]:
        raise UnitError(f"{quoted(text)} is not a bearing", f"write {_BEARINGS}")
    try:
        angle = parse_angle(match[2], fmt)
    except UnitError as error:
        raise UnitError(f"{quoted(text)}: {error}", error.hint) from None
    if match[2][0] in "+-" or not 0.0 <= angle <= math.pi / 2 + 1e-15:
        raise UnitError(
            f"{quoted(text)}: the angle of a bearing lies between 0 and 90 degrees",
            f"write {_BEARINGS}",
        )
    if match[1][0] in "Ss":
        angle = math.pi - angle if match[3][0] in "Ee" else math.pi + angle
    elif match[3][0] in "Ww":
        angle = 2 * math.pi - angle
    return 0.0 if angle >= 2 * math.pi else angle


# ---------------------------------------------------------------- time, ratios, sigmas

_SECONDS_PER = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), 1.0),
    **dict.fromkeys(("min", "mins", "minute", "minutes"), 60.0),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), 3600.0),
    **dict.fromkeys(("d", "day", "days"), 86400.0),
}
_TIMES = "a time such as 5 s, 30 min or 4 h"


def parse_seconds(value: str | float) -> float:
    """Return a span of time in seconds; a bare number is seconds. Raises UnitError."""
    if not isinstance(value, str):
        return finite(value, value, _TIMES)
    number, word = _quantity(value, _TIMES)
    factor = _SECONDS_PER.get(word.lower().removesuffix(".")) if word else 1.0
    if factor is None:
        raise UnitError(
            f"{quoted(value)}: {quoted(word)} is not a unit of time", "use s, min, h or d"
        )
    return number * factor


_RATIO = re.compile(
    r"(?:1\s*[:/]\s*)?([0-9]{1,3}(?:,[0-9]{3})+|[0-9]{1,3}(?: [0-9]{3})+|[0-9]+)(\.[0-9]*)?"
)


def parse_ratio(value: str | float) -> float:
    """Return the N of a closure ratio 1:N, at least 1: "1:10000", "1/5000", "1:10,000", 10000."""
    number = math.nan
    if isinstance(value, str):
        match = _RATIO.fullmatch(plain_signs(value))
        if match is not None:
            number = float(re.sub("[, ]", "", match[1]) + (match[2] or ""))
    else:
        number = finite(value, value, 'the ratio as "1:10000"')
    if not (math.isfinite(number) and number >= 1.0):
        raise UnitError(f"{quoted(value)} is not a closure ratio", 'write it as "1:10000"')
    return number


# ---------------------------------------------------------------- slopes

_SLOPES = 'a slope such as "2 %", "1:48" (rise to run) or "1/4 in/ft"'
_RISE_TO_RUN = re.compile(rf"([+-]?)\s*({NUMBER})\s*(?::|in)\s*({NUMBER})", re.IGNORECASE)


def parse_slope(value: str | float) -> float:
    """Return a slope or grade as rise per length, signed: "2 %" gives 0.02.

    "1:48" and "1 in 48" are rise to run, never the reverse, so the first number is the smaller;
    "1/4 in/ft" and "5 mm/m" are lengths per length. A bare number but 0 is refused: it could be
    percent or not. Raises UnitError.
    """
    if not isinstance(value, str):
        if finite(value, value, _SLOPES) == 0.0:
            return 0.0
        raise UnitError(
            f"{quoted(value)} has no unit: percent, or rise to run?", f"write {_SLOPES}"
        )
    ratio = _RISE_TO_RUN.fullmatch(plain_signs(value))
    if ratio is not None:
        rise, run = (finite(float(part), value, _SLOPES) for part in ratio.groups()[1:])
        if run <= 0.0 or rise > run:
            raise UnitError(
                f"{quoted(value)} is steeper than 1:1: rise to run, or run to rise?",
                f"write {_SLOPES}; what is steeper than 1:1 in percent",
            )
        return -rise / run if ratio[1] == "-" else rise / run
    number, word = _quantity(value, _SLOPES)
    if word.lower() in ("%", "percent"):
        return number / 100.0
    if word == "‰":
        return number / 1000.0
    factors = [
        metres_per(part, LengthUnit.FOOT)
        for part in re.split(r"\s*/\s*|\s+per\s+", word, flags=re.IGNORECASE)
    ]
    if len(factors) == 2 and factors[0] is not None and factors[1] is not None:
        return number * factors[0] / factors[1]
    raise UnitError(f"{quoted(value)} is not a slope", f"write {_SLOPES}")


# ---------------------------------------------------------------- sigmas

_SIGMA = re.compile(rf"({NUMBER})\s*(%|percent|-?\s*(?:sigma|σ))?", re.IGNORECASE)
_MOST_SIGMAS = 10.0


def parse_sigma_level(value: str | float) -> SigmaLevel:
    """Return what stored sigmas are multiples of: 1, 2, "2 sigma" or a probability, "95 %".

    A probability p gives the two-sided normal quantile for an axis and, for a radial sigma, the
    Rayleigh quantile sqrt(-2 ln(1 - p)) over sqrt(2). Raises UnitError.
    """
    hint = 'write the number of sigmas (1, 2, 3) or a probability such as "95 %"'
    match = _SIGMA.fullmatch(plain_signs(value)) if isinstance(value, str) else None
    if isinstance(value, str):
        if match is None:
            raise UnitError(f"{quoted(value)} is not a sigma level", hint)
        number = float(match[1])
    else:
        number = finite(value, value, "a number of sigmas")
    if match is not None and (match[2] or "").lower() in ("%", "percent"):
        share = number / 100
        if not 0.0 < share < 1.0:
            raise UnitError(f"{quoted(value)} is not between 0 % and 100 %", hint)
        axis = NormalDist().inv_cdf((1 + share) / 2)
        return SigmaLevel(axis=axis, radial=math.sqrt(-math.log1p(-share)))
    if not 0.0 < number <= _MOST_SIGMAS:
        raise UnitError(f"{quoted(value)} is not a number of sigmas up to 10", hint)
    return SigmaLevel(axis=number, radial=number)
