"""Allowable values as texts: "15 mm", "20 arcsec * sqrt(n)", "1:500, at most 1 in"."""

import math
import re
from dataclasses import replace
from typing import Any, Literal

from checker.text import quoted
from checker.units import (
    FRACTION,
    LENGTHS,
    NUMBER,
    SIGNED,
    Formula,
    LengthUnit,
    UnitError,
    finite,
    from_dms,
    metres_per,
    number_of,
    parse_length,
    plain_signs,
    radians_per,
)

_TOKEN = re.compile(
    rf"""\s*(?:
      (?P<dms>[0-9]+\s*[°-]\s*[0-9]+\s*['-]\s*[0-9]+(?:\.[0-9]*)?"?|[0-9]+\s*'\s*[0-9]+(?:\.[0-9]*)?")
    | (?P<number>{FRACTION}|{NUMBER})
    | (?P<root>sqrt|√)
    | (?P<word>[A-Za-zµ]+(?:[-_][A-Za-z]+)*|°|'|")
    | (?P<sign>[-+*/()])
    )""",
    re.VERBOSE,
)
_M_PER_KM = 1000.0
_Term = tuple[str, float]


class _FormulaReader:
    """Reads one formula: terms joined by +, each a quantity and at most one variable."""

    def __init__(self, text: str, kind: Literal["length", "angle"], unit: LengthUnit) -> None:
        """Split the text into tokens."""
        self.text = text
        self.kind = kind
        self.unit = unit
        self.expected = (
            'a length such as "15 mm", "12 mm * sqrt(km)" or "2 cm + 50 ppm"'
            if kind == "length"
            else 'an angle such as "20 arcsec" or "20 arcsec * sqrt(n)"'
        )
        self.tokens: list[tuple[str, str]] = []
        left = plain_signs(text)
        at = 0
        while at < len(left):
            match = _TOKEN.match(left, at)
            if match is None or match.lastgroup is None:
                raise self.fault(f"{quoted(left[at:].strip())} cannot be read")
            self.tokens.append((match.lastgroup, match[match.lastgroup]))
            at = match.end()

    def fault(self, why: str) -> UnitError:
        """Return the error that says why."""
        return UnitError(f"{quoted(self.text)}: {why}", f"write {self.expected}")

    def peek(self) -> tuple[str, str]:
        """Return the next token; ("end", "") behind the last."""
        return self.tokens[0] if self.tokens else ("end", "")

    def take(self, text: str) -> bool:
        """Take the next token if it is this sign."""
        if self.peek() == ("sign", text):
            self.tokens.pop(0)
            return True
        return False

    def read(self) -> Formula:
        """Return the formula, its terms of one kind added."""
        sums: dict[str, Any] = {}
        while True:
            part, value = self.term()
            sums[part] = sums.get(part, 0.0) + value
            if not self.take("+"):
                break
        if self.tokens:
            if self.peek() == ("sign", "-"):
                raise self.fault("terms can only be added")
            raise self.fault(f"{quoted(self.peek()[1])} was not expected here")
        if not all(map(math.isfinite, sums.values())):
            raise self.fault("the number is too large")
        text = self.text.strip()
        # a bare number is shown with the unit that it is in
        bare = SIGNED.fullmatch(text) is not None
        return Formula(**sums, text=f"{text} {self.unit.short}" if bare else text, bare=bare)

    def term(self) -> _Term:
        """Return the field of `Formula` that the next term belongs to, and its value."""
        if self.peek() == ("sign", "-"):
            raise UnitError(
                f"{quoted(self.text)}: a limit cannot be negative", "write it as a positive value"
            )
        self.take("+")
        if self.peek()[0] in ("number", "dms"):
            field, value = self.quantity()
            if self.take("*") or self.peek()[0] == "root":
                return self.times(field, value, self.variable())
            if self.take("/"):
                kind, word = self.peek()
                if kind != "word" or word.lower() not in ("km", "mi"):
                    raise self.fault('only "/ km" or "/ mi" may stand behind a quantity')
                return self.times(field, value, self.variable())
            return field, value
        variable = self.variable()
        if not self.take("*"):
            raise self.fault("a quantity and * were expected")
        if self.peek()[0] not in ("number", "dms"):
            raise self.fault("a number with its unit was expected")
        field, value = self.quantity()
        return self.times(field, value, variable)

    def quantity(self) -> _Term:
        """Return a number with its unit, in metres or radians; ppm belongs to the length."""
        kind, text = self.tokens.pop(0)
        if kind == "dms":
            if self.kind != "angle":
                raise self.fault("a length was expected, not an angle")
            parts = re.findall(r"[0-9.]+", text)
            if len(parts) == 2:
                parts = ["0", *parts]
            return "constant", from_dms(self.text, "", *parts)
        try:
            number = number_of(text)
        except (ValueError, OverflowError):
            raise self.fault(f"{quoted(text)} is not a number") from None
        if self.peek()[0] != "word":
            if self.kind == "length":
                return "constant", self.unit.to_metres(number)
            raise self.fault("the number has no unit")
        words = [self.tokens.pop(0)[1]]
        while self.peek()[0] == "word" and self.peek()[1] not in ("n", "°", "'", '"'):
            words.append(self.tokens.pop(0)[1])  # "US survey feet", "arc seconds"
        word = " ".join(words)
        if word.lower() == "ppm":
            if self.kind == "angle":
                raise self.fault("ppm is a part of a length, and an angle was expected")
            return "per_length", number / 1e6
        length, angle = metres_per(word, self.unit), radians_per(word)
        factor = length if self.kind == "length" else angle
        if factor is None:
            other = angle if self.kind == "length" else length
            found = "a length" if self.kind == "angle" else "an angle"
            wanted = "an angle" if self.kind == "angle" else "a length"
            if other is not None:
                raise self.fault(f"{wanted} was expected, and {quoted(word)} makes it {found}")
            raise self.fault(f"{quoted(word)} is not a unit")
        return "constant", number * factor

    def variable(self) -> tuple[str, float]:
        """Return what a quantity is multiplied by (n, km, a root of one) and the km in its unit."""
        kind, word = self.tokens.pop(0) if self.tokens else ("end", "")
        if kind == "root":
            bracket = self.take("(")
            if self.peek()[0] == "root":
                raise self.fault("a root of a root means nothing here")
            name, km = self.variable()
            if bracket and not self.take(")"):
                raise self.fault('a ")" is missing')
            return name.replace("per_", "per_sqrt_"), math.sqrt(km)
        if kind == "word" and word.lower() == "n":
            return "per_n", 1.0
        if kind == "word" and word.lower() in ("km", "mi"):
            if self.kind == "angle":
                raise self.fault("an angle can depend on n, not on a length")
            metres = metres_per(word, self.unit)
            assert metres is not None  # noqa: S101 - km and mi are in the table
            return "per_km", metres / _M_PER_KM
        raise self.fault("n, km, mi, sqrt(n), sqrt(km) or sqrt(mi) was expected")

    def times(self, field: str, value: float, variable: tuple[str, float]) -> _Term:
        """Return a quantity times a variable."""
        if field != "constant":
            raise self.fault("ppm already means a part of the length")
        name, km = variable
        return name, value / km


