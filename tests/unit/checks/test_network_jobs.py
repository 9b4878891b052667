"""Networks as job folders: sights, weighted and free control, vectors on a grid, tests, pairs."""

import math
from pathlib import Path

import numpy as np
import pytest
from pyproj import Transformer

from checker.errors import InputError
from tests.support.netjobs import folder, observations, outcome, stations

AT = {
    "A": (1000.0, 1000.0, 10.0),
    "B": (1010.0, 1400.0, 11.0),
    "C": (1420.0, 1390.0, 13.0),
    "D": (1400.0, 990.0, 12.0),
    "E": (1200.0, 1210.0, 15.0),
}
SIGMAS = 'sigma_distance = "2 mm"\nsigma_direction = "2 arcsec"\nsigma_rise = "1 mm"\n'
LINES = [
    ("A", "B"),
    ("B", "C"),
    ("C", "D"),
    ("D", "A"),
    ("A", "E"),
    ("B", "E"),
    ("C", "E"),
    ("D", "E"),
]


def control(names: str) -> str:
    text = "id,northing,easting,elevation\n"
    return text + "".join(f"{name},{','.join(map(str, AT[name]))}\n" for name in names)


def azimuth(one: str, other: str) -> float:
    dn, de = (AT[other][axis] - AT[one][axis] for axis in (0, 1))
    return math.degrees(math.atan2(de, dn)) % 360


def sights(seed: int = 1, noise: float = 1.0) -> str:
    """Return directions and distances along all lines, both ways, with normal errors."""
    rng = np.random.default_rng(seed)
    text = "at,to,round,direction,distance\n"
    for turn in (1, 2):
        for at in AT:
            zero = rng.uniform(0, 360)
            for one, other in LINES:
                if at not in (one, other):
                    continue
                to = other if at == one else one
                seen = azimuth(at, to) - zero + noise * 2 / 3600 * rng.standard_normal()
                far = math.dist(AT[at][:2], AT[to][:2]) + noise * 0.002 * rng.standard_normal()
                text += f"{at},{to},{turn},{seen % 360:.8f},{far:.6f}\n"
    return text


def test_sets_of_directions_have_a_zero_each(tmp_path: Path) -> None:
    found = outcome(
        folder(tmp_path, f'file = "s.csv"\n{SIGMAS}', control=control("AC"), s=sights())
    )
    total = found["summary"]
    # 64 observations, 3 stations of 2 unknowns, 10 circles.
    assert total["observations"] == 64
    assert total["degrees_of_freedom"] == 64 - 6 - 10
    for name in "BDE":
        row = stations(found)[name]
        assert math.dist((row["n"], row["e"]), AT[name][:2]) < 0.01
    assert total["test"] == "baarda"
    assert not found["reason"].startswith("an observation")


def test_an_assumed_precision_makes_it_popes_test(tmp_path: Path) -> None:
    found = outcome(folder(tmp_path, 'file = "s.csv"\n', control=control("AC"), s=sights()))
    assert found["summary"]["test"] == "pope"
    rows = observations(found)
    sigma0 = found["summary"]["sigma0"]
    assert rows[0]["tau"] == pytest.approx(rows[0]["standardized"] / sigma0)
    # The residuals are smaller than assumed: said, and no verdict made of it.
    assert any("state your own" in text for text in found["remarks"])
    assert found["verdict"] == "unchecked"


@pytest.mark.parametrize("test", ["baarda", "pope"])
def test_a_blunder_in_one_direction_is_named_with_its_size(tmp_path: Path, test: str) -> None:
    lines = sights(3).splitlines()
    at, to, turn, direction, far = lines[6].split(",")
    lines[6] = f"{at},{to},{turn},{float(direction) + 40 / 3600:.8f},{far}"
    network = f'file = "s.csv"\ntest = "{test}"\n{SIGMAS}'
    found = outcome(folder(tmp_path, network, control=control("AC"), s="\n".join(lines) + "\n"))
    assert found["verdict"] == "undecided"
    assert found["reason"].startswith(f"an observation stands out: direction {at} to {to}")
    said = next(text for text in found["remarks"] if "if it is the blunder" in text)
    assert "s.csv:7" in said
    size = float(said.rsplit("about ", 1)[1].rstrip("″."))
    assert size == pytest.approx(40.0, abs=6.0)


