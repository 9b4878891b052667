"""[alignment.NAME], and the keys of [[stakeout]] that refer to one."""

import math
from collections.abc import Callable, Mapping, Sequence
from enum import StrEnum
from typing import Final

from checker.model.job import AlignmentInput, CrossfallInput, Position
from checker.read.alignments import ELEMENTS, INTERSECTIONS, PROFILE, parse_station_text
from checker.read.job_draft import Draft, columns_of, plan_of, positive, unit_of
from checker.read.toml_tables import Table, meant, quoted
from checker.units import UnitError, parse_angle, parse_bearing, parse_length, parse_slope

_MOST_CROSSFALL: Final = 1.0


class _Side(StrEnum):
    LEFT = "left"
    RIGHT = "right"


def read_alignment(draft: Draft, table: Table) -> None:
    """Read [alignment.NAME]: where its course comes from, how its stations count, its profile."""
    name = str(table.path[-1])
    if not name.strip():
        table.fault("empty-text", None, "an alignment has an empty name", "write [alignment.NAME]")
    unit = unit_of(draft, table)
    layer, elements = table.text("layer"), table.file("elements")
    intersections = table.file("intersections")
    stated = [key for key in ("layer", "elements", "intersections") if table.has(key)]
    for key in stated[1:]:
        table.fault(
            "conflicting-keys",
            key,
            f"{table.title} has both {stated[0]} and {key}",
            "keep the one that states the course of this revision",
        )
    if not stated:
        table.missing(
            "layer",
            'the drawing\'s layer with its course, or a table of it: elements = "..." or '
            'intersections = "..."',
        )
    if table.has("layer") and "design" not in draft.top:
        table.fault(
            "missing-section",
            "layer",
            f"{table.title} takes its course from a drawing, but there is no [design]",
            'add [design] with drawing = "..."',
        )
    for key in ("start_point", "start_azimuth"):
        if table.has(key) and stated and stated[0] != "elements":
            table.fault(
                "conflicting-keys",
                key,
                f"{table.title}: {key} belongs to a table of elements, not to {stated[0]}",
                f"take {key} out; {stated[0]} says where the course starts",
            )

    def station(value: str | float) -> float:
        metres, side = parse_station_text(value, draft.unit)
        if side:
            raise UnitError(f"{quoted(value)} names a side of a station equation", "leave it out")
        return metres

    start = table.parsed("start", station, 'a station such as "10+00"')
    profile = table.file("profile")
    crossfall = _crossfall(table)
    superelevation = table.file("superelevation")
    for key in ("crossfall", "superelevation"):
        if table.has(key) and not table.has("profile"):
            table.fault(
                "missing-key",
                key,
                f"{table.title} has a {key} and no profile that it falls from",
                'add profile = "..."',
            )
    if table.has("crossfall") and table.has("superelevation"):
        table.fault(
            "conflicting-keys",
            "crossfall",
            f"{table.title} has both crossfall and superelevation",
            "keep crossfall where it is the same all along, superelevation where it changes",
        )
    draft.alignments[name] = AlignmentInput(
        where=table.where,
        name=name,
        unit=unit,
        layer=layer,
        elements=elements,
        intersections=intersections,
        columns=columns_of(table, (INTERSECTIONS if intersections else ELEMENTS).names),
        reversed=table.flag("reversed", default=False),
        start_m=0.0 if start is None else start,
        station_digits=_digits(table),
        start_point=_start_point(draft, table),
        start_azimuth_rad=table.parsed("start_azimuth", _direction, "an azimuth, 0 to 360 degrees"),
        equations=_equations(table, station),
        profile=profile,
        profile_columns=_profile_columns(table),
        crossfall=crossfall,
        superelevation=superelevation,
    )


def _direction(value: str | float) -> float:
    if isinstance(value, str) and value.strip()[:1].upper() in ("N", "S"):
        return parse_bearing(value)
    angle = parse_angle(value)
    if not 0.0 <= angle <= 2.0 * math.pi:
        raise UnitError(f"{quoted(value)} is not from 0 to 360 degrees", "count from north")
    return angle


def _digits(table: Table) -> int:
    """Return how many digits the start station was written with behind its plus; 0 without one."""
    text = str(table.data.get("start", ""))
    _, plus, behind = text.partition("+")
    return len(behind.strip().partition(".")[0].split(" ")[0]) if plus else 0


def _start_point(draft: Draft, table: Table) -> Position | None:
    inner = table.table("start_point", "{ n = 5000.0, e = 2000.0 }")
    if inner is None:
        return None
    n, e = plan_of(draft, inner)
    inner.done()
    if n is None or e is None:
        return None
    return Position(northing_m=n, easting_m=e, elevation_m=math.nan)


