"""The way from one coordinate frame to another, as PROJ tells of it.

Versions of the library differ in how they tell of the same way; here it is told alike.
"""

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pyproj import Transformer

_EXCHANGED = re.compile(r" \(with axis order normalized[^()]*\)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A transformation in words.

    steps: its steps, without those that only exchange axes. accuracy_m: how exactly it is known;
    None where nobody says. A projection is exact: it has 0.
    """

    steps: str
    accuracy_m: float | None

    @property
    def known(self) -> str:
        """How exactly it is known, in words."""
        if self.accuracy_m is None:
            return "stated accuracy unknown"
        return f"stated accuracy {self.accuracy_m:g} m"


def way_of(transformer: "Transformer") -> Way:
    """Return what a transformer does, and how exactly it is known."""
    description = _EXCHANGED.sub("", transformer.description)
    steps = [s for s in description.split(" + ") if not s.startswith("axis order change")]
    accuracy: float | None = transformer.accuracy
    if not transformer.accuracy >= 0.0:
        # Of projections alone, some versions say that their accuracy is unknown.
        kinds = {operation.type_name for operation in transformer.operations or ()}
        accuracy = 0.0 if kinds == {"Conversion"} else None
    return Way(steps=" + ".join(steps) or description, accuracy_m=accuracy)
