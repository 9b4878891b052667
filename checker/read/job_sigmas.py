"""Standard deviations before adjustment, as a section of a job states them."""

from typing import Final, Literal

from checker.formulas import parse_formula
from checker.model.job import Sigmas
from checker.read.job_draft import Draft
from checker.read.job_tolerances import is_more_than_nothing
from checker.read.toml_tables import Table, quoted
from checker.units import Formula

_POSITIVE: Final = "a standard deviation greater than 0"


def sigmas_of(draft: Draft, table: Table, keys: tuple[str, ...]) -> Sigmas:
    """Return the standard deviations that a section states; keys: without sigma_."""
    found: dict[str, Formula | None] = {}
    for key in keys:
        kind: Literal["length", "angle"] = "length"
        if key in ("angle", "direction", "azimuth"):
            kind = "angle"
        found[key] = table.parsed(
            f"sigma_{key}",
            lambda value, kind=kind: parse_formula(value, kind, draft.unit),  # type: ignore[misc]
            f"{_POSITIVE}, such as {_EXAMPLES[key]}",
            accept=is_more_than_nothing,
        )
        formula = found[key]
        may_n = key == "rise"
        if formula is not None and formula.needs_n and not may_n:
            table.fault(
                "bad-value",
                f"sigma_{key}",
                f"{table.title}: sigma_{key} is {quoted(formula.text)}, which depends on n",
                f"write {_EXAMPLES[key]}",
            )
            found[key] = None
        elif formula is not None and formula.needs_length and kind == "angle":
            table.fault(
                "bad-value",
                f"sigma_{key}",
                f"{table.title}: sigma_{key} is {quoted(formula.text)}, which depends on a length",
                f"write {_EXAMPLES[key]}",
            )
            found[key] = None
    return Sigmas(**found)


_EXAMPLES: Final = {
    "angle": '"5 arcsec"',
    "direction": '"3 arcsec"',
    "azimuth": '"10 arcsec"',
    "distance": '"2 mm + 2 ppm"',
    "rise": '"1 mm * sqrt(km)"',
    "vector": '"5 mm + 1 ppm"',
}