def _equations(
    table: Table, station: Callable[[str | float], float]
) -> tuple[tuple[float, float], ...]:
    found = []
    for each in table.tables("equations", '[{ back = "12+50", ahead = "13+00" }]'):
        ends: list[float | None] = []
        for key in ("back", "ahead"):
            value = each.parsed(key, station, "a station")
            if not each.has(key):
                each.missing(key, "a station equation has a back and an ahead station")
            ends.append(value)
        each.done()
        if ends[0] is not None and ends[1] is not None:
            found.append((ends[0], ends[1]))
    return tuple(found)


def _profile_columns(table: Table) -> dict[str, str]:
    inner = table.table("profile_columns", '{ station = "Sta" }')
    if inner is None:
        return {}
    found = {}
    for name in PROFILE.names:
        heading = inner.text(name, number_too=True)
        if heading is not None:
            found[name] = heading
    inner.done()
    return found


def _crossfall(table: Table) -> CrossfallInput | None:
    """Return a crossfall: one slope for both sides, or left and right; rise going outwards."""
    if not table.has("crossfall"):
        return None
    expected = 'a slope going outwards, such as "-2 %"'
    if not isinstance(table.data["crossfall"], dict):
        both = table.parsed("crossfall", parse_slope, expected, accept=_is_slope)
        return None if both is None else CrossfallInput(left=both, right=both)
    inner = table.table("crossfall", "")
    assert inner is not None  # noqa: S101 - it is a dict
    sides = {}
    for key in ("left", "right"):
        sides[key] = inner.parsed(key, parse_slope, expected, accept=_is_slope)
        if not inner.has(key):
            inner.missing(key, expected)
    inner.done()
    left, right = sides["left"], sides["right"]
    return None if left is None or right is None else CrossfallInput(left=left, right=right)


def _is_slope(value: float) -> bool:
    return abs(value) <= _MOST_CROSSFALL


# ---------------------------------------------------------------- keys of a stakeout


def alignment_of(draft: Draft, table: Table) -> str | None:
    """Return the alignment that a section names; report one that the job does not have."""
    name = table.text("alignment")
    if name is not None and name not in draft.alignments and "alignment" in draft.mistyped:
        return None
    if name is not None and name not in draft.alignments:
        table.fault(
            "unknown-alignment",
            "alignment",
            f"{table.title}: there is no [alignment.{name}]"
            if name.isprintable()
            else f"{table.title}: there is no alignment {quoted(name)}",
            meant(name, draft.alignments, "the job's alignments are"),
        )
        return None
    return name


def stake_offset_of(draft: Draft, table: Table) -> float | None:
    """Return how far right (+) of the design the stakes stand, metres.

    `{ offset = "10 ft", side = "left" }`, or the same as a text, "10 ft left".
    """
    if not table.has("stake_offset"):
        return None
    value = table.data["stake_offset"]
    if not isinstance(value, dict):
        return table.parsed(
            "stake_offset",
            lambda text: _sided(text, draft),
            'a table such as { offset = "10 ft", side = "left" }, or "10 ft left"',
        )
    inner = table.table("stake_offset", "")
    assert inner is not None  # noqa: S101 - it is a dict
    offset = inner.parsed(
        "offset",
        draft.length,
        "a length greater than 0; the side has its own key",
        accept=positive,
    )
    side = inner.choice("side", _Side)
    for key, why in (("offset", "how far the stakes stand off"), ("side", "left or right")):
        if not inner.has(key):
            inner.missing(key, why)
    inner.done()
    if offset is None or side is None:
        return None
    return -offset if side is _Side.LEFT else offset


def _sided(value: str | float, draft: Draft) -> float:
    """Return a length with its side, + right; raises UnitError where it lacks one."""
    words = str(value).split()
    side = next((word.lower() for word in words if word.lower() in ("left", "right")), "")
    rest = " ".join(word for word in words if word.lower() not in ("left", "right"))
    if not side or not rest:
        raise UnitError(f"{quoted(value)} does not say the side", 'write "10 ft left"')
    offset = parse_length(rest, draft.unit)
    if not offset > 0.0:
        raise UnitError(f"{quoted(value)} is no length greater than 0", 'write "10 ft left"')
    return -offset if side == "left" else offset


def stakes_of(table: Table, names: Sequence[str]) -> tuple[str | None, dict[str, str]]:
    """Return the table of stakes that the section's design names, and its columns."""
    data = table.data.get("design")
    if not isinstance(data, Mapping) or "stakes" not in data:
        return None, {}
    inner = table.table("design", '{ stakes = "stakes.csv" }')
    assert inner is not None  # noqa: S101 - it is a mapping
    stakes = inner.file("stakes")
    columns = columns_of(inner, names)
    for key in ("id", "description", "layer", "file"):
        if inner.has(key):
            inner.fault(
                "conflicting-keys",
                key,
                f"{inner.title} has stakes and {key}",
                "name a table of stakes, or choose from the design's points or lines",
            )
    inner.done()
    return stakes, columns
