"""What the user asked for: the job file, validated. Lengths in metres, angles in radians.

Every section that asks for a check is one dataclass below `CheckSection`; `Job.checks` keeps them
in the order of the file, so a new kind of check adds a class and changes nothing here.
"""

import datetime
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

from checker.errors import Where
from checker.units import AngleFormat, Formula, LengthUnit, SigmaLevel


class Status(StrEnum):
    """Standing of the report."""

    DRAFT = "draft"
    ISSUED = "issued"
    SUPERSEDED = "superseded"


class Rule(StrEnum):
    """How a tolerance is compared; see `Tolerance`."""

    SIMPLE = "simple"
    GUARDED = "guarded"


class Match(StrEnum):
    """How as-measured points find their design."""

    ID = "id"
    NEAREST = "nearest"
    LINE = "line"
    STATION = "station"


class Shape(StrEnum):
    """Shape of a traverse."""

    LOOP = "loop"
    LINK = "link"
    OPEN = "open"


class AngleKind(StrEnum):
    """What a traverse book's directions are."""

    RIGHT = "right"
    LEFT = "left"
    INTERIOR = "interior"
    DEFLECTION = "deflection"
    AZIMUTH = "azimuth"
    BEARING = "bearing"


class AzimuthKind(StrEnum):
    """From which north the azimuths that are stated or observed count."""

    GRID = "grid"
    GEODETIC = "geodetic"
    ASTRONOMIC = "astronomic"


class Adjust(StrEnum):
    """Rule by which a misclosure is shared out; a check accepts those that suit it."""

    NONE = "none"
    COMPASS = "compass"
    TRANSIT = "transit"
    CRANDALL = "crandall"
    DISTANCE = "distance"
    SETUPS = "setups"
    LEAST_SQUARES = "least-squares"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sigmas:
    """Standard deviations of observations before adjustment; None: not stated.

    distance, rise, vector: metres, as formulas of a length (rise_by_setups: of n set-ups); angle,
    direction, azimuth: radians. vector: of each component, where a book of vectors has no
    covariances.
    """

    angle: Formula | None = None
    direction: Formula | None = None
    distance: Formula | None = None
    azimuth: Formula | None = None
    rise: Formula | None = None
    rise_by_setups: Formula | None = None
    vector: Formula | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """One named class of tolerance. None means: not limited.

    horizontal, along, across, left, right: plan limits (left and right are the two sides of
    across); vertical, above, below: height limits; distance, elevation: limits of differences
    between points (longer and shorter are the two sides of distance); plumb: how far a top may
    stand off its bottom; radius: of a fitted arc; slope: limit of the difference of a slope,
    rise per length; minimum_grade, maximum_grade, minimum_drop, maximum_crossfall: limits of the
    as-measured values themselves;
    angular, misclosure: limits of closures, `ratio` the N of 1:N; section: of a level section's
    two runnings; set_angle, set_distance: how far one set may differ from the mean of its sets;
    area: how far an area may differ from the stated one (square metres).
    rule: simple compares the measured value; guarded adds and subtracts k times its standard
    uncertainty. sigma_level: what the sigmas are multiples of; None leaves them as read.
    source: where the user took the tolerance from, printed with it.
    """

    name: str
    horizontal: Formula | None = None
    along: Formula | None = None
    across: Formula | None = None
    left: Formula | None = None
    right: Formula | None = None
    vertical: Formula | None = None
    above: Formula | None = None
    below: Formula | None = None
    distance: Formula | None = None
    longer: Formula | None = None
    shorter: Formula | None = None
    elevation: Formula | None = None
    plumb: Formula | None = None
    radius: Formula | None = None
    slope: Formula | None = None
    minimum_grade: Formula | None = None
    maximum_grade: Formula | None = None
    maximum_crossfall: Formula | None = None
    minimum_drop: Formula | None = None
    angular: Formula | None = None
    misclosure: Formula | None = None
    section: Formula | None = None
    set_angle: Formula | None = None
    set_distance: Formula | None = None
    area: Formula | None = None
    ratio: float | None = None
    rule: Rule = Rule.SIMPLE
    k: float = 2.0
    sigma_level: SigmaLevel | None = None
    source: str | None = None

    @property
    def is_placeholder(self) -> bool:
        """True where its source says that nobody has agreed to it, as a new job's does."""
        return (self.source or "").strip().casefold().startswith("placeholder")