def test_every_pair_has_a_verdict_and_the_worst_makes_that_of_the_check(tmp_path: Path) -> None:
    network = f'file = "s.csv"\ntolerance = {{ distance = "1 mm + 5 ppm" }}\n{SIGMAS}'
    found = outcome(folder(tmp_path, network, control=control("AC"), s=sights()))
    (table,) = found["tables"]
    assert table["key"] == "pairs"
    rows = table["rows"]
    assert {row["id"] for row in rows} == {"A-B", "B-C", "C-D", "A-D", "A-E", "B-E", "C-E", "D-E"}
    assert [row["semi_major"] for row in rows] == sorted(
        (row["semi_major"] for row in rows), reverse=True
    )
    for row in rows:
        assert row["allowable"] == pytest.approx(0.001 + 5e-6 * row["distance"])
        assert row["share"] == pytest.approx(row["semi_major"] / row["allowable"])
        assert row["verdict"] == ("within" if row["share"] <= 1 else "outside")
    worst = max(rows, key=lambda row: row["share"])
    assert found["summary"]["weakest_pair"] == worst["id"]
    assert (found["verdict"] == "outside") == (worst["share"] > 1)


# ---------------------------------------------------------------- what holds it


def test_weighted_control_lies_between_held_and_free(tmp_path: Path) -> None:
    """Against numpy: three bench marks by weights, levelled between; a dense normal equation."""
    lines = [("A", "P", 2.003), ("P", "B", -0.998), ("P", "C", 1.004), ("A", "B", 1.001)]
    text = "from,to,rise\n" + "".join(f"{a},{b},{d}\n" for a, b, d in lines)
    network = (
        'file = "l.csv"\nsigma_rise = "2 mm"\n'
        'weighted = { A = "3 mm", B = { z = "5 mm" }, C = "4 mm" }\n'
    )
    found = outcome(folder(tmp_path, network, control=control("ABC"), l=text))
    names = ["A", "B", "C", "P"]
    design, right = [], []
    for a, b, d in lines:
        row = np.zeros(4)
        row[names.index(b)], row[names.index(a)] = 1.0, -1.0
        design.append(row / 0.002)
        right.append(d / 0.002)
    for name, size in (("A", 0.003), ("B", 0.005), ("C", 0.004)):
        row = np.zeros(4)
        row[names.index(name)] = 1 / size
        design.append(row)
        right.append(AT[name][2] / size)
    matrix, wanted = np.array(design), np.array(right)
    solved = np.linalg.lstsq(matrix, wanted, rcond=None)[0]
    rows = stations(found)
    for name, value in zip(names, solved, strict=True):
        assert rows[name]["z"] == pytest.approx(value, abs=1e-8)
    left = matrix @ solved - wanted
    assert found["summary"]["chi2"] == pytest.approx(float(left @ left), rel=1e-6)
    assert found["summary"]["degrees_of_freedom"] == 3
    assert [rows[name]["mark"] for name in names] == ["weighted", "weighted", "weighted", ""]


def test_weights_may_stand_in_the_control_file(tmp_path: Path) -> None:
    table = "id,northing,easting,elevation,sigma n,sigma e,sigma z\n"
    table += "A,1000,1000,10,0.005,0.006,0.004\nC,1420,1390,13,0.005,0.005,0.004\n"
    network = f'file = "s.csv"\nweighted = ["A", "C"]\nfixed = []\n{SIGMAS}'
    found = outcome(folder(tmp_path, network, control=table, s=sights()))
    rows = stations(found)
    assert rows["A"]["mark"] == rows["C"]["mark"] == "weighted"
    # The two points are known to 5 mm or so, the net inside itself to 2 mm.
    assert 0.002 < rows["A"]["sigma_n"] < 0.005
    assert any(text.startswith("Weighted") for text in found["remarks"])


def test_tight_weights_are_held_points_and_loose_ones_none(tmp_path: Path) -> None:
    def positions(network: str, name: str) -> list[float]:
        made = folder(
            tmp_path / name,
            f'file = "s.csv"\n{network}\n{SIGMAS}',
            control=control("AC"),
            s=sights(),
        )
        rows = stations(outcome(made))
        return [rows[each][axis] for each in "BDE" for axis in "ne"]

    held = positions('fixed = ["A", "C"]', "held")
    tight = positions('weighted = { A = "0.001 mm", C = "0.001 mm" }', "tight")
    assert tight == pytest.approx(held, abs=1e-6)
    loose = positions('fixed = ["A"]\nweighted = { C = "2 m" }', "loose")
    assert max(abs(a - b) for a, b in zip(loose, held, strict=True)) < 0.02


