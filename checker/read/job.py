"""Read job.toml: validated whole, every fault with its line, lengths in metres, angles in radians.

A section is one function, in the module of its kind, and one line in `_SECTIONS`.
"""

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from checker.errors import InputError, Problem, Where
from checker.model.job import CheckSection, ControlInput, Job, Status
from checker.read.files import Source
from checker.read.job_accuracy import read_accuracy, read_rover_test
from checker.read.job_alignment import read_alignment
from checker.read.job_closures import read_figure, read_vectors
from checker.read.job_draft import Draft
from checker.read.job_evidence import read_instrument, read_site_fit
from checker.read.job_inputs import (
    no_job,
    read_control,
    read_design,
    read_gate,
    read_job_section,
    read_measured,
    read_reference,
)
from checker.read.job_network import read_network
from checker.read.job_points import read_repeats, read_stakeout
from checker.read.job_returns import read_curb_return
from checker.read.job_runs import read_levels, read_traverse
from checker.read.job_shapes import read_pipe, read_plane, read_relative, read_surface
from checker.read.job_slopes import read_slope_stake
from checker.read.job_tolerances import read_tolerance
from checker.read.toml_faults import toml_fault
from checker.read.toml_lines import TomlLines
from checker.read.toml_tables import Report, Table, listed, meant, nearest, quoted


def read_job(source: Source, root: Path) -> Job:
    """Return the job that a job file describes.

    root: the folder that its paths are relative to. Raises InputError with every fault of the file,
    in the order of its lines.
    """
    text = _decoded(source)
    data, lines = _parsed(source.path, text)
    report = Report(file=source.path, lines=lines)
    draft = Draft(report=report, top=data, mistyped=_mistyped(data))
    for name, section in _SECTIONS.items():
        _read_section(draft, name, section)
    _unknown_sections(draft)
    _something_to_check(draft)
    _not_issued_on_placeholders(draft)
    if report.problems:
        raise InputError(sorted(report.problems, key=lambda problem: problem.where.line or 0))
    # checks in the order of the file, whatever their kind
    checks = sorted(draft.checks, key=lambda check: check.where.line or 0)
    return Job(
        file=source.path,
        root=root,
        unit=draft.unit,
        reference=draft.reference,
        design=draft.design,
        measured=draft.measured,
        control=draft.control,
        gate=draft.gate,
        site_fit=draft.site_fit,
        instruments=tuple(draft.instruments),
        tolerances=tuple(each for each in draft.tolerances.values() if each is not None),
        alignments=tuple(draft.alignments.values()),
        checks=tuple(checks),
        **draft.job,  # type: ignore[arg-type]  # filled by read_job_section with the fields' own types
    )


def _decoded(source: Source) -> str:
    data = source.data.removeprefix(b"\xef\xbb\xbf")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        utf16 = data[:2] in (b"\xff\xfe", b"\xfe\xff")
        found = "it looks like UTF-16" if utf16 else f"byte 0x{data[error.start]:02x} is not"
        raise _refused(
            "job-encoding",
            Where(file=source.path, line=None if utf16 else line),
            f"the job file is not UTF-8 text: {found}",
            "save it again as UTF-8 in your editor",
        ) from None


def _parsed(path: str, text: str) -> tuple[dict[str, object], TomlLines]:
    try:
        return tomllib.loads(text), TomlLines(text)
    except tomllib.TOMLDecodeError as error:
        fault = str(error)
    except RecursionError:
        fault = "Lists or tables lie too deep within each other"
    except ValueError:  # a number of thousands of digits
        fault = "Invalid value: a number is too long to be one"
    several = [name for name, section in _SECTIONS.items() if section.form == "many"]
    found = toml_fault(fault, text, several)
    where = Where(file=path, line=found.line, column=found.column)
    raise _refused("job-syntax", where, found.message, found.hint)


def _refused(slug: str, where: Where, message: str, hint: str) -> InputError:
    return InputError([Problem(slug=slug, where=where, message=message, hint=hint)])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Section:
    """How a section is written, and what reads it.

    form: once ([design]), many ([[stakeout]]) or named ([tolerance.NAME]). absent: what to do where
    it is left out.
    """

    read: Callable[[Draft, Table], None]
    form: Literal["once", "many", "named"] = "once"
    absent: Callable[[Draft], None] | None = None


def _read_section(draft: Draft, name: str, section: _Section) -> None:
    if name not in draft.top:
        if section.absent is not None:
            section.absent(draft)
        return
    value = draft.top[name]
    report = draft.report
    if section.form == "many":
        heading = f"[[{name}]]"
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            _wrong_heading(report, name, value, heading)
            return
        for index, item in enumerate(value):
            title = f"{heading} {index + 1}" if len(value) > 1 else heading
            given = item.get("name")
            if isinstance(given, str) and given.strip():
                title = f"{heading} {quoted(given.strip())}"
            table = Table(report, (name, index), item, name=name, title=title)
            section.read(draft, table)
            table.done()
        return
    if not isinstance(value, dict):
        _wrong_heading(report, name, value, f"[{name}]" if section.form == "once" else "")
        return
    if section.form == "named":
        for key, item in value.items():
            if not isinstance(item, dict):
                _wrong_heading(report, name, item, "", key)
                continue
            title = f"[{name}.{key}]" if key.isprintable() else f"[{name}.{quoted(key)}]"
            table = Table(report, (name, key), item, name=name, title=title)
            section.read(draft, table)
            table.done()
        return
    table = Table(report, (name,), value, name=name, title=f"[{name}]")
    section.read(draft, table)
    table.done()


