"""Field books as columns."""

from dataclasses import dataclass

from checker.model.arrays import FloatArray, IntArray, TextArray


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatedSets:
    """The single measurements of legs that were measured more than once; shape (sets,).

    row: of the book, whose values are their means. line: of the file. face: 1 or 2, 0 not said.
    angle_rad, distance_m (horizontal): NaN: not observed in this set.
    """

    row: IntArray
    line: IntArray
    face: IntArray
    angle_rad: FloatArray
    distance_m: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class TraverseBook:
    """A traverse book, one row a leg in the order walked; shape (rows,). NaN: not observed.

    angle_rad: the angle at `at`, or the azimuth of the leg; deflections right positive.
    distance_m: horizontal; slope_m with zenith_rad, instrument height hi_m and target height ht_m.
    A last row with an angle and no distance closes the angles. Legs measured in several sets
    stand once, with the means; sets: the single ones, None where every leg was measured once.
    back: the station that the angle was turned from, as booked, "" where the book does not say.
    """

    path: str
    line: IntArray
    at: TextArray
    to: TextArray
    angle_rad: FloatArray
    distance_m: FloatArray
    slope_m: FloatArray
    zenith_rad: FloatArray
    hi_m: FloatArray
    ht_m: FloatArray
    sets: RepeatedSets | None = None
    back: tuple[str, ...] = ()

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.at)


@dataclass(frozen=True, slots=True, kw_only=True)
class BookedLevels:
    """What a page of levels was reduced to in the field; shape (rows,), NaN where nothing stands.

    rise_m: falls negative. instrument_m: height of the instrument, or of collimation. *_step_m: one
    unit of the last digit written; reading_step_m: the smallest one of the readings, 0 where they
    are means.
    """

    reading_step_m: float
    rise_m: FloatArray
    rise_step_m: FloatArray
    elevation_m: FloatArray
    elevation_step_m: FloatArray
    instrument_m: FloatArray
    instrument_step_m: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelBook:
    """A page of backsights, intermediate sights and foresights; shape (rows,). NaN: not observed.

    distance_m: length of the section that ends in this row's foresight. sights_m: shape (rows, 3),
    lengths of the sights of bs, is and fs. wires_m: shape (rows, 3, 3), for bs, is and fs the
    upper, middle and lower wire, whose means are the readings; wire_step_m: one unit of their last
    digit. booked: what the field book was reduced to. None: the book has nothing of it.
    """

    path: str
    line: IntArray
    point: TextArray
    bs_m: FloatArray
    is_m: FloatArray
    fs_m: FloatArray
    distance_m: FloatArray
    sights_m: FloatArray | None = None
    wires_m: FloatArray | None = None
    wire_step_m: float = 0.0
    booked: BookedLevels | None = None

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.point)


@dataclass(frozen=True, slots=True, kw_only=True)
class RiseBook:
    """Differences of elevation, one row a section; shape (rows,). rise_m is `to` minus `from`.

    back_m: the same section levelled the other way, `from` minus `to`; None: the book has no such
    column.
    """

    path: str
    line: IntArray
    from_: TextArray
    to: TextArray
    rise_m: FloatArray
    distance_m: FloatArray
    setups: FloatArray
    back_m: FloatArray | None = None

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.to)


@dataclass(frozen=True, slots=True, kw_only=True)
class VectorBook:
    """Vectors from one mark to another, one row a vector.

    d_m: shape (rows, 3), the three components, `to` minus `from`, in the book's own axes.
    covariance_m2: shape (rows, 3, 3), symmetric; NaN where the book gives none.
    """

    path: str
    line: IntArray
    from_: TextArray
    to: TextArray
    d_m: FloatArray
    covariance_m2: FloatArray

    def __len__(self) -> int:
        """Return the number of vectors."""
        return len(self.to)


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureBook:
    """Courses as a deed describes them, in order; shape (rows,), NaN and "" where not given.

    azimuth_rad, distance_m: of a straight course. turn: + right, - left, 0 for a straight course.
    A straight course without azimuth or distance is one of which that is missing.
    chord_azimuth_rad: direction of a curve's chord; radial_azimuth_rad: from its beginning to its
    centre. tangent: "yes", "no" or "". unit fields ending
    in _step_*: one unit of the last digit that is written, by which a stated value may be rounded.
    whole_circle: the directions of the column of bearings were written as whole-circle azimuths.
    chord_from_bearing: rows of curves whose one direction was taken for that of the chord.
    """

    path: str
    line: IntArray
    course: TextArray
    azimuth_rad: FloatArray
    distance_m: FloatArray
    turn: IntArray
    radius_m: FloatArray
    arc_m: FloatArray
    delta_rad: FloatArray
    chord_m: FloatArray
    chord_azimuth_rad: FloatArray
    radial_azimuth_rad: FloatArray
    tangent: TextArray
    radius_step_m: FloatArray
    arc_step_m: FloatArray
    delta_step_rad: FloatArray
    chord_step_m: FloatArray
    whole_circle: bool = False
    chord_from_bearing: tuple[int, ...] = ()

    def __len__(self) -> int:
        """Return the number of courses."""
        return len(self.course)


@dataclass(frozen=True, slots=True, kw_only=True)
class SightBook:
    """Observations of a network, one row a sight; shape (rows,). NaN and "": not observed.

    One row may hold several observations from `at` to `to`: direction_rad as read on the circle
    (clockwise; rows of one `at` and one `round` share its zero), angle_rad clockwise from `back`,
    azimuth_rad, distance_m horizontal, or slope_m with zenith_rad, rise_m (`to` minus `at`, of a
    level line of length_m or setups). sigma_*: one standard deviation, where the row states it.
    """

    path: str
    line: IntArray
    at: TextArray
    back: TextArray
    to: TextArray
    round: TextArray
    direction_rad: FloatArray
    angle_rad: FloatArray
    azimuth_rad: FloatArray
    distance_m: FloatArray
    slope_m: FloatArray
    zenith_rad: FloatArray
    rise_m: FloatArray
    length_m: FloatArray
    setups: FloatArray
    sigma_direction_rad: FloatArray
    sigma_angle_rad: FloatArray
    sigma_azimuth_rad: FloatArray
    sigma_distance_m: FloatArray
    sigma_rise_m: FloatArray

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.at)


Book = TraverseBook | LevelBook | RiseBook | VectorBook | FigureBook | SightBook
