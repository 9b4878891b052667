"""Speed of the geometry room against plain scripts; run it, it prints ratios and asserts nothing.

    python tests/bench/geometry.py

The baselines are what one would write in an afternoon: a tree of boxes with barycentric coordinates
for surfaces; coarse flattening, then exact arcs, for lines.
"""

import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from checker.geometry.arrays import FloatArray
from checker.geometry.layout import arc, from_parts, line, spiral
from checker.geometry.nearest import NearestIndex, primitives
from checker.geometry.surface import Heights, surface

REPEAT = 5


def seconds(work: Callable[[], Any]) -> tuple[float, Any]:
    """Return the least processor time of a few runs, and what the last returned."""
    best, result = np.inf, None
    for _ in range(REPEAT):
        start = time.process_time()
        result = work()
        best = min(best, time.process_time() - start)
    return best, result


def rough_mesh(size: int = 317) -> FloatArray:
    rng = np.random.default_rng(0)
    north, east = np.mgrid[0:size, 0:size] * 3.0
    east = east + rng.uniform(-0.5, 0.5, east.shape)
    north = north + rng.uniform(-0.5, 0.5, north.shape)
    corner = np.dstack((east, north, rng.normal(0.0, 1.0, east.shape)))
    a, b, c, d = corner[:-1, :-1], corner[:-1, 1:], corner[1:, 1:], corner[1:, :-1]
    return np.concatenate(
        (
            np.stack((a, b, c), axis=2).reshape(-1, 3, 3),
            np.stack((a, c, d), axis=2).reshape(-1, 3, 3),
        )
    )


def our_surface(triangles: FloatArray, xy: FloatArray) -> Heights:
    return surface(triangles).look_up(xy)