@dataclass(frozen=True, slots=True, kw_only=True)
class Position:
    """A place given in the job instead of a control id; metres. NaN elevation: not given."""

    northing_m: float
    easting_m: float
    elevation_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Selection:
    """Which points: all that fit every list that is not empty.

    Patterns as in file names: ``*`` any run, ``?`` one character; case does not matter.
    """

    ids: tuple[str, ...] = ()
    descriptions: tuple[str, ...] = ()
    layers: tuple[str, ...] = ()
    files: tuple[str, ...] = ()

    @property
    def everything(self) -> bool:
        """True where nothing was asked for, so all points are meant."""
        return not (self.ids or self.descriptions or self.layers or self.files)


@dataclass(frozen=True, slots=True, kw_only=True)
class Exclusion:
    """An as-measured point that the user sets aside, with the reason that the report shows."""

    id: str
    reason: str
    where: Where


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """How the design's ground coordinates become grid: grid = origin + factor (ground - origin).

    origin: metres, in the coordinates' own axes.
    """

    combined_factor: float
    origin_n_m: float
    origin_e_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """The frame, as stated by the user; only `ground` changes a number."""

    crs: str | None = None
    vertical: str | None = None
    geoid: str | None = None
    realization: str | None = None
    epoch: str | None = None
    ground: Ground | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Labels:
    """How a drawing's points get their numbers.

    layers: where the labels stand (none: the point's own layer). radius_m: how far a label may
    stand (None: no limit). attribute: the one that holds the number (None: a usual one).
    elevation_attribute: likewise of the elevation. elevation_text: texts with decimals beside the
    points are their elevations. Either is taken where the point itself stands at height 0.
    """

    layers: tuple[str, ...] = ()
    radius_m: float | None = None
    attribute: str | None = None
    elevation_attribute: str | None = None
    elevation_text: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class OlderDesign:
    """An earlier revision of the design: a drawing or a table of points, or tables of its courses.

    path: the drawing or table of points; without one the first of the other tables, and bare is
    True. revision: its name. unit: of that drawing or table, None where it is the design's own.
    elements, intersections, profiles: tables by the name of the alignment; stakes: by the name of
    the check.
    """

    path: str
    bare: bool = False
    revision: str | None = None
    unit: LengthUnit | None = None
    elements: dict[str, str] = field(default_factory=dict)
    intersections: dict[str, str] = field(default_factory=dict)
    profiles: dict[str, str] = field(default_factory=dict)
    stakes: dict[str, str] = field(default_factory=dict)

    @property
    def is_drawing(self) -> bool:
        """True where the file's name says that it is a drawing."""
        return not self.bare and self.path.casefold().endswith(".dxf")

    @property
    def words(self) -> str:
        """What the revision is called in a sentence."""
        return f'"{self.path}"' if self.revision is None else f"revision {self.revision}"


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignInput:
    """`[design]`: drawings and point tables of this revision; older: revisions before it.

    rounded_to_m: one unit of the last digit of its coordinates; 0: they are taken as exact.
    """

    where: Where
    drawings: tuple[str, ...] = ()
    points: tuple[str, ...] = ()
    unit: LengthUnit
    revision: str | None = None
    issued: str | None = None
    sha256: str | None = None
    older: tuple[OlderDesign, ...] = ()
    rounded_to_m: float = 0.0
    columns: dict[str, str] = field(default_factory=dict)
    labels: Labels = field(default_factory=Labels)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredInput:
    """`[measured]`: the files of as-measured points.

    sigma_factor, sigma_floor_h_m (radial), sigma_floor_z_m, bubble_rad: see `SigmaBudget`.
    """

    where: Where
    files: tuple[str, ...]
    unit: LengthUnit
    crs: str | None = None
    columns: dict[str, str] = field(default_factory=dict)
    exclude: tuple[Exclusion, ...] = ()
    sigma_level: SigmaLevel | None = None
    sigma_factor: float = 1.0
    sigma_floor_h_m: float = 0.0
    sigma_floor_z_m: float = 0.0
    bubble_rad: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlInput:
    """`[control]`: the known points, and what a check shot may differ from them.

    sigma_h_m (radial), sigma_z_m: standard deviations of the known coordinates, 0 where not stated.
    """

    where: Where
    file: str
    unit: LengthUnit
    columns: dict[str, str] = field(default_factory=dict)
    tolerance: Tolerance | None = None
    sigma_h_m: float = 0.0
    sigma_z_m: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossfallInput:
    """How a template falls to the two sides of its line: rise per metre going outwards."""

    left: float
    right: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AlignmentInput:
    """`[alignment.NAME]`: a course from a drawing's layer, or a table of elements or of its PIs.

    reversed: against the drawn direction. start_m: station of its first point; station_digits: how
    many digits it was written with behind the plus, 0 where without one. start_point and
    start_azimuth_rad: where the table of elements states none. equations: (back, ahead) stations
    in metres. profile: the file of its points of vertical intersection. superelevation: the file of
    crossfalls that change along it, in place of one crossfall.
    """

    where: Where
    name: str
    unit: LengthUnit
    layer: str | None = None
    elements: str | None = None
    intersections: str | None = None
    columns: dict[str, str] = field(default_factory=dict)
    reversed: bool = False
    start_m: float = 0.0
    station_digits: int = 0
    start_point: Position | None = None
    start_azimuth_rad: float | None = None
    equations: tuple[tuple[float, float], ...] = ()
    profile: str | None = None
    profile_columns: dict[str, str] = field(default_factory=dict)
    crossfall: CrossfallInput | None = None
    superelevation: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """`[[instrument]]`: what was measured with; printed. due: when its next calibration is due."""

    name: str
    serial: str | None = None
    calibrated: datetime.date | None = None
    due: datetime.date | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """`[gate]`: what a stored point must show to be believed; None or empty: not asked.

    solution: accepted words, lower case. satellites, epochs, elevation_mask_rad: at least;
    the others at most. pole_m: accepted lengths. check_within_s: how far in time a check shot of
    the same session may stand. source: where the limits come from; sources: by the key of a limit,
    where one has a source of its own.
    """

    where: Where
    solution: tuple[str, ...] = ()
    satellites: int | None = None
    epochs: int | None = None
    hdop: float | None = None
    vdop: float | None = None
    pdop: float | None = None
    age_s: float | None = None
    sigma_h_m: float | None = None
    sigma_z_m: float | None = None
    base_distance_m: float | None = None
    pole_m: tuple[float, ...] = ()
    elevation_mask_rad: float | None = None
    check_within_s: float | None = None
    source: str | None = None
    sources: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckSection:
    """What every section that asks for a check has.

    where: the line of its heading. name: unique in the job.
    """

    where: Where
    name: str
    tolerance: Tolerance | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stakeout(CheckSection):
    """`[[stakeout]]`: as-measured points against design points.

    within_m: how far a shot may lie from the design point it is taken for by `nearest`; None: half
    the way to the next design point. complete: design points without a shot count as unchecked.
    alignment: name of the alignment that along and across follow. stakes: a table of design points
    by station and offset. stake_offset_m: how far right (+) of the design the stakes stand for it.
    as_built: the shots are of what was built, not of stakes.
    """

    design: Selection
    measured: Selection
    match: Match = Match.ID
    within_m: float | None = None
    complete: bool = True
    alignment: str | None = None
    stakes: str | None = None
    stakes_columns: dict[str, str] = field(default_factory=dict)
    stake_offset_m: float | None = None
    as_built: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SlopeStakes(CheckSection):
    """`[[slope_stake]]`: stakes where the side slopes meet the ground.

    hinge_left_m, hinge_right_m: how far the hinges lie from the alignment, positive. cut, fill:
    side slopes, run to rise.
    """

    alignment: str
    measured: Selection
    hinge_left_m: float
    hinge_right_m: float
    cut: float
    fill: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CurbReturn(CheckSection):
    """`[[curb_return]]`: shots along an arc that rounds off a corner.

    The design is one of three: layers, of which the arc nearest to the shots is taken with the
    lines that it joins; tangents, two points of the line back and two of the line ahead, and
    radius_m; or centre, radius_m, turns_right, begin and end. Places are positions or numbers of
    design points, in the axes of the design. reversed: against the drawn direction. elevation_m:
    evenly spaced along the arc from its beginning to its end. complete: beginning, middle and end
    without a shot count as unchecked.
    """

    measured: Selection
    layers: tuple[str, ...] = ()
    tangents: tuple[str | Position, ...] = ()
    centre: str | Position | None = None
    begin: str | Position | None = None
    end: str | Position | None = None
    turns_right: bool = True
    radius_m: float = 0.0
    reversed: bool = False
    elevation_m: tuple[float, ...] = ()
    complete: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Traverse(CheckSection):
    """`[[traverse]]`: start and close are control ids or positions; azimuths in radians.

    start_azimuth_rad: from start to the back station when the first row has an angle, else of the
    first leg. close_azimuth_rad: from close to the foresight when the last row has an angle and no
    distance, else of the last leg. clockwise: the sense in which a loop was walked. grid_factor:
    combined factor that brings its distances from ground to grid; None: they stay as measured.
    scale_factor, elevation_factor: of which it is the product, where they were stated apart.
    refraction: coefficient with which curvature and refraction correct trigonometric heights;
    None: not corrected. azimuths: from which north stated azimuths and observed directions count;
    crs: the grid to which those that are not the grid's are brought.
    """

    file: str
    unit: LengthUnit
    columns: dict[str, str] = field(default_factory=dict)
    angle_format: AngleFormat = AngleFormat.SEXAGESIMAL
    shape: Shape
    angles: AngleKind
    clockwise: bool = False
    start: str | Position
    close: str | Position | None = None
    start_azimuth_rad: float | None = None
    close_azimuth_rad: float | None = None
    backsight: str | None = None
    foresight: str | None = None
    adjust: Adjust = Adjust.NONE
    azimuths: AzimuthKind = AzimuthKind.GRID
    crs: str | None = None
    grid_factor: float | None = None
    scale_factor: float | None = None
    elevation_factor: float | None = None
    refraction: float | None = None
    sigmas: Sigmas = field(default_factory=Sigmas)


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoPeg:
    """A two-peg test: readings on pegs A and B from two set-ups, metres.

    rise_m: B above A, from equal sights or known. end_m: readings on A and B of the second set-up;
    sights_m: its distances to A and B.
    """

    rise_m: float
    end_m: tuple[float, float]
    sights_m: tuple[float, float]

    @property
    def collimation(self) -> float:
        """What the line of sight rises per length: readings are too great by so much."""
        (a, b), (to_a, to_b) = self.end_m, self.sights_m
        return (a - b - self.rise_m) / (to_a - to_b)


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels(CheckSection):
    """`[[levels]]`: start and close are bench marks (control ids) or elevations in metres.

    collimation: what the line of sight rises per length, with which readings are corrected; None:
    they are not. two_peg: the test that it comes from. stadia: sight length over wire interval.
    """

    file: str
    unit: LengthUnit
    columns: dict[str, str] = field(default_factory=dict)
    start: str | float
    close: str | float | None = None
    adjust: Adjust = Adjust.NONE
    collimation: float | None = None
    two_peg: TwoPeg | None = None
    stadia: float = 100.0


