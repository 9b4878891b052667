"""Statistics of accuracy, outliers and repeats, and the grid's factors, against printed values.

Each case in accuracy/ names its source and its status. What is marked MEMORY there is recalled: it
shows that the arithmetic is right, not that the source says so.
"""

import math
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from checker.adjust.reliability import critical_value, detectable
from checker.checks.accuracy import measure_accuracy
from checker.checks.frame import to_grid_m, to_ground_m
from checker.checks.grid import elevation_factor, site_frame
from checker.checks.rover_test import measure_rover_test
from checker.geometry import statistics
from checker.model.frame import SiteFrame
from checker.model.job import (
    Accuracy,
    AccuracyStandard,
    Ground,
    Reference,
    RoverTest,
    Selection,
)
from checker.model.points import Points
from tests.support.points import HERE, inputs, job, points

FOLDER = Path(__file__).parent / "accuracy"


def case(name: str) -> tuple[dict[str, Any], dict[str, Any], dict[str, Any]]:
    data = tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))
    return data.get("inputs", {}), data["expected"], data.get("tolerance", {})


# ---------------------------------------------------------------- accuracy statements


def test_check_points_along_a_road() -> None:
    given, expected, slack = case("acc-checkpoints-road-30")

    def table(rows: list[list[float]]) -> Points:
        return points(
            [(name, n, e, h) for name, (e, n, h) in zip(given["point"], rows, strict=True)]
        )

    section = Accuracy(where=HERE, name="road", measured=Selection())
    data = inputs(measured=table(given["tested"]), control=table(given["check"]))
    measure = measure_accuracy(section, data, job(section))
    # differences of two printed numbers carry the last binary digits of coordinates of 1.5e6
    for key, printed in (("de", "dE"), ("dn", "dN"), ("dz", "dh")):
        found = np.asarray(measure.column(key).values, dtype=float)
        np.testing.assert_allclose(found, expected[printed], atol=slack["d"] + 1e-9)
    found_of = {item.key: item.value for item in measure.summary}
    assert found_of["points"] == expected["n"]
    for key, printed in (
        ("rmse_horizontal", "rmse_h"),
        ("rmse_z", "rmse_v"),
        ("rmse_3d", "rmse_3d"),
    ):
        assert found_of[key] == pytest.approx(expected[printed], abs=slack[printed])


def test_edition_2_asks_for_thirty_and_reports_the_rmse() -> None:
    _, expected, _ = case("acc-asprs2023-rules")
    known = points([(str(k), 100.0 * k, 0.0, 0.0) for k in range(expected["min_checkpoints"])])
    section = Accuracy(
        where=HERE, name="s", measured=Selection(), standard=AccuracyStandard.ASPRS_2023
    )
    measure = measure_accuracy(section, inputs(measured=known, control=known), job(section))
    assert measure.whole_undecided == ""
    assert not any("95%" in text for text in measure.remarks)
    older = Accuracy(where=HERE, name="s", measured=Selection())
    measure = measure_accuracy(older, inputs(measured=known, control=known), job(older))
    required = {item.key: item.value for item in measure.summary}["points_required"]
    assert required == expected["old_edition_min_checkpoints"]


def test_the_factors_of_the_national_standard() -> None:
    _, expected, slack = case("acc-nssda-factors")
    k = statistics.radial_factor(0.95)
    assert k == pytest.approx(expected["k_h95_sigma"], abs=slack["k_h95_sigma"])
    assert statistics.nssda_horizontal(1.0, 1.0) / math.sqrt(2.0) == pytest.approx(
        expected["k_h95_rmse_r"], abs=slack["k_h95_rmse_r"]
    )
    assert statistics.linear_factor(0.95) == pytest.approx(expected["k_v95"], abs=slack["k_v95"])
    least = expected["ratio_min_for_unequal_formula"]
    assert statistics.nssda_horizontal(least, 1.0) == pytest.approx(k * 0.5 * (1.0 + least))
    assert math.isnan(statistics.nssda_horizontal(least - 1e-9, 1.0))


