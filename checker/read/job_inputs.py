"""The sections of a job file that say what there is: the job, its frame, its files, its gate."""

import math
import re
from typing import Final

from checker.model.job import (
    ControlInput,
    DesignInput,
    Exclusion,
    Gate,
    Ground,
    Labels,
    MeasuredInput,
    Reference,
    Status,
)
from checker.read.job_draft import (
    Draft,
    columns_of,
    identifier,
    large_unit,
    needs_section,
    plan_of,
    positive,
    sigma_level_of,
    unit_of,
)
from checker.read.job_evidence import control_sigmas, sigma_keys
from checker.read.job_older import older_designs
from checker.read.job_parts import time_with_unit
from checker.read.job_tolerances import tolerance_of
from checker.read.points import VOCABULARY
from checker.read.toml_tables import Table, listed, quoted
from checker.units import (
    JOB_UNITS,
    LengthUnit,
    parse_angle,
    parse_length,
    parse_seconds,
)


def read_job_section(draft: Draft, table: Table) -> None:
    """Read [job]: what heads the report, and the unit of bare numbers."""
    title = table.text("title")
    if not table.has("title"):
        table.missing("title", "it heads the report")
    unit = large_unit(table)
    if not table.has("unit"):
        table.missing(
            "unit", f"the unit of bare numbers, {listed(quoted(unit.value) for unit in JOB_UNITS)}"
        )
    if unit is not None:
        draft.unit = unit
    draft.job = {
        "title": title or "",
        "number": table.text("number", number_too=True),
        "client": table.text("client"),
        "surveyed_by": table.text("surveyed_by"),
        "responsible": table.text("responsible"),
        "status": table.choice("status", Status) or Status.DRAFT,
        "date": table.date("date"),
        "notes": table.file("notes"),
        "wording": table.file("wording"),
        "procedure": table.text("procedure"),
        "survey_class": table.text("survey_class"),
    }


def no_job(draft: Draft) -> None:
    """Report that [job] is left out, and not merely written otherwise."""
    if "job" in draft.mistyped:
        return
    draft.report.add(
        "missing-section",
        (),
        "the job file has no section [job]",
        'begin it with [job], title = "..." and unit = "metre", "foot" or "us-survey-foot"',
    )


def read_reference(draft: Draft, table: Table) -> None:
    """Read [reference]: the frame, as stated."""
    draft.reference = Reference(
        crs=table.text("crs"),
        vertical=table.text("vertical"),
        geoid=table.text("geoid"),
        realization=table.text("realization"),
        epoch=table.text("epoch", number_too=True),
        ground=_ground(draft, table),
    )


_LEAST_FACTOR, _MOST_FACTOR = 0.98, 1.02


def _ground(draft: Draft, reference: Table) -> Ground | None:
    table = reference.table(
        "ground", "{ combined_factor = 0.9999, origin = { n = 5000.0, e = 6000.0 } }"
    )
    if table is None:
        return None
    factor = table.number(
        "combined_factor",
        "a combined factor near 1 (0.98 to 1.02): grid distance over ground distance, not its "
        "inverse in ppm and not per cent",
        accept=lambda found: _LEAST_FACTOR <= found <= _MOST_FACTOR,
    )
    if not table.has("combined_factor"):
        table.missing("combined_factor", "grid distance divided by ground distance")
    origin = table.table("origin", "{ n = 5000.0, e = 6000.0 }")
    if not table.has("origin"):
        table.missing("origin", "the point that keeps its coordinates, { n = ..., e = ... }")
    northing = easting = None
    if origin is not None:
        northing, easting = plan_of(draft, origin)
        origin.done()
    table.done()
    if factor is None or northing is None or easting is None:
        return None
    return Ground(combined_factor=factor, origin_n_m=northing, origin_e_m=easting)


def _one_or_many(table: Table, one: str, many: str, what: str) -> tuple[str, ...]:
    """Return the files under either of two keys, which may not both stand there."""
    if table.has(one) and table.has(many):
        table.fault(
            "conflicting-keys",
            many,
            f"{table.title} has both {one} and {many}",
            f"keep one of them for {what}",
        )
    return table.files(one) + table.files(many)


_SHA256 = re.compile(r"[0-9A-Fa-f]{64}")


def read_design(draft: Draft, table: Table) -> None:
    """Read [design]: drawings and tables of design points."""
    drawings = _one_or_many(table, "drawing", "drawings", "the drawings")
    points = table.files("points")
    if not (table.has("drawing") or table.has("drawings") or table.has("points")):
        table.missing("drawing", 'the drawing or, as points = "...", the table of the design')
    unit = table.choice("unit", LengthUnit) or draft.unit
    sha256 = table.text("sha256")
    if sha256 is not None:
        if not _SHA256.fullmatch(sha256):
            table.fault(
                "bad-value",
                "sha256",
                f"{table.title}: sha256 is {quoted(sha256)}; expected 64 digits 0-9, a-f",
                "copy it whole from an earlier report's list of inputs",
            )
        elif len(drawings or points) > 1:
            of = "drawing" if drawings else "table of points"
            table.fault(
                "conflicting-keys",
                "sha256",
                f"{table.title}: sha256 belongs to one {of}, and {len(drawings or points)} are "
                "named",
                f"take sha256 out, or name one {of}",
            )
    draft.design = DesignInput(
        where=table.where,
        drawings=drawings,
        points=points,
        unit=unit,
        revision=table.text("revision", number_too=True),
        issued=table.text("issued", number_too=True),
        sha256=None if sha256 is None else sha256.lower(),
        older=older_designs(table, (*drawings, *points)),
        rounded_to_m=table.parsed(
            "rounded_to", draft.length, "a length greater than 0", accept=positive
        )
        or 0.0,
        columns=columns_of(table, VOCABULARY.names),
        labels=_labels(unit, table),
    )


