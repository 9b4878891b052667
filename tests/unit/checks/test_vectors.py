import math
from typing import Any

import numpy as np
import pytest

from checker.errors import InputError
from checker.formulas import parse_formula
from checker.model.job import Rule, Tolerance, VectorFrame
from checker.model.measure import Measure
from checker.units import LengthUnit
from tests.support.books import comparison, values
from tests.support.closures import vectors

HEAD = "from,to,dx,dy,dz\n"
LOOP = HEAD + "A,B,100,0,1\nB,C,-50,80,2\nC,A,-50.01,-79.98,-3.02\n"


def summary(measure: Measure) -> dict[str, Any]:
    return {entry.key: entry.value for entry in measure.summary}


def test_a_loop_sums_its_vectors() -> None:
    measure = vectors(LOOP)
    assert list(measure.id) == ["A-B-C-A"]
    total = summary(measure)
    assert total["misclosure_x"] == pytest.approx(-0.01)
    assert total["misclosure_y"] == pytest.approx(0.02)
    assert total["misclosure_z"] == pytest.approx(-0.02)
    assert total["misclosure"] == pytest.approx(0.03)
    legs = math.hypot(100, 1) + math.hypot(50, 80, 2) + math.hypot(50.01, 79.98, 3.02)
    assert total["length"] == pytest.approx(legs)
    assert total["ppm"] == pytest.approx(0.03 / legs * 1e6)
    # Without a frame and a coordinate system x, y, z are east, north, up.
    assert values(measure, "misclosure_n")[0] == pytest.approx(0.02)
    assert values(measure, "misclosure_e")[0] == pytest.approx(-0.01)


def test_a_vector_may_run_against_the_loop() -> None:
    reverse = HEAD + "A,B,100,0,1\nC,B,50,-80,-2\nA,C,50.01,79.98,3.02\n"
    total = summary(vectors(reverse))
    assert total["misclosure"] == pytest.approx(0.03)
    assert total["misclosure_x"] == pytest.approx(-0.01)


def test_the_limit_is_taken_at_each_loops_own_length() -> None:
    tolerance = Tolerance(
        name="t", misclosure=parse_formula("1 cm + 10 ppm", "length", LengthUnit.METRE)
    )
    compared = comparison(vectors(LOOP, tolerance=tolerance), "misclosure")
    assert compared.length_m is not None
    assert compared.length_m.shape == (1,)
    assert compared.sigma is None


def test_a_net_gives_its_independent_loops_and_a_hanging_vector_is_unchecked() -> None:
    text = LOOP + "B,D,30,30,0\nD,C,-80,50,2\nC,E,10,10,10\n"
    measure = vectors(text)
    assert list(measure.id) == ["A-B-C-A", "B-C-D-B", "C-E"]
    assert measure.unchecked.tolist()[:2] == ["", ""]
    assert "nothing proves it" in measure.unchecked[2]
    assert summary(measure)["unproved"] == 1


def test_repeated_baselines_are_compared_over_their_mean_length() -> None:
    text = HEAD + "A,B,100,0,0\nB,A,-100.02,0,0\n"
    measure = vectors(text)
    assert list(measure.id) == ["A-B"]
    assert list(measure.column("kind").values) == ["repeat"]
    assert values(measure, "misclosure_x")[0] == pytest.approx(0.02)
    assert values(measure, "ppm")[0] == pytest.approx(0.02 / 100.01 * 1e6)


def test_given_loops_are_taken_as_given() -> None:
    text = LOOP + "B,D,30,30,0\nD,C,-80,50,2\n"
    measure = vectors(text, loops=(("A", "B", "D", "C", "A"),))
    assert list(measure.id) == ["A-B-D-C-A"]
    assert summary(measure)["misclosure_x"] == pytest.approx(100 + 30 - 80 - 50.01)
    assert any("In none of these loops: B-C" in text for text in measure.remarks)