def test_a_free_net_needs_no_control(tmp_path: Path) -> None:
    rough = "id,northing,easting\n" + "".join(
        f"{name},{n + 0.01},{e - 0.02}\n" for name, (n, e, _) in AT.items()
    )
    network = f'file = "s.csv"\nfixed = []\napproximate = "r.csv"\n{SIGMAS}'
    found = outcome(folder(tmp_path, network, r=rough, s=sights()))
    held = outcome(
        folder(tmp_path / "held", f'file = "s.csv"\n{SIGMAS}', control=control("AC"), s=sights())
    )
    # Held in two points the scale is forced, which distances then contradict by one degree.
    assert found["summary"]["degrees_of_freedom"] == held["summary"]["degrees_of_freedom"] - 1
    assert found["summary"]["chi2"] < held["summary"]["chi2"] + 1e-9
    assert not any(row["mark"] for row in stations(found).values())
    assert any(text.startswith("Nothing is held: a free net") for text in found["remarks"])


def test_what_only_a_section_states_is_held_where_fixed_names_it(tmp_path: Path) -> None:
    more = (
        '[[levels]]\nname = "one"\nfile = "one.csv"\nstart = { elevation = 10.0 }\n'
        '[[levels]]\nname = "two"\nfile = "two.csv"\nstart = { elevation = 10.5 }\n'
    )
    tables = {"one": "from,to,rise\nA,B,1.0\nB,C,1.0\n", "two": "from,to,rise\nC,A,-2.03\n"}
    network = 'use = ["one", "two"]\nfixed = ["A"]\nsigma_rise = "1 cm"\n'
    found = outcome(folder(tmp_path, network, more=more, **tables))
    rows = stations(found)
    assert rows["A"]["z"] == 10.0
    assert rows["A"]["mark"] == "held"
    assert rows["C"]["mark"] == ""
    assert rows["C"]["z"] == pytest.approx(12.02)


# ---------------------------------------------------------------- vectors on a grid

GRID = "EPSG:32613"
MARKS = {
    "A": (4450000.0, 520000.0, 1600.0),
    "B": (4450800.0, 521500.0, 1650.0),
    "C": (4449300.0, 522300.0, 1580.0),
    "D": (4448900.0, 520700.0, 1610.0),
}


def earth() -> dict[str, np.ndarray]:
    degrees = Transformer.from_crs(GRID, "EPSG:4326", always_xy=True)
    cart = Transformer.from_pipeline("+proj=cart +ellps=WGS84")
    found = {}
    for name, (n, e, z) in MARKS.items():
        longitude, latitude = degrees.transform(e, n)
        found[name] = np.array(
            cart.transform(math.radians(longitude), math.radians(latitude), z, radians=True)
        )
    return found


def vector_table(error: float = 0.0) -> str:
    place, rng = earth(), np.random.default_rng(4)
    text = "from,to,dx,dy,dz,xx,xy,xz,yy,yz,zz\n"
    for one, other in (("A", "B"), ("B", "C"), ("C", "D"), ("D", "A"), ("A", "C"), ("B", "D")):
        d = place[other] - place[one] + error * rng.standard_normal(3)
        cells = ",".join(f"{v:.6f}" for v in d)
        text += f"{one},{other},{cells},4e-6,1e-6,-1e-6,5e-6,-2e-6,6e-6\n"
    return text


def known(names: str) -> str:
    rows = "".join(f"{name},{n},{e},{z}\n" for name, (n, e, z) in MARKS.items() if name in names)
    return "id,northing,easting,elevation\n" + rows


VECTORS = '[[vectors]]\nname = "gps"\nfile = "v.csv"\n'