class VectorFrame(StrEnum):
    """Axes of a book of vectors."""

    LOCAL = "local"  # east, north, up
    GEOCENTRIC = "geocentric"  # earth-centred, earth-fixed


@dataclass(frozen=True, slots=True, kw_only=True)
class Vectors(CheckSection):
    """`[[vectors]]`: loops of vectors; each of `loops` begins and ends with the same id.

    loops: empty: they are found; one that ends on another mark than it began runs between two
    control points. frame: None: not stated. latitude_rad, longitude_rad: roughly where the work is,
    so that geocentric misclosures can be turned into north, east, up. geoid_m: height of the geoid
    above the ellipsoid there.
    """

    file: str
    unit: LengthUnit
    columns: dict[str, str] = field(default_factory=dict)
    loops: tuple[tuple[str, ...], ...] = ()
    frame: VectorFrame | None = None
    latitude_rad: float | None = None
    longitude_rad: float | None = None
    geoid_m: float | None = None


class ResidualTest(StrEnum):
    """By which statistic an observation stands out."""

    BAARDA = "baarda"  # normal: the stated standard deviations hold
    POPE = "pope"  # tau: the standard deviation of unit weight comes from the residuals


@dataclass(frozen=True, slots=True, kw_only=True)
class Weight:
    """Standard deviations of a known point that is weighted, metres; NaN: as the control says."""

    n_m: float = float("nan")
    e_m: float = float("nan")
    z_m: float = float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class Network(CheckSection):
    """`[[network]]`: observations adjusted together by least squares.

    use: names of traverses, levels and vectors. file: a book of sights beside or instead, in
    file_unit. fixed: control ids that are held; None: those that the used sections start from,
    close on and sight; (): none, a free net. weighted: control ids that may give way. approximate:
    a table of rough positions. confidence: of ellipses and tests, 0 to 1. a_priori: ellipses by the
    stated sigmas instead of what the residuals show. test: None: Baarda's where every standard
    deviation is stated, else Pope's. vector_heights: the heights of vectors count.
    """

    use: tuple[str, ...]
    unit: LengthUnit
    file: str | None = None
    file_unit: LengthUnit = LengthUnit.METRE
    columns: dict[str, str] = field(default_factory=dict)
    angle_format: AngleFormat = AngleFormat.SEXAGESIMAL
    approximate: str | None = None
    fixed: tuple[str, ...] | None = None
    weighted: dict[str, Weight] = field(default_factory=dict)
    confidence: float = 0.95
    a_priori: bool = False
    test: ResidualTest | None = None
    vector_heights: bool = True
    sigmas: Sigmas = field(default_factory=Sigmas)