def parse_formula(
    value: str | float, kind: Literal["length", "angle"], unit: LengthUnit
) -> Formula:
    """Return an allowable value: "15 mm", "20 arcsec * sqrt(n)", "2 cm + 50 ppm", sums of these.

    n counts angles or set-ups; km and mi are the length of the line (a mile is 5280 of the job's
    own feet, of the international foot in metres). A bare number is a length in `unit`; an angle
    needs its unit. A length may be a share of the length that it belongs to, "1:500", "0.2 %",
    "1/4 in per 10 ft"; may be held with ", at least 5 mm" and ", at most 1 in"; and may begin with
    a constant for short lengths: "1 in up to 100 ft, then 1:1000, at most 6 in". Negative terms are
    refused. Raises UnitError.
    """
    if isinstance(value, str):
        if not value.strip():
            raise UnitError('"" is empty', "write the limit, or leave the key out")
        return _bounded(value, kind, unit)
    if kind == "angle":
        raise UnitError(
            f"{quoted(value)} has no unit",
            'write an angle such as "20 arcsec" or "20 arcsec * sqrt(n)"',
        )
    number = finite(value, value, LENGTHS)
    if number < 0.0:
        raise UnitError(
            f"{quoted(value)}: a limit cannot be negative", "write it as a positive value"
        )
    return Formula(constant=unit.to_metres(number), text=f"{value} {unit.short}", bare=True)


