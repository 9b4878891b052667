"""The sections of a job file about evidence: the site fit, what sigmas leave out."""

import math

from checker.model.job import HeightFitKind, Instrument, PlanFit, SiteFit
from checker.read.job_draft import Draft, needs_section, positive
from checker.read.job_given import read_given
from checker.read.job_tolerances import tolerance_of
from checker.read.toml_tables import Table, is_short_number, quoted
from checker.units import UnitError, parse_small_angle

_PAIRS = '[["as-measured id", "control id"], ...]'


def read_site_fit(draft: Draft, table: Table) -> None:
    """Read [site_fit]: the as-measured points fitted to the control."""
    needs_section(
        draft, table, "measured", "as-measured points", 'add [measured] with files = ["..."]'
    )
    needs_section(draft, table, "control", "known points", 'add [control] with file = "..."')
    given = read_given(draft, table)
    plan = table.choice("plan", PlanFit)
    height = table.choice("height", HeightFitKind)
    for key in ("plan", "height"):
        if table.has("given") and table.has(key):
            table.fault(
                "conflicting-keys",
                key,
                f"{table.title} has both given and {key}: a stated fit is not computed",
                f"take {key} out, or have the fit computed and take given out",
            )
    if given is not None:
        plan = PlanFit.SIMILARITY if given.plan else PlanFit.NONE
        height = HeightFitKind.SHIFT if given.shift_z_m is not None else HeightFitKind.NONE
        if given.rise_n or given.rise_e:
            height = HeightFitKind.PLANE
    plan_is_none = plan is PlanFit.NONE
    if plan_is_none and height is HeightFitKind.NONE:
        table.fault(
            "conflicting-keys",
            "plan",
            f"{table.title} fits nothing: plan and height are both none",
            "fit plan or height, or take the section out; [control] compares without a fit",
        )
    draft.site_fit = SiteFit(
        where=table.where,
        name="site_fit",
        tolerance=tolerance_of(draft, table),
        pairs=_pairs(table),
        plan=plan or PlanFit.SIMILARITY,
        height=height or HeightFitKind.SHIFT,
        apply=table.flag("apply", default=False),
        given=given,
    )


def _pairs(table: Table) -> tuple[tuple[str, str], ...]:
    """Return pairs of an as-measured and a control id, each control id once."""
    if not table.has("pairs"):
        return ()
    value = table.data["pairs"]
    if not isinstance(value, list) or not value:
        table.wrong("pairs", _PAIRS, value)
        return ()
    found: list[tuple[str, str]] = []
    for index, entry in enumerate(value):
        names = [_name(each) for each in entry] if isinstance(entry, list) else []
        if len(names) != 2 or names[0] is None or names[1] is None:
            table.wrong("pairs", _PAIRS, entry, index=index)
            continue
        pair = (names[0], names[1])
        for place, what in enumerate(("as-measured point", "control point")):
            if any(other[place] == pair[place] for other in found):
                table.fault(
                    "conflicting-keys",
                    "pairs",
                    f"{table.title}: pairs names the {what} {quoted(pair[place])} twice",
                    "name every mark once; all shots of its number are used",
                )
        found.append(pair)
    return tuple(found)


def _name(value: object) -> str | None:
    """Return an id: a text, or a whole number as it stands."""
    if isinstance(value, str) and value.strip():
        return value.strip()
    if isinstance(value, int) and is_short_number(value):
        return str(value)
    return None


def read_instrument(draft: Draft, table: Table) -> None:
    """Read [[instrument]]: what was measured with."""
    name = table.text("name")
    if not table.has("name"):
        table.missing("name", "what the instrument is called")
    draft.instruments.append(
        Instrument(
            name=name or "",
            serial=table.text("serial", number_too=True),
            calibrated=table.date("calibrated"),
            due=table.date("due"),
            note=table.text("note"),
        )
    )


def sigma_keys(draft: Draft, table: Table) -> dict[str, float]:
    """Return what [measured] says of its sigmas beyond what the files show."""
    floors = {
        name: table.parsed(key, draft.length, "a length greater than 0", accept=positive)
        for key, name in (
            ("sigma_floor_h", "sigma_floor_h_m"),
            ("sigma_floor_z", "sigma_floor_z_m"),
        )
    }
    factor = table.number("sigma_factor", "a number greater than 0", accept=positive)
    bubble = table.parsed(
        "bubble",
        parse_small_angle,
        'a small angle greater than 0 such as "10 arcmin"',
        accept=lambda angle: 0.0 < angle < math.radians(5.0),
    )
    found = {**floors, "sigma_factor": factor, "bubble_rad": bubble}
    return {name: value for name, value in found.items() if value is not None}


def control_sigmas(draft: Draft, table: Table) -> dict[str, float]:
    """Return the standard deviations of the known coordinates that [control] states."""
    found = {
        name: table.parsed(key, draft.length, "a length greater than 0", accept=positive)
        for key, name in (("sigma_h", "sigma_h_m"), ("sigma_z", "sigma_z_m"))
    }
    return {name: value for name, value in found.items() if value is not None}


def sample_keys(table: Table) -> dict[str, float]:
    """Return what [[repeats]] says of its sample plan."""
    found = {
        key: table.parsed(
            key,
            _part,
            f'a part of the whole such as "{example}"',
            accept=lambda part: 0.0 < part < 1.0,
        )
        for key, example in (("share", "10 %"), ("confidence", "95 %"))
    }
    return {name: value for name, value in found.items() if value is not None}


def _part(value: str | float) -> float:
    """Return a part of the whole: "95 %", or 0.95."""
    text = str(value).strip()
    try:
        return float(text.removesuffix("%")) / (100.0 if text.endswith("%") else 1.0)
    except ValueError:
        raise UnitError(
            f'"{text[:40]}" is no part of a whole', 'write a percentage such as "95 %"'
        ) from None
