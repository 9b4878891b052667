"""Tables that belong to alignments: elements, profiles, stakes; one row a line of the file.

A station travels as it was read: its number in metres, and which of two places is meant where a
station equation lets it occur twice.
"""

from dataclasses import dataclass

from checker.model.arrays import FloatArray, IntArray, TextArray


@dataclass(frozen=True, slots=True, kw_only=True)
class ElementTable:
    """Lines, arcs and spirals end to end; shape (rows,), NaN and "" where a cell is empty.

    kind: line, arc or spiral. radius_m: + turning right, - turning left; of a spiral at its
    curved end, unless radius_in_m or radius_out_m state its two ends (infinite: straight).
    northing_m, easting_m, azimuth_rad: of the element's start.
    """

    path: str
    line: IntArray
    kind: TextArray
    length_m: FloatArray
    radius_m: FloatArray
    radius_in_m: FloatArray
    radius_out_m: FloatArray
    northing_m: FloatArray
    easting_m: FloatArray
    azimuth_rad: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class IntersectionTable:
    """Points of intersection in order, the two ends of the course among them; shape (rows,).

    radius_m: of the arc that rounds the corner, 0 where there is none. spiral_in_m, spiral_out_m:
    lengths of the spirals before and behind it, 0 where there is none.
    """

    path: str
    line: IntArray
    northing_m: FloatArray
    easting_m: FloatArray
    radius_m: FloatArray
    spiral_in_m: FloatArray
    spiral_out_m: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfileTable:
    """Points of vertical intersection up-station; shape (rows,).

    side: "back" or "ahead" of a station equation, "" where not said. length_in_m, length_out_m:
    how far the vertical curve reaches before and behind its PVI, 0 without one.
    """

    path: str
    line: IntArray
    station_m: FloatArray
    side: TextArray
    elevation_m: FloatArray
    length_in_m: FloatArray
    length_out_m: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class SuperelevationTable:
    """Crossfalls up-station, changing evenly between them; shape (rows,).

    side: as in `ProfileTable`. left, right: rise per length going outwards from the line.
    """

    path: str
    line: IntArray
    station_m: FloatArray
    side: TextArray
    left: FloatArray
    right: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class StakeTable:
    """Stakes by station and offset, or by northing and easting; shape (rows,).

    side: as in `ProfileTable`. offset_m: + right, NaN where the row gives coordinates instead.
    elevation_m: NaN where the table gives none.
    """

    path: str
    line: IntArray
    id: TextArray
    station_m: FloatArray
    side: TextArray
    offset_m: FloatArray
    northing_m: FloatArray
    easting_m: FloatArray
    elevation_m: FloatArray
    description: TextArray

    def __len__(self) -> int:
        """Return the number of stakes."""
        return len(self.id)