@dataclass(frozen=True, slots=True, kw_only=True)
class CommonLine:
    """A course that a figure shares with another one: both by their names."""

    course: str
    figure: str
    other: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DescribedFigure(CheckSection):
    """`[[figure]]`: courses of a deed from `file`, or what is drawn on `layers`.

    area_m2: as stated, None: not stated; area_step_m2: one unit of its last written digit. start:
    the point of beginning, a control id or a place; None: the coordinates begin at 0, 0. common:
    the courses shared with other figures.
    """

    file: str | None = None
    layers: tuple[str, ...] = ()
    unit: LengthUnit
    columns: dict[str, str] = field(default_factory=dict)
    angle_format: AngleFormat = AngleFormat.SEXAGESIMAL
    area_m2: float | None = None
    area_step_m2: float = 0.0
    start: str | Position | None = None
    common: tuple[CommonLine, ...] = ()


class PlanFit(StrEnum):
    """What a site fit may move in plan."""

    SIMILARITY = "similarity"  # scale, rotation, shift
    SHIFT = "shift"
    NONE = "none"


class HeightFitKind(StrEnum):
    """What a site fit may move in height."""

    SHIFT = "shift"
    PLANE = "plane"
    NONE = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class GivenFit:
    """A site fit as stated: fitted = about + shift + scale x turned(measured - about).

    rotation_rad: clockwise, so that azimuths grow by it. shift_z_m, with rise_n and rise_e (metres
    per metre from `about`): what is added to heights; None: heights are not fitted. plan: whether
    anything in plan is stated.
    """

    about_n_m: float
    about_e_m: float
    scale: float = 1.0
    rotation_rad: float = 0.0
    shift_n_m: float = 0.0
    shift_e_m: float = 0.0
    shift_z_m: float | None = None
    rise_n: float = 0.0
    rise_e: float = 0.0
    plan: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteFit(CheckSection):
    """`[site_fit]`: the as-measured points fitted to the control.

    pairs: as-measured id and control id of each mark; empty: all equal ids. apply: the as-measured
    points are moved by the fit before every other check. given: the fit as stated elsewhere, in
    place of one that is computed; the marks then only test it.
    """

    pairs: tuple[tuple[str, str], ...] = ()
    plan: PlanFit = PlanFit.SIMILARITY
    height: HeightFitKind = HeightFitKind.SHIFT
    apply: bool = False
    given: GivenFit | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeats(CheckSection):
    """`[[repeats]]`: shots of one mark compared with its first shot.

    within_m: None: shots of the same id; else shots closer than this, whatever their ids.
    apart_s: shots closer in time than this are not independent. share, confidence: of the sample
    plan, to be that sure that no larger share of the marks is bad.
    """

    measured: Selection
    within_m: float | None = None
    apart_s: float | None = None
    share: float = 0.1
    confidence: float = 0.95