def _labels(unit: LengthUnit, design: Table) -> Labels:
    table = design.table("labels", '{ layer = "TEXT", radius = "2 ft", attribute = "NUMBER" }')
    if table is None:
        return Labels()
    labels = Labels(
        layers=table.texts("layer", what="layer"),
        radius_m=table.parsed(
            "radius",
            lambda value: parse_length(value, unit),
            "a length greater than 0",
            accept=positive,
        ),
        attribute=table.text("attribute"),
        elevation_attribute=table.text("elevation_attribute"),
        elevation_text=table.flag("elevation_text", default=False),
    )
    table.done()
    return labels


def read_measured(draft: Draft, table: Table) -> None:
    """Read [measured]: the files of as-measured points."""
    files = _one_or_many(table, "file", "files", "the files")
    if not (table.has("file") or table.has("files")):
        table.missing("files", "the files of as-measured points")
    draft.measured = MeasuredInput(
        where=table.where,
        files=files,
        unit=unit_of(draft, table),
        crs=table.text("crs"),
        columns=columns_of(table, VOCABULARY.names),
        exclude=_exclusions(table),
        sigma_level=sigma_level_of(table),
        **sigma_keys(draft, table),
    )


def _exclusions(measured: Table) -> tuple[Exclusion, ...]:
    found: list[Exclusion] = []
    for table in measured.tables("exclude", '{ id = "107", reason = "pole slipped" }'):
        point = identifier(table, "id")
        reason = table.text("reason")
        if not table.has("id"):
            table.missing("id", "the number of the point that is set aside")
        if not table.has("reason"):
            table.missing("reason", "no point is set aside without one; the report shows it")
        table.done()
        if point is None or reason is None:
            continue
        if any(other.id == point for other in found):
            table.fault(
                "conflicting-keys",
                "id",
                f"{table.title} names {quoted(point)} twice",
                "keep one entry for a point",
            )
        found.append(Exclusion(id=point, reason=reason, where=table.where))
    return tuple(found)


def read_control(draft: Draft, table: Table) -> None:
    """Read [control]: the known points, and the tolerance of check shots."""
    file = table.file("file")
    if not table.has("file"):
        table.missing("file", "the table of known points")
    draft.control = ControlInput(
        where=table.where,
        file=file or "",
        unit=unit_of(draft, table),
        columns=columns_of(table, VOCABULARY.names),
        tolerance=tolerance_of(draft, table),
        **control_sigmas(draft, table),
    )


def read_gate(draft: Draft, table: Table) -> None:
    """Read [gate]: what a stored point must show."""
    whole = "a whole number of at least 1"
    above_0 = "a number greater than 0"
    length = "a length greater than 0"

    def number(key: str) -> float | None:
        return table.number(key, above_0, accept=positive)

    def metres(key: str) -> float | None:
        return table.parsed(key, draft.length, length, accept=positive)

    if table.has("check_within"):
        remedy = 'add [control] with file = "..."'
        needs_section(draft, table, "control", "known points", remedy, key="check_within")
    draft.gate = Gate(
        where=table.where,
        solution=tuple(word.lower() for word in table.texts("solution", what="kind of solution")),
        satellites=table.whole("satellites", whole, accept=positive),
        epochs=table.whole("epochs", whole, accept=positive),
        hdop=number("hdop"),
        vdop=number("vdop"),
        pdop=number("pdop"),
        age_s=table.parsed(
            "age", parse_seconds, 'a time greater than 0 such as "5 s"', accept=positive
        ),
        sigma_h_m=metres("sigma_h"),
        sigma_z_m=metres("sigma_z"),
        base_distance_m=metres("base_distance"),
        pole_m=table.parsed_list("pole", draft.length, length, accept=positive),
        elevation_mask_rad=table.parsed(
            "elevation_mask",
            parse_angle,
            "an angle from 0 to 90 degrees, such as 10",
            accept=lambda angle: 0.0 <= angle < math.pi / 2,
        ),
        check_within_s=table.parsed(
            "check_within", time_with_unit, 'a time greater than 0 such as "2 h"', accept=positive
        ),
        source=table.text("source"),
        sources=_sources(table),
    )


GATE_LIMITS: Final = (
    *("solution", "satellites", "epochs", "hdop", "vdop", "pdop", "age", "sigma_h", "sigma_z"),
    *("base_distance", "pole", "elevation_mask", "check_within"),
)


def _sources(gate: Table) -> dict[str, str]:
    """Return where single limits of the gate come from, by their keys."""
    table = gate.table("sources", '{ pdop = "where this limit comes from" }')
    if table is None:
        return {}
    found = {}
    for key in GATE_LIMITS:
        text = table.text(key)
        if text is None:
            continue
        found[key] = text
        if not gate.has(key):
            table.fault(
                "conflicting-keys",
                key,
                f"{table.title} gives a source of {key}, which the gate does not limit",
                "state the limit beside it, or take its source out",
            )
    table.done()
    return found
