"""Write the data of the demonstration job: ``python tests/make_demo.py [FOLDER]``.

Fennel Creek, its people, its drawing and its measurements are invented. Only the projection is
real (EPSG:6527), and the grid scale factor is the one that it has there. The noise comes from fixed
seeds, so that the files come out the same, byte for byte; tests/test_demo.py holds the committed
files to that. `job.toml` and `notes.md` are written by hand.
"""

import math
import random
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ezdxf.layouts.layout import Modelspace

INVENTED = "Invented for the demonstration of a stakeout checker: no real site, survey or person."
DRAWN_WITH = "1.4.5"
"""Version of ezdxf that wrote the committed drawing; another may lay out the bytes otherwise."""

COMBINED_FACTOR = 0.99992
ORIGIN = (512000.0, 618000.0)
"""Grid = origin + factor x (ground - origin): northing, easting, US survey feet."""

CORNER = (511930.0, 617905.0)
"""Ground northing and easting of the fence's first corner, where the site's own axes start."""
SITE_AZIMUTH = math.radians(68.0)
"""Azimuth of the site's x axis, along the long side of the fence; y points to its left."""

FLOOR = 47.5
PAD = 47.0
COLLAR = 46.5


@dataclass(frozen=True, kw_only=True)
class Stake:
    """A design point on ground; elevation None: the drawing gives none."""

    id: int
    layer: str
    n: float
    e: float
    z: float | None


@dataclass(frozen=True, kw_only=True)
class Shot:
    """An as-measured point with what the receiver stored beside it."""

    id: str
    n: float
    e: float
    z: float
    description: str
    session: str
    time: datetime
    solution: str = "fixed"
    sigma: float = 0.011
    """Of northing and of easting, one standard deviation, feet."""
    sigma_z: float = 0.022
    satellites: int = 14
    pdop: float = 1.8
    age: float = 1.0
    epochs: int = 30


# --- the design -----------------------------------------------------------------------------------


def site(x: float, y: float) -> tuple[float, float]:
    """Return ground northing and easting of a place in the site's own axes."""
    cos, sin = math.cos(SITE_AZIMUTH), math.sin(SITE_AZIMUTH)
    return CORNER[0] + x * cos + y * sin, CORNER[1] + x * sin - y * cos


def ground_level(n: float, e: float) -> float:
    """Return the height of the existing ground, which falls gently to the north-west."""
    return 45.8 + 0.010 * (e - CORNER[1]) - 0.006 * (n - CORNER[0])


def box(x0: float, y0: float, x1: float, y1: float) -> list[tuple[float, float]]:
    """Return the corners of a rectangle along the site's axes, counter-clockwise."""
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]


BUILDING = box(14, 46, 46, 68)
VAULT = box(86, 46, 96, 54)
GENERATOR = box(20, 18, 34, 26)
FENCE = box(0, 0, 120, 84)
WELL = (70.0, 52.0)
WELL_RADIUS = 6.0
CRANE = (80.0, 66.0)

SEWER = [(-130.0, 12.0), (-30.0, 28.0), (65.6, 47.9)]
"""The gravity sewer that comes in: upstream manhole, inlet manhole, wall of the wet well."""

APRON = box(44, 14, 112, 38)
APRON_CROWN = 26.0
"""The paved apron is crowned along its length at this y, and falls from there to both sides."""
RETURN_RADIUS = 20.0
"""At its far end the curb turns right into a lane, by 90 degrees."""
RETURN_LEVELS = (0.0, -0.06, -0.02)
"""Beginning, middle and end of the return above the curb's end."""
PAVEMENT = 0.5
"""Thickness of what lies between subgrade and finished grade."""
LIMIT = box(49, 18, 107, 34)

MAIN_START = (96.0, 50.0)
MAIN_FIRST, MAIN_RADIUS, MAIN_TURN, MAIN_LENGTH = 120.0, 150.0, math.radians(35.0), 400.0


def force_main(length: float) -> tuple[float, float]:
    """Return the place on the force main that far from its start: line, left arc, line."""
    x0, y0 = MAIN_START
    arc = MAIN_RADIUS * MAIN_TURN
    if length <= MAIN_FIRST:
        return x0 + length, y0
    turned = min(length - MAIN_FIRST, arc) / MAIN_RADIUS
    x = x0 + MAIN_FIRST + MAIN_RADIUS * math.sin(turned)
    y = y0 + MAIN_RADIUS * (1 - math.cos(turned))
    rest = max(length - MAIN_FIRST - arc, 0.0)
    return x + rest * math.cos(turned), y + rest * math.sin(turned)


ROAD_START = (60.0, 12.0)
ROAD_FIRST, ROAD_RADIUS, ROAD_TURN, ROAD_LAST = 100.0, 120.0, math.radians(60.0), 130.0
"""The access road runs down the site's y axis from the gate: line, left arc, line."""
ROAD_LENGTH = ROAD_FIRST + ROAD_RADIUS * ROAD_TURN + ROAD_LAST
ROAD_STATION = 1000.0
ROAD_HALF = 11.0
ROAD_PVIS = [(1000.0, 46.60, 0.0), (1160.0, 44.60, 120.0), (1360.0, 47.60, 0.0)]
"""Station, elevation and curve length of the points of vertical intersection."""
ROAD_CROSSFALL = -0.02


def road(length: float, offset: float = 0.0) -> tuple[float, float]:
    """Return the place that far along the access road and right of it, in the site's axes."""
    x0, y0 = ROAD_START
    turned = min(max(length - ROAD_FIRST, 0.0) / ROAD_RADIUS, ROAD_TURN)
    rest = max(length - ROAD_FIRST - ROAD_RADIUS * ROAD_TURN, 0.0)
    ahead = (math.sin(turned), -math.cos(turned))
    x = x0 + ROAD_RADIUS * (1 - math.cos(turned)) + rest * ahead[0]
    y = y0 - min(length, ROAD_FIRST) - ROAD_RADIUS * math.sin(turned) + rest * ahead[1]
    return x + offset * ahead[1], y - offset * ahead[0]