class Against(StrEnum):
    """What as-measured points are held to, by their numbers."""

    CONTROL = "control"
    DESIGN = "design"


class AccuracyStandard(StrEnum):
    """By which standard accuracy is stated."""

    NSSDA = "nssda"  # FGDC-STD-007.3-1998
    ASPRS_2023 = "asprs-2023"  # edition 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy(CheckSection):
    """`[[accuracy]]`: as-measured points, the tested data, against points of the same numbers.

    The tolerance limits what the standard reports: the accuracy at 95 %, or the RMSE. file: a table
    of check points of its own, in place of `against`. sigma_h_m (radial), sigma_z_m: how well the
    check points themselves are known; 0 where not stated.
    """

    measured: Selection
    against: Against = Against.CONTROL
    file: str | None = None
    unit: LengthUnit = LengthUnit.METRE
    columns: dict[str, str] = field(default_factory=dict)
    standard: AccuracyStandard = AccuracyStandard.NSSDA
    sigma_h_m: float = 0.0
    sigma_z_m: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RoverTest(CheckSection):
    """`[[rover_test]]`: two rover points shot in series (sessions) of sets.

    distance_m, rise_m: nominal, from the first point to the second. sigma_plan_m (both axes),
    sigma_height_m: standard deviations stated for a single shot. earlier_*: those that an earlier
    test of as many sets found.
    """

    measured: Selection
    points: tuple[str, str]
    distance_m: float | None = None
    rise_m: float | None = None
    sigma_plan_m: float | None = None
    sigma_height_m: float | None = None
    earlier_plan_m: float | None = None
    earlier_height_m: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceTables:
    """A surface as two tables: corners with coordinates, and faces that name three of them."""

    points: str
    faces: str
    unit: LengthUnit
    columns: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface(CheckSection):
    """`[[surface]]`: as-measured heights against the design's own triangles.

    layers: patterns of the layers that hold the triangles, or tables in their place. thickness_m:
    vertical, lowers the surface. volume: ask for cut and fill between the as-measured surface and
    the design; boundary: layers of closed lines within which; none: all that both cover.
    """

    layers: tuple[str, ...] = ()
    tables: FaceTables | None = None
    measured: Selection
    thickness_m: float = 0.0
    volume: bool = False
    boundary: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Relative(CheckSection):
    """`[[relative]]`: how points stand to each other, whatever their place.

    pairs: of ids, or of names of `groups`, which stand for the middle of their points. group: of
    design points, every pair of which is meant. line: names or ids in order, each compared with the
    first: what accumulates along a line. plumb: bottom and top of what should stand upright.
    """

    pairs: tuple[tuple[str, str], ...] = ()
    group: Selection | None = None
    groups: dict[str, Selection] = field(default_factory=dict)
    line: tuple[str, ...] = ()
    plumb: tuple[tuple[str, str], ...] = ()
    measured: Selection = field(default_factory=Selection)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane(CheckSection):
    """`[[plane]]`: slope, crossfall and flatness of what should be a plane.

    slope: design fall per length towards direction_rad (steepest fall where no direction is given).
    crossfall: design fall to the right of the direction. design: points whose plane is the design
    instead.
    """

    measured: Selection
    design: Selection | None = None
    slope: float | None = None
    direction_rad: float | None = None
    crossfall: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pipe(CheckSection):
    """`[[pipe]]`: inverts, grades and drops. runs: ids from the upper end down, two or more each.

    structures: pairs of ids, the invert that comes in and the one that goes out.
    """

    runs: tuple[tuple[str, ...], ...] = ()
    structures: tuple[tuple[str, str], ...] = ()
    measured: Selection = field(default_factory=Selection)


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A whole job file. file: its path as shown in messages; root: the folder of its paths."""

    file: str
    root: Path
    title: str
    unit: LengthUnit
    number: str | None = None
    client: str | None = None
    surveyed_by: str | None = None
    responsible: str | None = None
    status: Status = Status.DRAFT
    date: datetime.date | None = None
    notes: str | None = None
    wording: str | None = None
    procedure: str | None = None
    survey_class: str | None = None
    reference: Reference = field(default_factory=Reference)
    design: DesignInput | None = None
    measured: MeasuredInput | None = None
    control: ControlInput | None = None
    gate: Gate | None = None
    site_fit: SiteFit | None = None
    instruments: tuple[Instrument, ...] = ()
    tolerances: tuple[Tolerance, ...] = ()
    alignments: tuple[AlignmentInput, ...] = ()
    checks: tuple[CheckSection, ...] = ()