@pytest.mark.parametrize(
    ("loop", "says"),
    [(("A", "X", "A"), '"X"'), (("A", "B", "D", "A"), 'from "D" to "A"')],
)
def test_a_given_loop_that_no_vectors_run_is_refused(loop: tuple[str, ...], says: str) -> None:
    with pytest.raises(InputError) as caught:
        vectors(LOOP + "B,D,30,30,0\n", loops=(loop,))
    (problem,) = caught.value.problems
    assert problem.slug == "unknown-mark"
    assert says in problem.message


def test_vectors_that_close_nothing_are_refused() -> None:
    with pytest.raises(InputError) as caught:
        vectors(HEAD + "A,B,1,2,3\nB,C,1,2,3\n")
    assert caught.value.problems[0].slug == "no-loop"


def test_covariances_add_up_and_test_the_misclosure() -> None:
    head = "from,to,dx,dy,dz,xx,xy,xz,yy,yz,zz\n"
    rows = ["A,B,100,0,1", "B,C,-50,80,2", "C,A,-50.06,-80,-3"]
    text = head + "".join(f"{row},0.0001,0.00002,0,0.0002,0,0.0003\n" for row in rows)
    tolerance = Tolerance(
        name="t",
        misclosure=parse_formula("5 cm", "length", LengthUnit.METRE),
        rule=Rule.GUARDED,
    )
    measure = vectors(text, tolerance=tolerance)
    assert values(measure, "sigma_x")[0] == pytest.approx(math.sqrt(0.0003))
    w = np.array([-0.06, 0, 0])
    c = 3 * np.array([[1e-4, 2e-5, 0], [2e-5, 2e-4, 0], [0, 0, 3e-4]])
    assert values(measure, "chi2")[0] == pytest.approx(w @ np.linalg.inv(c) @ w)
    sigma = comparison(measure, "misclosure").sigma
    assert sigma is not None
    assert sigma[0] == pytest.approx(math.sqrt(0.0003))
    assert any("it does in A-B-C-A" in text for text in measure.remarks)


def test_axes_are_not_guessed_where_a_coordinate_system_is_named() -> None:
    measure = vectors(LOOP, crs="EPSG:6527")
    assert "misclosure_n" not in [column.key for column in measure.columns]
    assert any("frame" in text for text in measure.remarks)


def test_geocentric_misclosures_are_turned_as_pyproj_turns_them() -> None:
    """Against PROJ's topocentric conversion: a general reference library."""
    from pyproj import Transformer

    latitude, longitude = math.radians(40.25), math.radians(-105.5)
    measure = vectors(
        LOOP,
        frame=VectorFrame.GEOCENTRIC,
        latitude_rad=latitude,
        longitude_rad=longitude,
        crs="EPSG:6318",
    )
    to_xyz = Transformer.from_pipeline("+proj=cart +ellps=GRS80")
    x, y, z = to_xyz.transform(-105.5, 40.25, 0.0, radians=False)
    local = Transformer.from_pipeline(f"+proj=topocentric +ellps=GRS80 +X_0={x} +Y_0={y} +Z_0={z}")
    e, n, u = local.transform(x - 0.01, y + 0.02, z - 0.02)
    found = [values(measure, f"misclosure_{axis}")[0] for axis in "enu"]
    assert found == pytest.approx([e, n, u], abs=1e-8)


def test_the_one_vector_common_to_bad_loops_is_named() -> None:
    marks = {f"{i}{j}": (100.0 * i, 100.0 * j, 0.0) for i in range(4) for j in range(4)}
    lines = [(f"{i}{j}", f"{i + 1}{j}") for i in range(3) for j in range(4)]
    lines += [(f"{i}{j}", f"{i}{j + 1}") for i in range(4) for j in range(3)]
    rows = []
    for one, other in lines:
        d = np.subtract(marks[other], marks[one])
        if (one, other) == ("11", "21"):
            d = d + np.array([0.5, 0.0, 0.0])
        rows.append(f"P{one},P{other},{d[0]},{d[1]},{d[2]}\n")
    measure = vectors(HEAD + "".join(rows))
    assert len(measure.id) == len(lines) - len(marks) + 1
    assert any("P11-P21" in text and "look at that one first" in text for text in measure.remarks)
