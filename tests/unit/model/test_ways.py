from dataclasses import dataclass

import pytest
from pyproj.transformer import TransformerGroup

from checker.model.ways import Way, way_of


@dataclass(frozen=True)
class Step:
    type_name: str


@dataclass(frozen=True)
class Told:
    """A transformer as some version of the library tells of it."""

    description: str
    accuracy: float
    operations: tuple[Step, ...] | None = None


MOVED = (Step("Conversion"), Step("Conversion"))


@pytest.mark.parametrize(
    ("told", "way"),
    [
        (Told("axis order change (2D) + Zone 1", 0.0, MOVED), Way(steps="Zone 1", accuracy_m=0.0)),
        (
            Told("Zone 1 (with axis order normalized for visualization)", -1.0, MOVED),
            Way(steps="Zone 1", accuracy_m=0.0),
        ),
        (
            Told("Inverse of Zone 1 + A to B (1) + axis order change (2D)", 2.0),
            Way(steps="Inverse of Zone 1 + A to B (1)", accuracy_m=2.0),
        ),
        (
            Told("A to B (1)", -1.0, (Step("Transformation"), Step("Conversion"))),
            Way(steps="A to B (1)", accuracy_m=None),
        ),
        (Told("A to B (1)", -1.0), Way(steps="A to B (1)", accuracy_m=None)),
        (
            Told("axis order change (2D)", 0.0, MOVED[:1]),
            Way(steps="axis order change (2D)", accuracy_m=0.0),
        ),
    ],
)
def test_every_version_tells_alike(told: Told, way: Way) -> None:
    assert way_of(told) == way  # type: ignore[arg-type]  # it has what is asked of a transformer


def test_the_library_here() -> None:
    """EPSG registers the projection as a conversion, which is exact (EPSG Guidance Note 7-1)."""
    projected = TransformerGroup("EPSG:6318", "EPSG:6527", always_xy=True).transformers[0]
    assert way_of(projected) == Way(steps="SPCS83 New Jersey zone (US survey foot)", accuracy_m=0.0)
    assert way_of(projected).known == "stated accuracy 0 m"
    with_datum = TransformerGroup("EPSG:6527", "EPSG:4326", always_xy=True).transformers[0]
    assert "axis" not in way_of(with_datum).steps
    assert way_of(with_datum).accuracy_m == 2.0


def test_nothing_said_is_nothing_known() -> None:
    assert Way(steps="", accuracy_m=None).known == "stated accuracy unknown"