_SHORT = re.compile(r"(.+?)\s+up\s+to\s+(.+?)\s*[,;]\s*then\s+(.+)", re.IGNORECASE | re.DOTALL)
_BOUND = re.compile(r"(.+)[,;]\s*at\s+(least|most)\s+(.+)", re.IGNORECASE | re.DOTALL)
_ONE_TO = re.compile(rf"1\s*:\s*({NUMBER})")
_PERCENT = re.compile(rf"({NUMBER})\s*%")
_PER = re.compile(r"(.+?)\s+per\s+(.+)", re.IGNORECASE | re.DOTALL)


def _bounded(text: str, kind: Literal["length", "angle"], unit: LengthUnit) -> Formula:
    """Return a formula with what it is held between, and its value for short lengths."""
    rest, bounds = text.strip(), dict[str, Any]()
    if kind == "length" and (match := _SHORT.fullmatch(rest)):
        bounds |= {"short": _held(text, match[1], unit), "up_to_m": _held(text, match[2], unit)}
        rest = match[3]
    while match := _BOUND.fullmatch(rest):
        side = match[2].lower()
        if side in bounds:
            raise UnitError(f"{quoted(text)} says at {side} twice", "keep one of the two")
        bound = _share_of_length(match[3].strip(), unit)
        bound = bound or _FormulaReader(match[3], kind, unit).read()
        if bound.needs_n or bound.needs_length:
            raise UnitError(
                f"{quoted(text)}: at {side} {match[3]} is no fixed value",
                f'write one behind "at {side}", such as "1 in"',
            )
        bounds[side] = bound.at()
        rest = match[1].strip()
    if bounds.get("least", 0.0) > bounds.get("most", math.inf):
        raise UnitError(
            f"{quoted(text)} is at least more than it is at most", "exchange the two bounds"
        )
    found = _share_of_length(rest, unit) if kind == "length" else None
    if found is None:
        found = _FormulaReader(rest, kind, unit).read()
    if not bounds:
        return found
    return replace(found, **bounds, text=text.strip())


def _held(text: str, part: str, unit: LengthUnit) -> float:
    """Return a fixed length of a formula, more than 0."""
    value = parse_length(part, unit)
    if not value > 0.0:
        raise UnitError(f"{quoted(text)}: {part} is no length greater than 0", "write one")
    return value


def _share_of_length(text: str, unit: LengthUnit) -> Formula | None:
    """Return a limit that is a share of a length; None for any other."""
    if match := _ONE_TO.fullmatch(text):
        run = float(match[1])
        if not run > 0.0:
            raise UnitError(f"{quoted(text)} is no ratio", 'write one such as "1:500"')
        return Formula(per_length=1.0 / run, text=text)
    if match := _PERCENT.fullmatch(text):
        return Formula(per_length=float(match[1]) / 100.0, text=text)
    if match := _PER.fullmatch(text):
        return Formula(
            per_length=_held(text, match[1], unit) / _held(text, match[2], unit), text=text
        )
    return None
