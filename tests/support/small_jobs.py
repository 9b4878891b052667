"""Small invented jobs that between them use every kind of check: what the fuzz tests damage."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Iterator
from functools import cache

from ezdxf._options import options
from ezdxf.filemanagement import new

Files = dict[str, bytes]
"""The files of a job's folder, by name."""

STAKES = """\
id,northing,easting,elevation,description
1,100.000,200.000,50.000,corner
2,100.000,220.000,50.000,corner
3,120.000,220.000,50.200,corner
4,120.000,200.000,50.200,corner
M1 OUT,140.000,200.000,48.000,invert
M2 IN,170.000,200.000,47.700,invert
M2 OUT,170.500,200.000,47.650,invert
M3 IN,200.000,200.000,47.350,invert
"""
SHOTS = """\
id;northing;easting;elevation;description;solution;satellites;pdop;age;sigma_n;sigma_e;sigma_z;pole;base;session;time
CP1;90.003;190.004;49.002;CHK;fixed;14;1.6;1;0.004;0.004;0.008;2 m;B1;am;2031-04-15T12:08:07Z
CP2;90.002;240.001;49.008;CHK;fixed;14;1.6;1;0.004;0.004;0.008;2 m;B1;am;2031-04-15T12:09:07Z
CP3;150.001;190.002;49.505;CHK;fixed;12;1.9;2;0.004;0.005;0.008;2 m;B1;pm;2031-04-15T18:09:07Z
CP4;150.004;239.998;49.507;CHK;fixed;12;1.9;2;0.004;0.005;0.008;2 m;B1;pm;2031-04-15T18:10:07Z
1;100.004;199.997;50.005;HUB;fixed;14;1.6;1;0.004;0.004;0.008;2 m;B1;am;2031-04-15T12:18:07Z
2;100.002;220.003;50.004;HUB;fixed;14;1.6;1;0.004;0.004;0.008;2 m;B1;am;2031-04-15T12:20:07Z
3;120.051;220.013;50.205;HUB;float;5;4.6;9;0.024;0.024;0.048;2 m;B1;am;2031-04-15T12:22:07Z
4;120.004;199.993;50.197;HUB;fixed;14;1.6;1;0.004;0.004;0.008;2 m;B1;am;2031-04-15T12:24:07Z
4;120.003;199.996;50.195;HUB;fixed;14;1.6;1;0.004;0.004;0.008;2 m;B1;pm;2031-04-15T18:24:07Z
1;100.001;199.999;50.001;HUB;fixed;14;1.6;1;0.004;0.004;0.008;2 m;B1;pm;2031-04-15T18:28:07Z
M1 OUT;140.004;200.004;48.005;INV;fixed;14;1.6;1;0.004;0.004;0.008;2 m;B1;am;2031-04-15T12:28:07Z
M2 IN;170.002;200.003;47.704;INV;fixed;14;1.6;1;0.004;0.004;0.008;2 m;B1;am;2031-04-15T12:29:07Z
M2 OUT;170.503;199.997;47.655;INV;fixed;14;1.6;1;0.004;0.004;0.008;2 m;B1;am;2031-04-15T12:30:07Z
M3 IN;200.004;200.002;47.353;INV;fixed;14;1.6;1;0.004;0.004;0.008;2 m;B1;am;2031-04-15T12:32:07Z
"""
CONTROL = """\
id,northing,easting,elevation
CP1,90.000,190.000,49.000
CP2,90.000,240.000,49.000
CP3,150.000,190.000,49.500
CP4,150.000,240.000,49.500
"""
POINTS_JOB = """\
[job]
title = "Invented corners"
unit = "metre"
date = 2031-04-17
notes = "notes.md"
[design]
points = "design.csv"
[measured]
files = ["shots.csv"]
sigma_factor = 1.5
exclude = [{ id = "M3 IN", reason = "pole slipped" }]
[control]
file = "control.csv"
tolerance = "c"
[gate]
solution = ["fixed"]
pdop = 4.0
age = "5 s"
pole = ["2 m"]
[site_fit]
plan = "similarity"
height = "shift"
tolerance = "c"
[tolerance.c]
horizontal = "20 mm"
vertical = "30 mm"
[tolerance.t]
horizontal = "25 mm"
above = "20 mm"
below = "30 mm"
rule = "guarded"
source = "invented"
[[stakeout]]
name = "Corners"
design = { description = "corner" }
tolerance = "t"
[[stakeout]]
name = "By place"
design = { description = "corner" }
match = "nearest"
tolerance = "t"
[[relative]]
name = "Sides"
group = ["1", "2", "3", "4"]
tolerance = { distance = "10 mm + 20 ppm", elevation = "15 mm" }
[[repeats]]
measured = { description = "HUB" }
apart = "4 h"
tolerance = "c"
[[plane]]
name = "Slab"
measured = { description = "HUB" }
slope = "1 %"
direction = 0
tolerance = { slope = "0.5 %", vertical = "20 mm" }
[[pipe]]
name = "Sewer"
runs = [["M1 OUT", "M2 IN"]]
structures = [["M2 IN", "M2 OUT"]]
minimum_grade = "0.4 %"
tolerance = { slope = "0.25 %", elevation = "20 mm" }
[[accuracy]]
tolerance = { horizontal = "50 mm", vertical = "80 mm" }
"""