def road_level(length: float, offset: float = 0.0) -> float:
    """Return the finished grade of the access road: its profile and a crown of 2 %."""
    (s0, z0, _), (s1, z1, curve), (s2, z2, _) = ROAD_PVIS
    first, second = (z1 - z0) / (s1 - s0), (z2 - z1) / (s2 - s1)
    x = ROAD_STATION + length - (s1 - curve / 2)
    level = z1 - first * curve / 2 + first * x
    if x > curve:
        level = z1 + second * (x - curve / 2)
    elif x > 0:
        level += (second - first) * x * x / (2 * curve)
    return level + ROAD_CROSSFALL * abs(offset)


ROAD_STAKES = {
    "left": [(701 + i, 20.0 + 45.0 * i, -ROAD_HALF) for i in range(8)],
    "right": [(711 + i, 20.0 + 45.0 * i, ROAD_HALF) for i in range(8)],
}
"""Number, distance along and offset of what the road's stakes stand for: the edges."""
HINGE = 14.0
CUT, FILL = 2.0, 3.0
"""The side slopes of the road begin so far out, run to rise."""
SLOPE_STAKES = [(731 + i, 60.0 + 60.0 * (i // 2), -1.0 if i % 2 else 1.0) for i in range(8)]
"""Number, distance along and side (+ right) of the stakes where they meet the ground."""
COLUMNS = box(15, 47, 45, 67)
"""Steel columns inside the building's corners: bottom and top."""
COLUMN_HEIGHT = 13.5
ROAD_SET_OFF = 6.0
CURB_START = 20.0


def catch_offset(length: float, side: float) -> float:
    """Return how far off the road its side slope meets the ground, by going there and back."""
    off = HINGE
    for _ in range(60):
        n, e = site(*road(length, side * off))
        rise = ground_level(n, e) - road_level(length, HINGE)
        off = HINGE + (CUT if rise > 0.0 else FILL) * abs(rise)
    return side * off


def curb_return(share: float, radius: float = RETURN_RADIUS) -> tuple[float, float]:
    """Return a place on the curb return, in the site's axes; share: of its length."""
    turned = share * math.pi / 2
    along = ROAD_LENGTH + radius * math.sin(turned)
    return road(along, ROAD_HALF + RETURN_RADIUS - radius * math.cos(turned))


def apron_level(x: float, y: float) -> float:
    """Return the finished grade of the apron: 2 % to both sides, 0.4 % along it."""
    return 46.9 - 0.02 * abs(y - APRON_CROWN) - 0.004 * (x - 44.0)


def apron_faces() -> list[list[tuple[float, float, float]]]:
    """Return the triangles of the apron as (easting, northing, elevation) on ground."""

    def corner(x: float, y: float) -> tuple[float, float, float]:
        n, e = site(x, y)
        return round(e, 4), round(n, 4), round(apron_level(x, y), 4)

    faces = []
    for x0, x1 in pairwise((44.0, 61.0, 78.0, 95.0, 112.0)):
        for y0, y1 in pairwise((14.0, APRON_CROWN, 38.0)):
            faces.append([corner(x0, y0), corner(x1, y0), corner(x0, y1)])
            faces.append([corner(x1, y0), corner(x1, y1), corner(x0, y1)])
    return faces


def inverts() -> list[Stake]:
    """Return the inverts of the sewer that comes in: out, in, out of the manholes, in the well."""
    (x0, y0), (x1, y1), (x2, y2) = SEWER

    def along(x: float, y: float, towards: tuple[float, float], far: float) -> tuple[float, float]:
        size = math.hypot(towards[0] - x, towards[1] - y)
        return x + far * (towards[0] - x) / size, y + far * (towards[1] - y) / size

    places = [
        (along(x0, y0, (x1, y1), 2.0), 39.10),
        (along(x1, y1, (x0, y0), 2.0), 38.61),
        (along(x1, y1, (x2, y2), 2.0), 38.51),
        ((x2, y2), 38.03),
    ]
    found = []
    for number, (place, z) in enumerate(places, start=601):
        n, e = site(*place)
        found.append(Stake(id=number, layer="UTIL-INV", n=round(n, 4), e=round(e, 4), z=z))
    return found


def stakes() -> list[Stake]:
    """Return every design point, in the order of its number."""
    places: list[tuple[str, int, list[tuple[float, float]], list[float | None]]] = []

    structure: list[tuple[tuple[float, float], float]] = [(c, FLOOR) for c in BUILDING]
    for (x, y), (sx, sy) in zip(BUILDING, [(-1, -1), (1, -1), (1, 1), (-1, 1)], strict=True):
        structure += [((x + 5 * sx, y), FLOOR), ((x, y + 5 * sy), FLOOR)]
    structure.append((WELL, COLLAR))
    reach = WELL_RADIUS + 5
    for dx, dy in [(reach, 0.0), (0.0, reach), (-reach, 0.0), (0.0, -reach)]:
        structure.append(((WELL[0] + dx, WELL[1] + dy), COLLAR))
    structure += [(c, COLLAR) for c in VAULT]
    structure += [(c, PAD) for c in GENERATOR]
    places.append(("STAKE-STRUCT", 101, [p for p, _ in structure], [z for _, z in structure]))

    bolts = [(CRANE[0] + dx, CRANE[1] + dy) for dx, dy in box(-0.625, -0.625, 0.625, 0.625)]
    places.append(("STAKE-BOLTS", 201, bolts, [PAD + 0.25] * 4))

    posts = [(x, 0.0) for x in (0.0, 20.0, 40.0, 52.0, 68.0, 80.0, 100.0, 120.0)]
    posts += [(120.0, y) for y in (21.0, 42.0, 63.0, 84.0)]
    posts += [(x, 84.0) for x in (100.0, 80.0, 60.0, 40.0, 20.0, 0.0)]
    posts += [(0.0, y) for y in (63.0, 42.0, 21.0)]
    places.append(("STAKE-FENCE", 301, posts, [None] * len(posts)))

    main = [force_main(25.0 * i) for i in range(17)]
    inverts = [40.2 + 0.006 * 25.0 * i for i in range(17)]
    places.append(("STAKE-FM", 401, main, [round(z, 2) for z in inverts]))

    rims = [*SEWER[1::-1], (91.0, 50.0), force_main(212.5), force_main(400.0)]
    places.append(("UTIL-RIMS", 501, rims, [45.45, 44.05, 46.75, 48.6, 49.4]))

    found = []
    for layer, first, where, heights in places:
        for number, ((x, y), z) in enumerate(zip(where, heights, strict=True), start=first):
            n, e = site(x, y)
            found.append(Stake(id=number, layer=layer, n=round(n, 4), e=round(e, 4), z=z))
    return found


def to_grid(n: float, e: float) -> tuple[float, float]:
    """Return grid northing and easting of a ground position."""
    return (
        ORIGIN[0] + COMBINED_FACTOR * (n - ORIGIN[0]),
        ORIGIN[1] + COMBINED_FACTOR * (e - ORIGIN[1]),
    )


# --- the drawing ----------------------------------------------------------------------------------


def write_drawing(path: Path) -> None:
    """Write the design drawing: numbered points, block references, linework and two titles."""
    from ezdxf._options import options
    from ezdxf.filemanagement import new

    options.write_fixed_meta_data_for_testing = True  # no clock, no random identifiers
    drawing = new("R2013", setup=False)
    drawing.header["$INSUNITS"] = 21  # US survey feet
    drawing.header["$MEASUREMENT"] = 0
    drawing.header["$PDMODE"] = 34
    drawing.header["$PDSIZE"] = 0.6
    for layer, colour in [
        ("STAKE-STRUCT", 1),
        ("STAKE-BOLTS", 6),
        ("STAKE-FENCE", 3),
        ("STAKE-FM", 5),
        ("UTIL-RIMS", 4),
        ("UTIL-INV", 4),
        ("FG-TIN", 8),
        ("C-LIMIT", 6),
        ("C-BLDG", 7),
        ("C-WELL", 7),
        ("C-VAULT", 7),
        ("C-PAD", 8),
        ("C-FENCE", 8),
        ("C-FMAIN", 5),
        ("C-SEWER", 5),
        ("C-DRIVE", 8),
        ("C-ROAD-CL", 6),
        ("C-CURB", 4),
        ("C-RETURN", 4),
        ("C-TEXT", 7),
    ]:
        drawing.layers.add(layer, color=colour)

    mark = drawing.blocks.new("RIM-MARK")
    mark.add_circle((0, 0), 1.5, dxfattribs={"layer": "0"})
    mark.add_line((-1.5, 0), (1.5, 0), dxfattribs={"layer": "0"})
    mark.add_line((0, -1.5), (0, 1.5), dxfattribs={"layer": "0"})
    for tag, y in [("NUMBER", 0.6), ("ELEV", -0.6), ("DESC", -1.8)]:
        mark.add_attdef(tag, (2.0, y), dxfattribs={"height": 0.8, "layer": "0"})

    space = drawing.modelspace()
    names = ["INLET MANHOLE", "UPSTREAM MANHOLE", "VALVE VAULT LID", "AIR VALVE", "OUTFALL MANHOLE"]
    for stake in [*stakes(), *inverts()]:
        at = (stake.e, stake.n, stake.z or 0.0)
        on = {"layer": stake.layer}
        if stake.layer == "UTIL-RIMS":
            rim = space.add_blockref("RIM-MARK", at, dxfattribs=on)
            rim.add_auto_attribs(
                {
                    "NUMBER": str(stake.id),
                    "ELEV": f"{stake.z:.2f}",
                    "DESC": names[stake.id - 501],
                }
            )
            continue
        space.add_point(at, dxfattribs=on)
        size = 0.2 if stake.layer == "STAKE-BOLTS" else 0.8
        text = space.add_text(str(stake.id), height=size, dxfattribs=on)
        text.set_placement((stake.e + size / 2, stake.n + size / 2))

    def outline(layer: str, corners: Sequence[tuple[float, float]]) -> None:
        """Draw a closed figure."""
        line = [(e, n) for n, e in (site(*corner) for corner in corners)]
        space.add_lwpolyline(line, close=True, dxfattribs={"layer": layer})

    outline("C-BLDG", BUILDING)
    outline("C-VAULT", VAULT)
    outline("C-PAD", GENERATOR)
    outline("C-PAD", box(CRANE[0] - 2, CRANE[1] - 2, CRANE[0] + 2, CRANE[1] + 2))
    outline("C-FENCE", FENCE)
    outline("C-LIMIT", LIMIT)
    for face in apron_faces():
        space.add_3dface(face, dxfattribs={"layer": "FG-TIN"})
    n, e = site(*WELL)
    space.add_circle((e, n), WELL_RADIUS, dxfattribs={"layer": "C-WELL"})
    space.add_circle((e, n), WELL_RADIUS - 0.75, dxfattribs={"layer": "C-WELL"})

    # The bulge is the tangent of a quarter of the turn; left turns are positive.
    arc = MAIN_RADIUS * MAIN_TURN
    path_of_main = []
    for length, bulge in [
        (0.0, 0.0),
        (MAIN_FIRST, math.tan(MAIN_TURN / 4)),
        (MAIN_FIRST + arc, 0.0),
        (MAIN_LENGTH, 0.0),
    ]:
        n, e = site(*force_main(length))
        path_of_main.append((e, n, bulge))
    space.add_lwpolyline(path_of_main, format="xyb", dxfattribs={"layer": "C-FMAIN"})

    drive = [("C-DRIVE", (x, -40.0), (x, 14.0)) for x in (52.0, 68.0)]
    sewer = [("C-SEWER", *ends) for ends in pairwise(SEWER)]
    for layer, start, end in [*drive, *sewer]:
        (n0, e0), (n1, e1) = site(*start), site(*end)
        space.add_line((e0, n0), (e1, n1), dxfattribs={"layer": layer})

    draw_road(space)

    turned = {"layer": "C-TEXT", "rotation": 90 - math.degrees(SITE_AZIMUTH)}
    for words, height, place in [
        ("FENNEL CREEK LIFT STATION", 3.0, (-60, -50)),
        ("INVENTED EXAMPLE, NOT A REAL SITE. DRAWN ON GROUND, US SURVEY FEET", 1.5, (-60, -55)),
        ("CONTROL BUILDING", 1.5, (20, 56)),
        ("WET WELL", 1.2, (66, 51)),
        ("GENERATOR", 1.0, (23, 21)),
    ]:
        n, e = site(*place)
        space.add_text(words, height=height, dxfattribs=turned).set_placement((e, n))

    # The library registers its classes in the order of a set; sorted, the bytes stay the same.
    for kind in sorted(drawing.entitydb.dxf_types_in_use()):
        drawing.classes.add_class(kind)
    drawing.saveas(path)


def draw_road(space: "Modelspace") -> None:
    """Draw the centre line of the access road as line, arc and line, and the curb on its right."""

    def world(length: float, offset: float = 0.0) -> tuple[float, float]:
        """Return easting and northing of a place of the access road."""
        n, e = site(*road(length, offset))
        return e, n

    bend = ROAD_FIRST + ROAD_RADIUS * ROAD_TURN
    on = {"layer": "C-ROAD-CL"}
    n, e = site(ROAD_START[0] + ROAD_RADIUS, ROAD_START[1] - ROAD_FIRST)
    from_deg, to_deg = (
        math.degrees(math.atan2(y - n, x - e)) for x, y in (world(ROAD_FIRST), world(bend))
    )
    space.add_line(world(ROAD_FIRST), world(0.0), dxfattribs=on)  # drawn against the others
    space.add_arc((e, n), ROAD_RADIUS, from_deg, to_deg, dxfattribs=on)
    space.add_line(world(bend), world(ROAD_LENGTH), dxfattribs=on)
    curb = [
        (*world(CURB_START, ROAD_HALF), 0.0),
        (*world(ROAD_FIRST, ROAD_HALF), math.tan(ROAD_TURN / 4)),
        (*world(bend, ROAD_HALF), 0.0),
        (*world(ROAD_LENGTH, ROAD_HALF), 0.0),
    ]
    space.add_lwpolyline(curb, format="xyb", dxfattribs={"layer": "C-CURB"})
    lane = ROAD_HALF + RETURN_RADIUS
    turn = [
        (*world(ROAD_LENGTH - 30.0, ROAD_HALF), 0.0),
        (*world(ROAD_LENGTH, ROAD_HALF), -math.tan(math.pi / 8)),
        (*world(ROAD_LENGTH + RETURN_RADIUS, lane), 0.0),
        (*world(ROAD_LENGTH + RETURN_RADIUS, lane + 30.0), 0.0),
    ]
    space.add_lwpolyline(turn, format="xyb", dxfattribs={"layer": "C-RETURN"})


# --- the control ----------------------------------------------------------------------------------

CONTROL: list[tuple[str, float, float, float, str]] = [
    ("CP1", 511871.462, 617843.118, 44.871, "iron pin with cap, south-west of the gate"),
    ("CP2", 511842.905, 618228.377, 48.236, "iron pin with cap, by the access track"),
    ("CP3", 512121.530, 618331.846, 49.702, "drill hole in headwall"),
    ("CP4", 512297.214, 618078.593, 47.918, "iron pin with cap, edge of field"),
    ("CP5", 512137.688, 617812.250, 44.377, "iron pin with cap, behind the creek bank"),
    ("CP6", 510986.004, 617611.930, 41.560, "azimuth mark, brass disk in culvert wall"),
    ("BM1", 511820.3, 617790.6, 45.512, "bench mark, bolt in concrete post"),
    ("BM2", 512188.9, 618290.2, 50.138, "bench mark, chiselled square on headwall"),
]
"""Id, grid northing and easting, elevation, description."""

LOOP = ["CP1", "CP2", "CP3", "CP4", "CP5"]


def write_control(path: Path) -> None:
    """Write the control list."""
    rows = []
    for number, n, e, z, words in CONTROL:
        text = f'"{words}"' if "," in words else words
        rows.append(f"{number},{n:.3f},{e:.3f},{z:.3f},{text}")
    write(path, "id,northing,easting,elevation,description", rows)


def azimuth(start: str, end: str) -> float:
    """Return the grid azimuth between two control points, radians."""
    at = {i: (n, e) for i, n, e, _, _ in CONTROL}
    return math.atan2(at[end][1] - at[start][1], at[end][0] - at[start][0])


def write_traverse(path: Path, dice: random.Random) -> None:
    """Write the control loop: angles right from the back station, CP6 closes the angles.

    The instrument reads whole seconds. Distances are means of both ways, reduced to the grid.
    """
    at = {i: (n, e) for i, n, e, _, _ in CONTROL}
    back = ["CP6", *LOOP]
    rows = []
    for before, here, after in zip(back, LOOP, [*LOOP[1:], "CP1"], strict=False):
        angle = azimuth(here, after) - azimuth(here, before)
        length = math.dist(at[here], at[after]) + dice.gauss(0, 0.007)
        rows.append(f"{here},{after},{dms(angle, dice.gauss(0, 3.0))},{length:.3f}")
    angle = azimuth("CP1", "CP6") - azimuth("CP1", "CP5")
    rows.append(f"CP1,CP6,{dms(angle, dice.gauss(0, 3.0))},")
    write(path, "at,to,angle,distance", rows)


def dms(angle_rad: float, error_arcsec: float) -> str:
    """Return an angle as degrees, minutes and whole seconds, `error_arcsec` added."""
    seconds = round(math.degrees(angle_rad % math.tau) * 3600 + error_arcsec) % (360 * 3600)
    return f"{seconds // 3600:03d}-{seconds // 60 % 60:02d}-{seconds % 60:02d}"


def write_levels(path: Path, dice: random.Random) -> None:
    """Write the level run BM1, CP1, BM2, CP4, BM1, with sights on three hubs on the way."""
    known = {i: z for i, _, _, z, _ in CONTROL} | {"TP1": 46.31, "TP2": 47.92, "TP3": 46.05}
    known |= {str(s.id): s.z for s in stakes() if s.z is not None}
    run = ["BM1", "CP1", "TP1", "CP2", "BM2", "TP2", "CP4", "TP3", "BM1"]
    lengths = [74, 196, 214, 352, 130, 118, 288, 290]
    seen_from = {"TP1": ["101", "113", "122"]}
    rows = []
    foresight = ","
    for start, end, length in zip(run, run[1:], lengths, strict=False):
        instrument = max(known[start], known[end]) + dice.uniform(3.2, 5.0)
        rows.append(f"{start},{instrument - known[start]:.3f},,{foresight}")
        for point in seen_from.get(start, []):
            reading = instrument - known[point] + dice.gauss(0, 0.008)
            rows.append(f"{point},,{reading:.3f},,")
        foresight = f"{instrument - known[end] + dice.gauss(0, 0.0025):.3f},{length}"
    rows.append(f"{run[-1]},,,{foresight}")
    write(path, "point,bs,is,fs,distance", rows)


# --- the vectors ----------------------------------------------------------------------------------

GRID = "EPSG:6527"
GEOID_M = -33.2
"""Height of the geoid above the ellipsoid, invented; heights of the vectors are ellipsoidal."""
CP7 = (512060.4, 618060.9, 46.93)
"""A new control point in the middle, which the vectors bring in."""
VECTORS = [
    ("CP1", "CP3"),
    ("CP3", "CP4"),
    ("CP4", "CP1"),
    ("CP1", "CP7"),
    ("CP7", "CP3"),
    ("CP7", "CP4"),
    ("CP5", "CP7"),
    ("CP1", "CP5"),
    ("CP1", "CP3"),
]
"""From and to; the last is a second session of the first."""


def earth_centred(n: float, e: float, z: float) -> tuple[float, float, float]:
    """Return earth-centred coordinates in metres of a place on the grid, US survey feet."""
    from pyproj import CRS, Proj, Transformer

    longitude, latitude = Proj(CRS.from_user_input(GRID))(e, n, inverse=True)
    height = z * 1200 / 3937 + GEOID_M
    cart = Transformer.from_pipeline("+proj=cart +ellps=GRS80")
    found: tuple[float, float, float] = cart.transform(
        math.radians(longitude), math.radians(latitude), height, radians=True
    )
    return found


def write_vectors(path: Path, dice: random.Random) -> None:
    """Write static vectors between control points, earth-centred, with their covariances.

    Good to 3 mm in plan and 6 mm in height, which lie askew in earth-centred axes.
    """
    at = {i: earth_centred(n, e, z) for i, n, e, z, _ in CONTROL} | {"CP7": earth_centred(*CP7)}
    x, y, z = at["CP7"]
    far = math.hypot(x, y, z)
    up = (x / far, y / far, z / far)
    east = (-y / math.hypot(x, y), x / math.hypot(x, y), 0.0)
    north = (
        up[1] * east[2] - up[2] * east[1],
        up[2] * east[0] - up[0] * east[2],
        up[0] * east[1] - up[1] * east[0],
    )
    axes = ((north, 0.003), (east, 0.003), (up, 0.006))
    covariance = [
        sum(size**2 * axis[a] * axis[b] for axis, size in axes)
        for a, b in ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))
    ]
    rows = []
    for start, end in VECTORS:
        errors = [(axis, size * dice.gauss(0, 1)) for axis, size in axes]
        step = [
            at[end][a] - at[start][a] + sum(error * axis[a] for axis, error in errors)
            for a in range(3)
        ]
        cells = [f"{part:.4f}" for part in step] + [f"{part:.3e}" for part in covariance]
        rows.append(f"{start},{end},{','.join(cells)}")
    write(path, "from,to,dx,dy,dz,xx,xy,xz,yy,yz,zz", rows)


# --- the lots -------------------------------------------------------------------------------------

LOT_RADIUS = 25.0
"""Of the lot's rounded corner at the road."""
LOT = [(-24.0, -20.0), (243.0, -20.0), (268.0, 5.0), (268.4, 190.3), (-24.2, 189.6)]
"""Corners in the site's axes, counter-clockwise; the second course is the rounded corner."""
CREEK = [(-24.2, 189.61), (268.4, 190.3), (255.1, 268.7), (-18.6, 271.2)]
"""Corners of the lot behind it, by its own deed."""


def quadrant(n: float, e: float) -> str:
    """Return the bearing of a course, to whole seconds."""
    turned = round(math.degrees(math.atan2(abs(e), abs(n))) * 3600)
    text = f"{turned // 3600:02d}-{turned // 60 % 60:02d}-{turned % 60:02d}"
    return f"{'N' if n >= 0 else 'S'} {text} {'E' if e >= 0 else 'W'}"


def deed(corners: Sequence[tuple[float, float]], curve: int | None = None) -> list[str]:
    """Return the courses around corners as a deed writes them; curve: the one that is an arc."""
    rows = []
    for number, (start, end) in enumerate(zip(corners, [*corners[1:], corners[0]], strict=True), 1):
        (n0, e0), (n1, e1) = site(*start), site(*end)
        bearing, length = quadrant(n1 - n0, e1 - e0), math.dist((n0, e0), (n1, e1))
        if number == curve:
            arc = LOT_RADIUS * math.pi / 2
            rows.append(f"{number},,,{LOT_RADIUS:.2f},left,{arc:.2f},90-00-00,{bearing},yes")
        else:
            rows.append(f"{number},{bearing},{length:.2f},,,,,,")
    return rows


def write_lots(folder: Path) -> None:
    """Write the deeds of the lot and of the one behind it."""
    head = "course,bearing,distance,radius,turn,arc,delta,chord bearing,tangent"
    write(folder / "lot.csv", head, deed(LOT, curve=2))
    write(folder / "creek-lot.csv", head, deed(CREEK))


# --- the rover ------------------------------------------------------------------------------------

DAY0 = datetime(2031, 4, 14, 12, 30, tzinfo=UTC)
DAY1 = datetime(2031, 4, 15, 12, 5, tzinfo=UTC)
DAY2 = datetime(2031, 4, 16, 17, 40, tzinfo=UTC)
DAY3 = datetime(2031, 4, 17, 12, 20, tzinfo=UTC)
DAY3_ROAD = datetime(2031, 4, 17, 17, 5, tzinfo=UTC)
DAY3_SLOPES = datetime(2031, 4, 17, 18, 50, tzinfo=UTC)
BASE = (511871.462, 617843.118)

# What goes wrong on this job, so that the report has something to say; feet.
SHIFTED = {110: (0.14, -0.16, 0.0), 116: (0.01, 0.01, -0.24), 106: (0.02, 0.01, 0.0)}
WEAK = {121: 0.020}
CLOSE_TO_LIMIT = {503: (0.058, 0.062, 0.01)}
NOT_STAKED = {124, *range(413, 418)}
FLOAT = {313}
TWICE = {403: (0.29, -0.33, 0.05)}
REPEATED = {101: 0.0, 104: 0.0, 106: 0.17, 113: 0.0, 117: 0.0, 123: 0.0}
"""Hubs shot again on the second day, with how far the second shot lies east of the first."""
DAY2_STAKES = {*range(318, 322), *range(401, 413), *range(501, 506)}


def rover_shots(dice: random.Random) -> tuple[list[Shot], list[Shot]]:
    """Return the shots of the two days, in the order in which they were stored."""
    words = {"STRUCT": "HUB", "BOLTS": "BOLT", "FENCE": "FP", "FM": "FM", "RIMS": "RIM"}
    control = {i: (n, e, z) for i, n, e, z, _ in CONTROL}
    clocks = {"A": DAY1, "B": DAY2}

    def shoot(
        number: str,
        truth: tuple[float, float, float],
        description: str,
        session: str,
        **quality: float,
    ) -> Shot:
        """Measure a place with the noise that the receiver claims."""
        clocks[session] += timedelta(seconds=dice.randint(150, 240))
        sigma = quality.get("sigma", dice.uniform(0.009, 0.012))
        sigma_z = quality.get("sigma_z", dice.uniform(0.016, 0.021))
        n, e, z = truth
        return Shot(
            id=number,
            n=n + dice.gauss(0, 0.75 * sigma),
            e=e + dice.gauss(0, 0.75 * sigma),
            z=z + dice.gauss(0, 0.75 * sigma_z),
            description=description,
            session={"A": "tue-am", "B": "wed-pm"}[session],
            time=clocks[session],
            sigma=sigma,
            sigma_z=sigma_z,
            satellites=dice.randint(11, 19),
            pdop=dice.uniform(1.3, 2.4),
            age=float(dice.choice([1, 1, 1, 2])),
            epochs=180 if description in {"BOLT", "CHK"} else 30,
        )

    def hub(stake: Stake, session: str, moved: tuple[float, float, float]) -> Shot:
        """Measure a stake that was set `moved` away from its design."""
        n, e = to_grid(stake.n, stake.e)
        # Posts and the force main's hubs stand at existing ground, the others at design.
        at_ground = stake.layer in {"STAKE-FENCE", "STAKE-FM"}
        z = ground_level(stake.n, stake.e) if at_ground or stake.z is None else stake.z
        weak = {"sigma": WEAK[stake.id], "sigma_z": 0.034} if stake.id in WEAK else {}
        if stake.id in FLOAT:
            weak = {"sigma": 0.21, "sigma_z": 0.38}
        word = words[stake.layer.split("-")[1]]
        truth = (n + moved[0], e + moved[1], z + moved[2])
        return shoot(str(stake.id), truth, word, session, **weak)

    plan = [stake for stake in stakes() if stake.id not in NOT_STAKED]
    moved = SHIFTED | CLOSE_TO_LIMIT
    still = (0.0, 0.0, 0.0)

    first = [shoot("CP2", control["CP2"], "CHK", "A"), shoot("CP5", control["CP5"], "CHK", "A")]
    for stake in plan:
        if stake.id not in DAY2_STAKES:
            first.append(hub(stake, "A", moved.get(stake.id, still)))
        elif stake.id in TWICE:
            first.append(hub(stake, "A", TWICE[stake.id]))
    first.append(shoot("390", (*to_grid(*site(-6.0, 42.0)), 45.5), "FP", "A"))
    for number, place in enumerate([(60, 30), (100, 20), (110, 70)], start=901):
        n, e = site(*place)
        first.append(shoot(str(number), (*to_grid(n, e), ground_level(n, e)), "GND", "A"))
    first.append(shoot("CP2", control["CP2"], "CHK", "A"))
    floating = {str(number) for number in FLOAT}
    first = [replace(s, solution="float") if s.id in floating else s for s in first]

    second = [shoot("CP3", control["CP3"], "CHK", "B"), shoot("CP5", control["CP5"], "CHK", "B")]
    by_id = {stake.id: stake for stake in plan}
    for number, step in REPEATED.items():
        dn, de, dz = SHIFTED.get(number, still)
        again = hub(by_id[number], "B", (dn, de + step, dz))
        second.append(replace(again, id=f"{number}R", description="RPT"))
    second += [hub(s, "B", moved.get(s.id, still)) for s in plan if s.id in DAY2_STAKES]
    second.append(shoot("CP3", control["CP3"], "CHK", "B"))
    return first, second


Truth = tuple[float, float, float]


def recorder(
    dice: random.Random, begin: datetime, session: str
) -> tuple[list[Shot], Callable[[str, Truth, str], None]]:
    """Return a list of shots, and what adds one: number, true northing, easting, z, description."""
    clock = begin
    shots: list[Shot] = []

    def shoot(number: str, truth: Truth, description: str) -> None:
        nonlocal clock
        clock += timedelta(seconds=dice.randint(60, 120))
        sigma, sigma_z = dice.uniform(0.009, 0.012), dice.uniform(0.016, 0.021)
        n, e, z = truth
        shots.append(
            Shot(
                id=number,
                n=n + dice.gauss(0, 0.75 * sigma),
                e=e + dice.gauss(0, 0.75 * sigma),
                z=z + dice.gauss(0, 0.75 * sigma_z),
                description=description,
                session=session,
                time=clock,
                sigma=sigma,
                sigma_z=sigma_z,
                satellites=dice.randint(11, 19),
                pdop=dice.uniform(1.3, 2.4),
                age=float(dice.choice([1, 1, 1, 2])),
                epochs=180 if description == "CHK" else 30,
            )
        )

    return shots, shoot


HIGH_SUBGRADE = {964: 0.16}
"""A ridge that the grader left, by the number of the shot on it."""
INVERT_OFF = {604: 0.15}
"""The pipe enters the wet well too high, so its last run is too flat."""


def third_day(dice: random.Random) -> list[Shot]:
    """Return the shots of the third day: subgrade of the apron, generator slab, sewer inverts."""
    control = {i: (n, e, z) for i, n, e, z, _ in CONTROL}
    shots, shoot = recorder(dice, DAY3, "thu-am")

    shoot("CP2", control["CP2"], "CHK")
    shoot("CP5", control["CP5"], "CHK")
    number = 951
    for y in (17.0, 26.0, 35.0):
        for x in (48.0, 60.0, 72.0, 84.0, 96.0, 108.0):
            z = apron_level(x, y) - PAVEMENT + HIGH_SUBGRADE.get(number, 0.0)
            shoot(str(number), (*to_grid(*site(x, y)), z), "SG")
            number += 1
    for number, (x, y) in enumerate(
        [(x, y) for y in (19.0, 22.0, 25.0) for x in (21.0, 25.0, 29.0, 33.0)], start=971
    ):
        shoot(str(number), (*to_grid(*site(x, y)), PAD - 0.01 * (26.0 - y)), "SLAB")
    for invert in inverts():
        z = (invert.z or 0.0) + INVERT_OFF.get(invert.id, 0.0)
        shoot(str(invert.id), (*to_grid(invert.n, invert.e), z), "INV")
    shoot("CP2", control["CP2"], "CHK")
    return shots


WRONG_SIDE = {715}
"""A stake of the road set between its edge and the centre line instead of outside."""


def road_day(dice: random.Random) -> list[Shot]:
    """Return the shots of the third afternoon: the road's offset stakes and the poured curb."""
    control = {i: (n, e, z) for i, n, e, z, _ in CONTROL}
    shots, shoot = recorder(dice, DAY3_ROAD, "thu-pm")
    shoot("CP2", control["CP2"], "CHK")
    for side, stakes_of_side in ROAD_STAKES.items():
        away = -ROAD_SET_OFF if side == "left" else ROAD_SET_OFF
        for number, length, offset in stakes_of_side:
            off = -away if number in WRONG_SIDE else away
            n, e = site(*road(length, offset + off))
            word = f"RS{side[0].upper()}"
            shoot(str(number), (*to_grid(n, e), ground_level(n, e)), word)
    for number in range(801, 813):
        length = CURB_START + 5.0 + 28.0 * (number - 801)
        n, e = site(*road(length, ROAD_HALF))
        shoot(str(number), (*to_grid(n, e), road_level(length, ROAD_HALF)), "CURB")
    shoot("CP2", control["CP2"], "CHK")
    return shots


MISSED_CATCH = {735: 0.9}
"""A slope stake set too far out, by so many feet."""
BUILT_RADIUS = 20.02
LEANING = {"K3": (0.11, -0.05)}
"""How far a column's top stands north and east of its bottom."""


def slopes_day(dice: random.Random) -> list[Shot]:
    """Return the shots of the third evening: slope stakes, the curb return, the columns."""
    control = {i: (n, e, z) for i, n, e, z, _ in CONTROL}
    shots, shoot = recorder(dice, DAY3_SLOPES, "thu-eve")
    shoot("CP2", control["CP2"], "CHK")
    for number, length, side in SLOPE_STAKES:
        off = catch_offset(length, side) + side * MISSED_CATCH.get(number, 0.0)
        n, e = site(*road(length, off))
        shoot(str(number), (*to_grid(n, e), ground_level(n, e)), "SLOPE")
    base = road_level(ROAD_LENGTH, ROAD_HALF)
    for number in range(5):
        share = number / 4
        n, e = site(*curb_return(share, BUILT_RADIUS))
        low, middle, high = RETURN_LEVELS
        step = low + (middle - low) * 2 * share
        if share > 0.5:
            step = middle + (high - middle) * (2 * share - 1)
        shoot(str(821 + number), (*to_grid(n, e), base + step), "RETURN")
    for number, place in enumerate(COLUMNS, start=1):
        n, e = to_grid(*site(*place))
        dn, de = LEANING.get(f"K{number}", (0.0, 0.0))
        shoot(f"K{number}B", (n, e, FLOOR), "COL")
        shoot(f"K{number}T", (n + dn, e + de, FLOOR + COLUMN_HEIGHT), "COL")
    shoot("CP2", control["CP2"], "CHK")
    return shots


REVISION_B = {110: (0.14, -0.16, 0.0), 504: (0.0, 0.0, -0.15)}
"""Where the drawing before this one had points: ground northing, easting, elevation apart."""
GONE_SINCE_B = [(190, (50.0, 57.0), FLOOR)]
NEW_SINCE_B = {417}


def write_revision_b(path: Path) -> None:
    """Write the points of the revision before this one, as a table."""
    rows = []
    for stake in stakes():
        if stake.id in NEW_SINCE_B:
            continue
        dn, de, dz = REVISION_B.get(stake.id, (0.0, 0.0, 0.0))
        level = "" if stake.z is None else f"{stake.z + dz:.3f}"
        rows.append(f"{stake.id},{stake.n + dn:.4f},{stake.e + de:.4f},{level}")
    for number, place, z in GONE_SINCE_B:
        n, e = site(*place)
        rows.append(f"{number},{n:.4f},{e:.4f},{z:.3f}")
    write(path, "id,northing,easting,elevation", rows)


CHECK_PLACES = [
    (x, y) for y in (-14.0, 12.0, 38.0, 64.0, 90.0) for x in (-8.0, 30.0, 68.0, 106.0, 122.0)
][:22]
"""Where the invented total station put check points, in the site's own axes."""
PAIR = ((-20.0, -22.0), (28.0, -22.0))
"""The two rover points of the field test."""
PAIR_LEVEL = (45.62, 46.04)


def check_places() -> list[tuple[str, Truth]]:
    """Return the check points with their true places."""
    found = []
    for number, place in enumerate(CHECK_PLACES, start=1101):
        n, e = site(*place)
        found.append((str(number), (*to_grid(n, e), ground_level(n, e))))
    return found


def write_check_points(path: Path, dice: random.Random) -> None:
    """Write the check points as a total station and a level had them: to a few hundredths."""
    rows = [
        f"{number},{n + dice.gauss(0, 0.004):.3f},{e + dice.gauss(0, 0.004):.3f},"
        f"{z + dice.gauss(0, 0.003):.3f},check point"
        for number, (n, e, z) in check_places()
    ]
    write(path, "id,northing,easting,elevation,description", rows)


def proof_day(dice: random.Random) -> list[Shot]:
    """Return the shots of the day before: the field test of the rover, and the check points."""
    control = {i: (n, e, z) for i, n, e, z, _ in CONTROL}
    every: list[Shot] = []
    for series in range(3):
        shots, shoot = recorder(dice, DAY0 + series * timedelta(minutes=100), f"test-{series + 1}")
        shoot("CP2", control["CP2"], "CHK")
        for _ in range(5):
            for name, place, level in zip(("R1", "R2"), PAIR, PAIR_LEVEL, strict=True):
                shoot(name, (*to_grid(*site(*place)), level), "TEST")
        if series == 1:
            for number, truth in check_places():
                shoot(number, truth, "TOPO")
        shoot("CP5", control["CP5"], "CHK")
        every += shots
    return every


def station(length: float) -> str:
    """Return the station at a distance along the access road."""
    whole = ROAD_STATION + length
    return f"{int(whole // 100)}+{whole % 100:05.2f}"


def write_road(folder: Path) -> None:
    """Write the profile of the access road and the tables of its stakes."""
    rows = [f"{station(s - ROAD_STATION)},{z:.2f},{curve or ''}" for s, z, curve in ROAD_PVIS]
    write(folder / "road-profile.csv", "station,elevation,length", rows)
    for side, stakes_of_side in ROAD_STAKES.items():
        rows = [
            f"{number},{station(length)},{abs(offset):.2f},{side[0].upper()}"
            for number, length, offset in stakes_of_side
        ]
        write(folder / f"road-{side}.csv", "id,station,offset,side", rows)


def write_rover(path: Path, shots: Sequence[Shot]) -> None:
    """Write a rover's export: US survey feet, one standard deviation, UTC."""
    head = (
        "id,northing,easting,elevation,description,solution,satellites,pdop,age,sigma_n,sigma_e,"
        "sigma_z,epochs,pole,base,base_distance,session,time,elevation_mask"
    )
    rows = []
    for s in shots:
        far = math.hypot(s.n - BASE[0], s.e - BASE[1])
        rows.append(
            f"{s.id},{s.n:.3f},{s.e:.3f},{s.z:.3f},{s.description},{s.solution},{s.satellites},"
            f"{s.pdop:.1f},{s.age:.0f},{s.sigma:.3f},{s.sigma:.3f},{s.sigma_z:.3f},{s.epochs},"
            f"2 m,CP1,{far:.0f},{s.session},{s.time:%Y-%m-%dT%H:%M:%SZ},10"
        )
    write(path, head, rows)


def write(path: Path, head: str, rows: Sequence[str]) -> None:
    """Write a table below a line that says what it is."""
    path.write_bytes("\n".join([f"# {INVENTED}", head, *rows, ""]).encode())


def write_demo(folder: Path) -> None:
    """Write all data files of the demonstration into a folder."""
    write_drawing(folder / "design.dxf")
    write_control(folder / "control.csv")
    write_traverse(folder / "traverse.csv", random.Random(7))
    write_levels(folder / "levels.csv", random.Random(11))
    write_vectors(folder / "vectors.csv", random.Random(17))
    write_lots(folder)
    day1, day2 = rover_shots(random.Random(23))
    write_rover(folder / "rover-day1.csv", day1)
    write_rover(folder / "rover-day2.csv", day2)
    write_rover(folder / "rover-day3.csv", third_day(random.Random(31)))
    write_road(folder)
    write_rover(folder / "rover-road.csv", road_day(random.Random(43)))
    write_revision_b(folder / "design-b.csv")
    write_rover(folder / "rover-slopes.csv", slopes_day(random.Random(61)))
    write_check_points(folder / "check-points.csv", random.Random(53))
    write_rover(folder / "rover-proof.csv", proof_day(random.Random(59)))


if __name__ == "__main__":
    here = Path(__file__).resolve().parent.parent / "demo_job"
    write_demo(Path(sys.argv[1]) if len(sys.argv) > 1 else here)
