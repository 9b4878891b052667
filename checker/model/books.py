"""Field books as columns."""

from dataclasses import dataclass

from checker.model.arrays import FloatArray, IntArray, TextArray


@dataclass(frozen=True, slots=True, kw_only=True)
class TraverseBook:
    """A traverse book, one row a leg in the order walked; shape (rows,). NaN: not observed.

    angle_rad: the angle at `at`, or the azimuth of the leg; deflections right positive.
    distance_m: horizontal; slope_m with zenith_rad, instrument height hi_m and target height ht_m.
    A last row with an angle and no distance closes the angles.
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

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.at)


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelBook:
    """A page of backsights, intermediate sights and foresights; shape (rows,). NaN: not observed.

    distance_m: length of the section that ends in this row's foresight.
    """

    path: str
    line: IntArray
    point: TextArray
    bs_m: FloatArray
    is_m: FloatArray
    fs_m: FloatArray
    distance_m: FloatArray

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.point)


@dataclass(frozen=True, slots=True, kw_only=True)
class RiseBook:
    """Differences of elevation, one row a section; shape (rows,). rise_m is `to` minus `from`."""

    path: str
    line: IntArray
    from_: TextArray
    to: TextArray
    rise_m: FloatArray
    distance_m: FloatArray
    setups: FloatArray

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
    chord_azimuth_rad: direction of a curve's chord. tangent: "yes", "no" or "". unit fields ending
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


Book = TraverseBook | LevelBook | RiseBook | VectorBook | FigureBook