CLOSURES_JOB = """\
[job]
title = "Invented closures"
unit = "metre"
[control]
file = "control.csv"
[[traverse]]
name = "Loop"
file = "traverse.csv"
shape = "loop"
angles = "interior"
start = "A"
start_azimuth = 270.0
adjust = "compass"
tolerance = { angular = "20 arcsec * sqrt(n)", ratio = "1:5000" }
[[levels]]
name = "Run"
file = "levels.csv"
start = "A"
close = "A"
adjust = "distance"
tolerance = { misclosure = "12 mm * sqrt(km)" }
[[levels]]
name = "Rises"
file = "rises.csv"
start = "A"
close = "A"
adjust = "least-squares"
tolerance = { misclosure = "12 mm * sqrt(km)" }
[[vectors]]
name = "Baselines"
file = "vectors.csv"
tolerance = { misclosure = "2 cm + 10 ppm" }
[[figure]]
name = "Parcel"
file = "figure.csv"
area = 3328
tolerance = { ratio = "1:5000" }
[[network]]
name = "Net"
use = ["Loop", "Run"]
fixed = ["A"]
sigma_angle = "5 arcsec"
sigma_distance = "2 mm + 2 ppm"
sigma_azimuth = "5 arcsec"
sigma_rise = "1 mm * sqrt(km)"
"""
TRAVERSE = """\
at,to,angle,distance
A,B,90-00-05,100.003
B,C,89-59-58,80.002
C,D,90-00-02,99.998
D,A,89-59-59,80.001
A,B,90-00-01,
"""
LEVELS = """\
point,bs,is,fs,distance
A,1.402,,,
TP1,1.377,,1.604,70
B,1.500,,1.120,80
C,,1.2,,
A,,,1.553,60
"""
RISES = """\
from,to,rise,distance,setups
A,B,-0.102,120,2
B,C,0.401,90,2
C,A,-0.297,100,2
"""
VECTORS = """\
from,to,dx,dy,dz,xx,xy,xz,yy,yz,zz
A,B,100.002,0.001,1.500,1e-6,0,0,1e-6,0,4e-6
B,C,0.003,80.001,-0.700,1e-6,0,0,1e-6,0,4e-6
C,A,-100.004,-80.003,-0.803,1e-6,0,0,1e-6,0,4e-6
A,B,100.004,0.000,1.503,1e-6,0,0,1e-6,0,4e-6
"""
FIGURE = """\
course,bearing,distance,radius,turn,arc,delta,chord,chord_bearing,tangent
1,N 00-00-00 E,50.00,,,,,,,
2,N 90-00-00 E,50.00,,,,,,,
3,,,20.00,right,31.416,,,,yes
4,S 00-00-00 W,30.00,,,,,,,
5,N 90-00-00 W,70.00,,,,,,,
"""

