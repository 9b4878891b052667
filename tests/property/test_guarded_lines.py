"""Guarded verdicts of shots beside lines and arcs, against an independent calculation.

The deviation across the line is that of the ellipse of the shot in this direction, with what the
rounding of the design adds on every axis: one unit of the last digit over the root of twelve
(rectangular distribution, from memory). Within: the limit holds with k times that added; outside:
it fails with it taken off; undecided between (ISO 14253-1, as its public summaries give it).
"""

import math
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from tests.support.jobs import results
from tests.support.lines import dxf
from tests.support.shapes import write_job

pytestmark = pytest.mark.property

quick = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
N0, E0 = 5000.0, 2000.0
millimetres = st.integers(1, 12).map(lambda number: number / 1000.0)
offsets = st.integers(-60, 60).map(lambda number: number / 1000.0)


def verdict(value: float, low: float, high: float, doubt: float) -> str:
    """Return what the guarded rule says of a value between two limits."""
    if low <= value - doubt and value + doubt <= high:
        return "within"
    if value + doubt < low or value - doubt > high:
        return "outside"
    return "undecided"


def near_an_edge(value: float, limits: tuple[float, float], doubt: float) -> bool:
    """Tell whether rounding decides: the value is a hair from where the verdict changes."""
    edges = [limit + sign * doubt for limit in limits for sign in (-1.0, 1.0)]
    return any(abs(value - edge) < 5e-6 for edge in edges)


@quick
@given(
    azimuth=st.floats(0.0, 2.0 * math.pi),
    across=offsets,
    sigma=st.tuples(millimetres, millimetres),
    correlation=st.sampled_from([None, -0.8, 0.3]),
    rounded=st.sampled_from([0.0, 0.01, 0.03]),
    k=st.sampled_from([1.0, 2.0, 3.0]),
    bent=st.booleans(),
)
def test_guarded_verdicts_across_lines_and_arcs(
    tmp_path: Path,
    azimuth: float,
    across: float,
    sigma: tuple[float, float],
    correlation: float | None,
    rounded: float,
    k: float,
    bent: bool,
) -> None:
    left, right = 0.030, 0.020
    # A line through the middle in that azimuth, or a right arc of 90 degrees around a centre.
    sine, cosine = math.sin(azimuth), math.cos(azimuth)
    radius = 12.0
    if bent:
        centre = (N0 - radius * sine, E0 + radius * cosine)  # to the right of the direction
        # The arc runs clockwise from an eighth before to an eighth behind the middle.
        outward = math.degrees(math.pi / 2 - (azimuth - math.pi / 2))
        drawn = dxf(arcs=[("W", (centre[1], centre[0]), radius, outward - 45, outward + 45)])
    else:
        ends = [(E0 + t * sine, N0 + t * cosine) for t in (-20.0, 20.0)]
        drawn = dxf(lines=[("W", ends[0], ends[1])])
    n, e = N0 - across * sine, E0 + across * cosine
    head = "id,northing,easting,elevation,sigma_n,sigma_e,sigma_z"
    cells = ["A", repr(n), repr(e), "0", *(f"{each}" for each in sigma), "0.004"]
    if correlation is not None:
        head += ",correlation_ne"
        cells.append(str(correlation))
    section = (
        '[[stakeout]]\nname = "W"\ndesign = { layer = "W" }\nmatch = "line"\n'
        f'tolerance = {{ left = "{left} m", right = "{right} m", rule = "guarded", k = {k} }}\n'
    )
    folder = write_job(tmp_path, section, d_dxf=drawn, m_csv=head + "\n" + ",".join(cells) + "\n")
    if rounded:
        text = (folder / "job.toml").read_text()
        (folder / "job.toml").write_text(
            text.replace('"d.dxf"\n', f'"d.dxf"\nrounded_to = "{rounded} m"\n')
        )
    (check,) = results(folder)["checks"]
    (row,) = check["rows"]
    # Arcs of the format run counter-clockwise: what lies right of the direction lies left of them.
    seen = -across if bent else across
    covariance = (correlation or 0.0) * sigma[0] * sigma[1]
    variance = (sigma[0] * sine) ** 2 + (sigma[1] * cosine) ** 2 - 2.0 * sine * cosine * covariance
    doubt = k * math.sqrt(variance + rounded**2 / 12.0)
    assert row["across"] == pytest.approx(seen, abs=1e-7)
    assume(not near_an_edge(seen, (-left, right), doubt))
    assert row["verdict"] == verdict(seen, -left, right, doubt)


@quick
@given(
    dz=offsets,
    sigma=millimetres,
    rounded=st.sampled_from([0.0, 0.01]),
    bubble=st.sampled_from(["", 'bubble = "10 arcmin"\n']),
)
def test_guarded_heights_of_a_grade(
    tmp_path: Path, dz: float, sigma: float, rounded: float, bubble: str
) -> None:
    """On a level stretch only the height counts; a leaning pole does not lower it by much."""
    section = (
        '[alignment.A]\nelements = "a.csv"\nstart = 0\nprofile = "p.csv"\n'
        '[[stakeout]]\nname = "G"\nmatch = "station"\nalignment = "A"\n'
        'tolerance = { above = "20 mm", below = "30 mm", rule = "guarded" }\n'
    )
    folder = write_job(
        tmp_path,
        section,
        d_csv="id,n,e,z\nX,1,1,1\n",
        m_csv=f"id,n,e,z,sigma_z,pole\nA,{N0},{E0 + 20},{50 + dz!r},{sigma},2\n",
        a_csv=f"type,length,northing,easting,azimuth\nline,100,{N0},{E0},90\n",
        p_csv="station,elevation\n0,50\n100,50\n",
    )
    text = (folder / "job.toml").read_text().replace('["m.csv"]\n', f'["m.csv"]\n{bubble}')
    if rounded:
        text = text.replace('"d.csv"\n', f'"d.csv"\nrounded_to = "{rounded} m"\n')
    (folder / "job.toml").write_text(text)
    (check,) = results(folder)["checks"]
    (row,) = check["rows"]
    doubt = 2.0 * math.sqrt(sigma**2 + rounded**2 / 12.0)
    assume(not near_an_edge(dz, (-0.030, 0.020), doubt))
    assert row["verdict"] == verdict(dz, -0.030, 0.020, doubt)