def test_circular_and_linear_errors() -> None:
    _, expected, slack = case("acc-ce-le-factors")
    found = {
        "ce90_per_sigma": statistics.radial_factor(0.90),
        "ce95_per_sigma": statistics.radial_factor(0.95),
        "ce90_per_rmse_r_exact": statistics.radial_factor(0.90) / math.sqrt(2.0),
        "le90_per_rmse_z": statistics.linear_factor(0.90),
        "le95_per_rmse_z": statistics.linear_factor(0.95),
    }
    for key, value in found.items():
        assert value == pytest.approx(expected[key], abs=slack[key]), key


# ---------------------------------------------------------------- outliers


def test_chi_square_table() -> None:
    given, expected, slack = case("stat-chi2-table")
    for nu, row in zip(given["nu"], expected["rows"], strict=True):
        for tail, printed in zip(given["upper_tail"], row, strict=True):
            found = statistics.chi_square_quantile(1.0 - tail, nu)
            if (nu, tail) == (30, 0.9):  # misprinted: 20.559 for 20.599
                assert found == pytest.approx(20.599, abs=slack["abs"])
                assert found != pytest.approx(printed, abs=slack["abs"])
            elif nu == 1:
                assert found == pytest.approx(printed, rel=slack["row1_rel"])
            else:
                assert found == pytest.approx(printed, abs=slack["abs"])


def test_grubbs_table() -> None:
    given, expected, slack = case("stat-grubbs-table")
    for count, row in zip(given["n"], expected["G"], strict=True):
        for alpha, printed in zip(given["alpha_one_sided"], row, strict=True):
            found = statistics.grubbs_critical(count, alpha, two_sided=False)
            assert found == pytest.approx(printed, abs=slack["abs"])


def test_dixon_table() -> None:
    given, expected, slack = case("stat-dixon-table")
    for count, row in zip(given["n"], expected["q"], strict=True):
        for level, printed in zip(given["levels"], row, strict=True):
            found = statistics.dixon_critical(count, round(1.0 - level, 10))
            if (count, level) == (
                4,
                0.99,
            ):  # 0.926 is printed; counting says what the integral says
                assert printed - found > slack["q"]
                samples = np.sort(np.random.default_rng(4).normal(size=(400_000, 4)), axis=1)
                gap = np.maximum(samples[:, 1] - samples[:, 0], samples[:, 3] - samples[:, 2]) / (
                    samples[:, 3] - samples[:, 0]
                )
                beyond = float(np.mean(gap > found))
                assert abs(beyond - 0.01) < 4.5 * math.sqrt(0.01 * 0.99 / 400_000)
            else:
                assert found == pytest.approx(printed, abs=slack["q"]), (count, level)


def test_pope_reproduces_grubbs() -> None:
    _, expected, slack = case("stat-pope-tau")
    count, alpha = expected["n"], expected["alpha_one_sided"]
    tau = statistics.pope_critical(count - 1, alpha / count)
    found = math.sqrt((count - 1.0) / count) * tau
    assert found == pytest.approx(expected["G"], abs=slack["G"])
    exact = statistics.grubbs_critical(count, alpha, two_sided=False)
    assert found == pytest.approx(exact, rel=1e-12)


# ---------------------------------------------------------------- the rover's field test


def test_critical_values_of_the_full_field_test() -> None:
    given, expected, slack = case("iso17123-8-critical")
    xy, h = given["nu_xy"], given["nu_h"]
    found = {
        f"chi2_95_{xy}": statistics.chi_square_quantile(0.95, xy),
        f"chi2_95_{h}": statistics.chi_square_quantile(0.95, h),
        "factor_xy": statistics.sigma_factor(xy),
        "factor_h": statistics.sigma_factor(h),
        f"F_975_{xy}_{xy}": statistics.f_quantile(0.975, xy, xy),
        f"F_975_{h}_{h}": statistics.f_quantile(0.975, h, h),
    }
    for key, value in found.items():
        assert value == pytest.approx(expected[key], abs=slack[key]), key


def test_freedom_of_the_full_field_test() -> None:
    _, expected, _ = case("iso17123-8-structure")
    rows = [(name, 0.0, x, 0.0) for _ in range(15) for name, x in (("A", 0.0), ("B", 9.0))]
    section = RoverTest(where=HERE, name="r", measured=Selection(), points=("A", "B"))
    measure = measure_rover_test(section, inputs(measured=points(rows)), job(section))
    found = {item.key: item.value for item in measure.summary}
    assert found["degrees_of_freedom"] == expected["nu_x"] == expected["nu_h"]
    assert expected["nu_xy"] == 2 * expected["nu_x"]