ROAD_JOB = """\
[job]
title = "Invented road"
unit = "metre"
[design]
drawing = "road.dxf"
[measured]
files = ["road.txt"]
[tolerance.t]
across = "30 mm"
along = "80 mm"
vertical = "30 mm"
[tolerance.h]
horizontal = "30 mm"
vertical = "30 mm"
[alignment.CL]
layer = "CL"
start = "0+000"
profile = "profile.csv"
crossfall = "-2 %"
[alignment.EL]
elements = "elements.csv"
start = 0
superelevation = "super.csv"
profile = "profile.csv"
equations = [{ back = "0+080", ahead = "0+100" }]
[[stakeout]]
name = "Points"
design = { layer = "STAKE" }
measured = { description = "PEG*" }
alignment = "CL"
tolerance = "h"
[[stakeout]]
name = "Edge"
alignment = "CL"
match = "station"
design = { stakes = "edge.csv" }
stake_offset = { offset = 2.0, side = "right" }
measured = { description = "EDGE" }
tolerance = "t"
[[stakeout]]
name = "Line"
alignment = "EL"
match = "line"
design = { layer = "CL" }
measured = { description = "LINE" }
tolerance = { across = "30 mm" }
[[surface]]
name = "Ground"
design = { layer = "TIN" }
measured = { description = "SG" }
thickness = 0.2
volume = true
boundary = { layer = "LIMIT" }
tolerance = { above = "20 mm", below = "30 mm" }
[[figure]]
name = "Limit"
design = { layer = "LIMIT" }
tolerance = { ratio = "1:5000" }
[[slope_stake]]
alignment = "CL"
hinge = 4.0
cut = "2:1"
fill = "2:1"
measured = { description = "SS" }
tolerance = { across = "100 mm" }
"""
ROAD_SHOTS = """\
Pt\tN\tE\tZ\tCode
P1\t10.010\t4.995\t10.003\tPEG
P2\t30.002\t5.010\t10.404\tPEG
E1\t10.001\t5.003\t9.9\tEDGE
E2\t30.010\t4.990\t10.3\tEDGE
L1\t15.0\t0.004\t10.1\tLINE
L2\t45.0\t-0.010\t10.7\tLINE
S1\t5.0\t5.0\t9.801\tSG
S2\t12.0\t8.0\t9.815\tSG
S3\t14.0\t2.0\t9.790\tSG
S4\t3.0\t1.0\t9.802\tSG
T1\t20.0\t8.0\t8.5\tSS
"""
PROFILE = "station,elevation,length\n0+000,10.00,\n0+040,10.80,20\n0+120,10.30,\n"
ELEMENTS = """\
type,length,radius,turn,northing,easting,azimuth
line,30,,,0,0,0
spiral,10,,,,,
arc,20,50,right,,,
spiral,10,,,,,
line,20,,,,,
"""
SUPER = "station,left,right\n0+000,-2 %,-2 %\n0+060,2 %,-4 %\n"
EDGE = "id,station,offset,side\nE1,0+010,3.0,R\nE2,0+030,3.0,R\n"


@contextlib.contextmanager
def unstamped() -> Iterator[None]:
    """Keep the time and a random number out of the drawings that the library writes."""
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


@cache
def road_drawing() -> bytes:
    """Return the road's drawing, the same bytes every time."""
    with unstamped():
        return _road_drawing()


def _road_drawing() -> bytes:
    document = new("R2010")
    document.header["$INSUNITS"] = 6
    space = document.modelspace()
    for name, n, e, z in (("P1", 10.0, 5.0, 10.0), ("P2", 30.0, 5.0, 10.4)):
        space.add_point((e, n, z), dxfattribs={"layer": "STAKE"})
        space.add_text(name, dxfattribs={"layer": "STAKE", "insert": (e + 0.2, n + 0.2)})
    space.add_line((0, 0), (0, 40), dxfattribs={"layer": "CL"})
    space.add_arc((50, 40), 50, 120, 180, dxfattribs={"layer": "CL"})
    for face in (
        ((0, 0, 10), (10, 0, 10), (10, 16, 10.1)),
        ((0, 0, 10), (10, 16, 10.1), (0, 16, 10.1)),
    ):
        space.add_3dface(face, dxfattribs={"layer": "TIN"})
    space.add_lwpolyline(
        [(1, 1), (9, 1), (9, 13), (1, 13)], close=True, dxfattribs={"layer": "LIMIT"}
    )
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


@cache
def small_jobs() -> dict[str, Files]:
    """Return the jobs by name: points, closures, road."""
    texts = {
        "points": {
            "job.toml": POINTS_JOB,
            "design.csv": STAKES,
            "shots.csv": SHOTS,
            "control.csv": CONTROL,
            "notes.md": "# Notes\n\nInvented, *all* of it; see <https://example.org/>.\n",
        },
        "closures": {
            "job.toml": CLOSURES_JOB,
            "control.csv": "id,northing,easting,elevation\nA,500,500,20\nB,600,500,21.5\n",
            "traverse.csv": TRAVERSE,
            "levels.csv": LEVELS,
            "rises.csv": RISES,
            "vectors.csv": VECTORS,
            "figure.csv": FIGURE,
        },
        "road": {
            "job.toml": ROAD_JOB,
            "road.txt": ROAD_SHOTS,
            "profile.csv": PROFILE,
            "elements.csv": ELEMENTS,
            "super.csv": SUPER,
            "edge.csv": EDGE,
        },
    }
    jobs = {
        job: {name: text.encode() for name, text in files.items()} for job, files in texts.items()
    }
    jobs["road"]["road.dxf"] = road_drawing()
    return jobs