@pytest.mark.parametrize("frame", ['frame = "geocentric"\n', ""])
def test_geocentric_vectors_give_back_the_grid(tmp_path: Path, frame: str) -> None:
    more = f'[reference]\ncrs = "{GRID}"\n{VECTORS}{frame}'
    network = 'use = ["gps"]\nfixed = ["A", "C"]\n'
    found = outcome(folder(tmp_path, network, more=more, control=known("AC"), v=vector_table()))
    for name in "BD":
        row = stations(found)[name]
        assert [row["n"], row["e"], row["z"]] == pytest.approx(MARKS[name], abs=2e-5, rel=0)
    assert found["summary"]["chi2"] < 1e-3
    assert any("brought to EPSG:32613" in text for text in found["remarks"])


def test_heights_of_vectors_may_be_left_out(tmp_path: Path) -> None:
    more = f'[reference]\ncrs = "{GRID}"\n{VECTORS}frame = "geocentric"\n'
    network = 'use = ["gps"]\nfixed = ["A"]\nvector_heights = false\n'
    made = folder(tmp_path, network, more=more, control=known("A"), v=vector_table(0.002))
    found = outcome(made)
    row = stations(found)["C"]
    assert row["z"] is None
    assert [row["n"], row["e"]] == pytest.approx(MARKS["C"][:2], abs=0.01, rel=0)
    assert found["summary"]["degrees_of_freedom"] == 12 - 6


def test_vectors_whose_axes_nobody_tells_are_refused(tmp_path: Path) -> None:
    more = f'[reference]\ncrs = "{GRID}"\n{VECTORS}'
    made = folder(
        tmp_path, 'use = ["gps"]\nfixed = ["A"]\n', more=more, control=known("A"), v=vector_table()
    )
    with pytest.raises(InputError) as caught:
        outcome(made)
    (problem,) = caught.value.problems
    assert problem.slug == "vector-frame"
    assert 'frame = "geocentric"' in problem.hint


def test_geocentric_vectors_without_a_grid_turn_at_the_stated_place(tmp_path: Path) -> None:
    about = 'frame = "geocentric"\nabout = { latitude = 40.198, longitude = -104.76 }\n'
    network = 'use = ["gps"]\nfixed = ["A"]\n'
    table = "id,northing,easting,elevation\nA,0,0,0\n"
    made = folder(tmp_path, network, more=VECTORS + about, control=table, v=vector_table())
    row = stations(outcome(made))["C"]
    # Lengths in space are kept: on the grid they differ by its scale and the curvature.
    place = earth()
    space = float(np.linalg.norm(place["C"] - place["A"]))
    assert math.hypot(row["n"], row["e"], row["z"]) == pytest.approx(space, abs=1e-5)


def test_a_free_net_of_vectors_begins_at_its_first_mark(tmp_path: Path) -> None:
    steps = {("A", "B"): (400, 10, 1), ("B", "C"): (-10, 410, 2), ("C", "A"): (-390.03, -420, -3)}
    text = "from,to,dx,dy,dz\n" + "".join(
        f"{a},{b},{x},{y},{z}\n" for (a, b), (x, y, z) in steps.items()
    )
    network = 'use = ["gps"]\nfixed = []\nsigma_vector = "1 cm"\n'
    found = outcome(folder(tmp_path, network, more=VECTORS, v=text))
    rows = stations(found)
    # The misclosure of -0.03 east is shared; the middle stays that of 0, 400 and 390.03 east.
    assert sum(rows[name]["e"] for name in "ABC") == pytest.approx(790.03, abs=1e-6)
    assert rows["B"]["e"] - rows["A"]["e"] == pytest.approx(400.01, abs=1e-6)
    assert found["summary"]["degrees_of_freedom"] == 3


def test_angles_alone_join_their_stations(tmp_path: Path) -> None:
    turns = [("A", "B", "E"), ("B", "E", "A"), ("E", "A", "B"), ("A", "E", "D"), ("D", "A", "E")]
    text = "at,back,to,angle\n" + "".join(
        f"{at},{back},{to},{(azimuth(at, to) - azimuth(at, back)) % 360:.8f}\n"
        for at, back, to in turns
    )
    network = 'file = "s.csv"\nsigma_angle = "2 arcsec"\ntolerance = { distance = "5 cm" }\n'
    found = outcome(folder(tmp_path, network, control=control("AB"), s=text))
    (table,) = found["tables"]
    assert {frozenset(row["id"].split("-")) for row in table["rows"]} == {
        frozenset(pair) for pair in ("AE", "BE", "DE", "AD")
    }