# ---------------------------------------------------------------- general libraries


@pytest.mark.parametrize("freedom", [1, 4, 28, 300])
def test_quantiles_against_the_distributions_themselves(freedom: int) -> None:
    for p in (0.025, 0.5, 0.95, 0.999):
        chi = statistics.chi_square_quantile(p, freedom)
        assert stats.chi2.cdf(chi, freedom) == pytest.approx(p, abs=1e-10)
        t = statistics.t_quantile(p, freedom)
        assert stats.t.cdf(t, freedom) == pytest.approx(p, abs=1e-10)
        f = statistics.f_quantile(p, freedom, freedom + 2)
        assert stats.f.cdf(f, freedom, freedom + 2) == pytest.approx(p, abs=1e-10)


@pytest.mark.parametrize(("lot", "share"), [(24, 0.1), (100, 0.05), (7, 0.3), (3, 0.1)])
def test_sample_size_against_the_hypergeometric_distribution(lot: int, share: float) -> None:
    size = statistics.sample_size(lot, share, 0.95)
    bad = math.floor(share * lot + 1e-9) + 1
    assert stats.hypergeom.pmf(0, lot, bad, size) <= 0.05 + 1e-12
    if size > 0:
        assert stats.hypergeom.pmf(0, lot, bad, size - 1) > 0.05


def test_the_interval_of_a_deviation_covers_as_often_as_it_says() -> None:
    rng = np.random.default_rng(2)
    trials, freedom = 4000, 6
    samples = np.sqrt(rng.chisquare(freedom, trials) / freedom)
    ends = np.array([statistics.sigma_interval(float(s), freedom) for s in samples])
    covered = np.mean((ends[:, 0] <= 1.0) & (ends[:, 1] >= 1.0))
    assert abs(covered - 0.95) < 4.0 * math.sqrt(0.95 * 0.05 / trials)


# ---------------------------------------------------------------- the grid


def framed(crs: str, n_m: float, e_m: float, z_m: float = math.nan) -> SiteFrame:
    frame = site_frame(
        replace(job(), reference=Reference(crs=crs)),
        inputs(measured=points([("P", n_m, e_m, z_m)])),
    )
    assert frame is not None
    return frame


def degrees(dms: list[float]) -> float:
    sign = -1.0 if dms[0] < 0 else 1.0
    return sign * (abs(dms[0]) + dms[1] / 60.0 + dms[2] / 3600.0)


def test_flinders_peak() -> None:
    given, expected, slack = case("proj-gda-flinders")
    frame = framed("EPSG:28355", expected["n"], expected["e"])
    # the printed coordinates are to a millimetre, which is 3e-5 of an arc second
    arcsec = 1.0 / 3600.0
    assert math.degrees(frame.latitude_rad) == pytest.approx(
        degrees(given["lat_dms"]), abs=5e-5 * arcsec
    )
    assert math.degrees(frame.longitude_rad) == pytest.approx(
        degrees(given["lon_dms"]), abs=5e-5 * arcsec
    )
    assert frame.scale == pytest.approx(expected["k"], abs=slack["k"])
    # printed with grid bearing = azimuth + convergence: the other sign than ours
    assert math.degrees(frame.convergence_rad) == pytest.approx(
        -degrees(expected["convergence_dms"]), abs=slack["convergence_s"] * arcsec
    )


def test_a_grid_that_counts_west_and_south() -> None:
    """The axes of the named grid are westing and southing, and so are the columns."""
    given, expected, slack = case("proj-epsg-tm-lo29")
    frame = framed("EPSG:2053", expected["southing"], expected["westing"])
    latitude = degrees(given["lat_dms"])
    reach = math.degrees(1.01 * slack["abs"] / 6.36e6)
    assert math.degrees(frame.latitude_rad) == pytest.approx(latitude, abs=reach)
    assert math.degrees(frame.longitude_rad) == pytest.approx(
        degrees(given["lon_dms"]), abs=reach / math.cos(math.radians(latitude))
    )
    assert any("west and south" in text for text in frame.remarks)