def _wrong_heading(
    report: Report, name: str, value: object, heading: str, key: str | None = None
) -> None:
    """Keep the fault that a section is written in another form than it has."""
    if not heading:
        found = f"{name}.{key}" if key is not None else name
        report.add(
            "wrong-type",
            (name,) if key is None else (name, key),
            f"{quoted(found)} is {quoted(value)}; expected a section [{name}.NAME] with its keys",
            f"write [{name}.NAME] with a name of yours, and refer to it by that name",
        )
        return
    if isinstance(value, list) and value and isinstance(value[0], dict):
        found = f"[[{name}]]"
    elif isinstance(value, dict):
        found = f"[{name}]"
    else:
        found = f"{name} = {quoted(value)}"
    times = "once for every check" if heading.startswith("[[") else "once"
    report.add(
        "wrong-type",
        (name,),
        f"{found} is not how this section is written; expected {heading}",
        f"write its heading as {heading}, {times}",
    )


def _mistyped(data: Mapping[str, object]) -> frozenset[str]:
    """Return the sections that unknown ones were probably meant as; what lacks them follows."""
    unknown = [name for name, value in data.items() if name not in _SECTIONS and value]
    return frozenset(filter(None, (nearest(name, _SECTIONS) for name in unknown)))


def _unknown_sections(draft: Draft) -> None:
    for name, value in draft.top.items():
        if name in _SECTIONS:
            continue
        is_section = isinstance(value, dict) or (
            isinstance(value, list) and any(isinstance(item, dict) for item in value)
        )
        if is_section:
            draft.report.add(
                "unknown-section",
                (name,),
                f"there is no section {quoted(name)}",
                meant(name, _SECTIONS, "the sections are"),
            )
        else:
            draft.report.add(
                "unknown-key",
                (name,),
                f"{quoted(name)} stands above the first section, where no key is known",
                "move it below the heading of its section, such as [job]",
            )


def _something_to_check(draft: Draft) -> None:
    setting = {name for name, section in _SECTIONS.items() if section.form != "many"}
    setting |= {"instrument"}
    if not set(draft.top) <= setting:
        return  # a check, or something that was meant as one
    if "site_fit" in draft.top:
        return
    control = draft.top.get("control")
    if isinstance(control, dict) and "tolerance" in control and "measured" in draft.top:
        return
    draft.report.add(
        "nothing-to-check",
        ("job",),
        "the job asks for no check",
        "add a section such as [[stakeout]], [[traverse]], [[levels]] or [[repeats]], "
        "or a tolerance to [control] and the points to [measured]",
    )


def _not_issued_on_placeholders(draft: Draft) -> None:
    """Keep the fault that a report is to be issued whose limits nobody has agreed to."""
    if draft.job.get("status") is not Status.ISSUED:
        return
    judged: list[tuple[str, ControlInput | CheckSection | None]] = [
        ("control", draft.control),
        ("site_fit", draft.site_fit),
    ]
    judged += [(check.name, check) for check in draft.checks]
    names = [
        name
        for name, section in judged
        if section is not None
        and section.tolerance is not None
        and section.tolerance.is_placeholder
    ]
    if names:
        draft.report.add(
            "issued-on-placeholders",
            ("job", "status"),
            'the status is "issued", but the limits of these checks are placeholders that nobody '
            f"has agreed to: {listed(names)}",
            "put in what the contract says, with its source; until then the status is draft",
        )


_SECTIONS: Final[Mapping[str, _Section]] = {
    # [job] first: it holds the unit; the tolerances before the sections that name them
    "job": _Section(read=read_job_section, absent=no_job),
    "reference": _Section(read=read_reference),
    "tolerance": _Section(read=read_tolerance, form="named"),
    "design": _Section(read=read_design),
    "measured": _Section(read=read_measured),
    "control": _Section(read=read_control),
    "gate": _Section(read=read_gate),
    "site_fit": _Section(read=read_site_fit),
    "instrument": _Section(read=read_instrument, form="many"),
    "alignment": _Section(read=read_alignment, form="named"),
    "stakeout": _Section(read=read_stakeout, form="many"),
    "slope_stake": _Section(read=read_slope_stake, form="many"),
    "curb_return": _Section(read=read_curb_return, form="many"),
    "traverse": _Section(read=read_traverse, form="many"),
    "levels": _Section(read=read_levels, form="many"),
    "vectors": _Section(read=read_vectors, form="many"),
    "figure": _Section(read=read_figure, form="many"),
    "repeats": _Section(read=read_repeats, form="many"),
    "accuracy": _Section(read=read_accuracy, form="many"),
    "rover_test": _Section(read=read_rover_test, form="many"),
    "surface": _Section(read=read_surface, form="many"),
    "relative": _Section(read=read_relative, form="many"),
    "plane": _Section(read=read_plane, form="many"),
    "pipe": _Section(read=read_pipe, form="many"),
    # last: it names sections of the other kinds
    "network": _Section(read=read_network, form="many"),
}