def plain_surface(triangles: FloatArray, xy: FloatArray) -> FloatArray:
    low, high = triangles[:, :, :2].min(axis=1), triangles[:, :, :2].max(axis=1)
    tree = shapely.STRtree(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
    point, triangle = tree.query(shapely.points(xy))
    a, b, c = (triangles[triangle, corner] for corner in range(3))
    p, q, away = b - a, c - a, xy[point] - a[:, :2]
    double = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
    u = (away[:, 0] * q[:, 1] - away[:, 1] * q[:, 0]) / double
    v = (p[:, 0] * away[:, 1] - p[:, 1] * away[:, 0]) / double
    inside = (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9)
    z = a[:, 2] + u * p[:, 2] + v * q[:, 2]
    result = np.full(len(xy), np.nan)
    result[point[inside]] = z[inside]
    return result


def lines_and_arcs(count: int = 33_000) -> tuple[FloatArray, FloatArray, FloatArray]:
    rng = np.random.default_rng(1)
    start = rng.uniform(0.0, 3000.0, (count, 2))
    end = start + rng.normal(0.0, 10.0, (count, 2))
    return start, end, np.where(rng.random(count) < 0.5, 0.0, rng.uniform(-1.0, 1.0, count))


def plain_nearest(
    start: FloatArray, end: FloatArray, bulge: FloatArray, xy: FloatArray, flatten: float = 0.010
) -> FloatArray:
    """Distances: flattened to 10 mm, candidates within twice that, then exact arcs."""
    chord = end - start
    length = np.hypot(*chord.T)
    lines: list[Any] = []
    with np.errstate(divide="ignore", invalid="ignore"):
        radius = length * (1 + bulge**2) / (4 * np.abs(bulge))
        right = np.column_stack((chord[:, 1], -chord[:, 0])) / length[:, None]
        # The centre lies left of the chord for a bulge between 0 and 1.
        off = length * (1 - bulge**2) / (4 * bulge)
        centre = (start + end) / 2 - off[:, None] * right
    angle = 4 * np.arctan(bulge)
    for index in range(len(start)):
        if bulge[index] == 0.0:
            lines.append(np.stack((start[index], end[index])))
            continue
        step = 2 * np.arccos(1 - min(flatten / radius[index], 1.0))
        pieces = max(2, int(np.ceil(abs(angle[index]) / step)) + 1)
        from_ = np.arctan2(*(start[index] - centre[index])[::-1])
        turn = from_ + np.linspace(0.0, angle[index], pieces)
        lines.append(centre[index] + radius[index] * np.column_stack((np.cos(turn), np.sin(turn))))
    sizes = np.array([len(each) for each in lines])
    geometry = shapely.linestrings(
        np.concatenate(lines), indices=np.repeat(np.arange(len(lines)), sizes)
    )
    tree = shapely.STRtree(np.asarray(geometry))
    points = shapely.points(xy)
    (point, _), away = tree.query_nearest(points, return_distance=True, all_matches=False)
    reach = np.empty(len(xy))
    reach[point] = away
    point, part = tree.query(points, predicate="dwithin", distance=reach + 2 * flatten)
    a, b = start[part], end[part]
    p = xy[point]
    t = np.clip(np.sum((p - a) * (b - a), axis=1) / length[part] ** 2, 0.0, 1.0)
    straight = np.hypot(*(p - a - t[:, None] * (b - a)).T)
    with np.errstate(invalid="ignore"):
        around = np.arctan2(*(p - centre[part]).T[::-1]) - np.arctan2(*(a - centre[part]).T[::-1])
        around = np.mod(around * np.sign(bulge[part]), 2 * np.pi)
        on = around <= np.abs(angle[part])
        circle = np.abs(np.hypot(*(p - centre[part]).T) - radius[part])
    ends = np.minimum(np.hypot(*(p - a).T), np.hypot(*(p - b).T))
    exact = np.where(bulge[part] == 0.0, straight, np.where(on, circle, ends))
    result = np.full(len(xy), np.inf)
    np.minimum.at(result, point, exact)
    return result


def main() -> None:
    rng = np.random.default_rng(2)
    triangles = rough_mesh()
    for count in (100_000, 1_000_000):
        xy = rng.uniform(2.0, 940.0, (count, 2))
        ours, heights = seconds(partial(our_surface, triangles, xy))
        theirs, plain = seconds(partial(plain_surface, triangles, xy))
        difference = np.nanmax(np.abs(heights.elevation_m - plain))
        print(f"{count} elevations among {len(triangles)} triangles:", end=" ")
        print(f"{ours:.2f} s, plain {theirs:.2f} s, ratio {ours / theirs:.2f}, {difference:.1e} m")

    start, end, bulge = lines_and_arcs()
    xy = rng.uniform(0.0, 3000.0, (100_000, 2))
    ours, near = seconds(lambda: NearestIndex(primitives(start, end, bulge)).look_up(xy))
    theirs, plain = seconds(lambda: plain_nearest(start, end, bulge, xy))
    difference = np.max(np.abs(np.abs(near.offset_m) - plain))
    print(f"nearest of {len(start)} lines and arcs, {len(xy)} points:", end=" ")
    print(f"{ours:.2f} s, plain {theirs:.2f} s, ratio {ours / theirs:.2f}, {difference:.1e} m")

    parts = []
    for number in range(40):
        side = 1.0 if number % 2 else -1.0
        parts += [
            line(80.0),
            spiral(40.0, radius_out_m=side * 150.0),
            arc(side * 150.0, 60.0),
            spiral(40.0, radius_in_m=side * 150.0),
        ]
    road = from_parts(parts)
    along = rng.uniform(0.0, road.length_m, 100_000)
    xy = road.point_at(along, rng.uniform(-30.0, 30.0, 100_000))
    ours, feet = seconds(lambda: road.station_offset(xy))
    worst = np.max(np.abs(road.point_at(feet.distance_m, feet.offset_m) - xy))
    print(f"station and offset of {len(xy)} points on {len(road.elements)} elements:", end=" ")
    print(f"{ours:.2f} s, {worst:.1e} m")


if __name__ == "__main__":
    main()