def test_a_line_reduced_with_factors_of_its_ends() -> None:
    """Grid = ellipsoid x scale; ground = grid over the combined factor, from its own rounding."""
    given, expected, slack = case("proj-mahun-utm-reduction")
    ellipsoid = given["grid_weighted"] / given["k_weighted"]

    def over(distance: float, factor: float) -> tuple[float, float]:
        ground = Ground(combined_factor=factor, origin_n_m=4e6, origin_e_m=3e5)
        ends = np.array([[3e5, 4e6], [3e5 + 0.6 * distance, 4e6 + 0.8 * distance]])
        both = (np.diff(brought(ends, ground), axis=0) for brought in (to_grid_m, to_ground_m))
        on_grid, on_ground = (float(np.hypot(*each[0])) for each in both)
        return on_grid, on_ground

    average, _ = over(ellipsoid, given["k_avg"])
    jerry, _ = over(ellipsoid, given["k_jerry"])
    _, on_ground = over(given["grid_cf"], given["cf_jerry"])
    found = {
        "grid_avg": average,
        "grid_jerry": jerry,
        "diff_jerry": jerry - given["grid_weighted"],
        "elevation_factor_jerry_implied": given["cf_jerry"] / given["k_jerry"],
        "ground_distance_implied": on_ground,
    }
    for key, value in found.items():
        assert value == pytest.approx(expected[key], abs=slack[key]), key
    # the height that the implied factor stands for is one of a hill town, not of another planet
    factor = expected["elevation_factor_jerry_implied"]
    assert elevation_factor(6371000.0 * (1.0 / factor - 1.0), 6371000.0) == pytest.approx(factor)


def test_scale_factors_of_six_stations() -> None:
    given, expected, slack = case("proj-utm-scale-6stations")
    found = [framed("EPSG:32647", n, e).scale for n, e in zip(given["n"], given["e"], strict=True)]
    np.testing.assert_allclose(found, expected["k"], atol=slack["k"])


@pytest.mark.parametrize("name", ["proj-os-caister", "proj-epsg-lcc1sp-jamaica"])
def test_places_of_published_coordinates(name: str) -> None:
    given, expected, slack = case(name)
    jamaica = "+proj=lcc +lat_1=18 +lat_0=18 +lon_0=-77 +k_0=1 +x_0=250000 +y_0=150000"
    crs = given.get("proj", f"{jamaica} +a=6378206.4 +rf=294.9786982")
    frame = framed(f"{crs} +type=crs", expected["n"], expected["e"])
    latitude = degrees(given["lat_dms"])
    reach = math.degrees(1.01 * slack["abs"] / 6.36e6)  # of the printed metres, in degrees
    assert math.degrees(frame.latitude_rad) == pytest.approx(latitude, abs=reach)
    assert math.degrees(frame.longitude_rad) == pytest.approx(
        degrees(given["lon_dms"]), abs=reach / math.cos(math.radians(latitude))
    )


def test_combined_factor_of_a_forum_figure() -> None:
    given, expected, slack = case("proj-combined-factor-nad27-style")
    found = given["grid_factor"] * elevation_factor(given["elevation_ft"], given["earth_radius_ft"])
    assert found == pytest.approx(expected["csf"], abs=slack["csf"])


def test_a_scale_tied_to_a_plane_undoes_its_elevation_factor() -> None:
    given, expected, slack = case("proj-plane-height-k0")
    for h, k0 in zip(given["h_m"], expected["k0"], strict=True):
        assert 1.0 / elevation_factor(h, given["radius_m"]) == pytest.approx(k0, abs=slack["k0"])


def test_combined_factors_along_a_canal() -> None:
    given, expected, slack = case("proj-ldp-csf-boploi")
    for e, n, msl, ppm in zip(
        expected["e"], expected["n"], given["msl"], expected["csf_ppm"], strict=True
    ):
        frame = framed(f"{given['proj']} +type=crs", n, e, msl - 33.85)
        assert (frame.combined_factor - 1.0) * 1e6 == pytest.approx(ppm, abs=slack["csf_ppm"])


def test_baarda() -> None:
    given, expected, slack = case("stat-baarda")
    for alpha, ending in ((given["alpha0"], ""), (0.05, "_5pct")):
        w = critical_value(1.0 - alpha, 1)
        delta = detectable(w, given["power"])
        found = {"w_critical": w, "delta0": delta, "lambda0": delta * delta}
        for name, value in found.items():
            key = f"{name}{ending}"
            assert value == pytest.approx(expected[key], abs=slack[key]), key
