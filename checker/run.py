"""The whole pipeline on one page: read, check, judge, diagnose, report.

The only module that joins rooms.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from checker.checks.audit import audit, audit_drawing
from checker.checks.budget import budgeted
from checker.checks.control import measure_control
from checker.checks.course import check_courses
from checker.checks.frame import on_one_grid
from checker.checks.grid import site_frame
from checker.checks.oddities import oddities
from checker.checks.registry import measure
from checker.checks.site_fit import FittedSite, fit_site
from checker.diagnose.diagnose import diagnose
from checker.errors import InputError, Problem
from checker.model.arrays import IntArray, TextArray
from checker.model.drawing import Notice
from checker.model.finding import Finding, Results
from checker.model.frame import SiteFrame
from checker.model.inputs import Inputs
from checker.model.job import Job
from checker.model.measure import Measure
from checker.model.overview import DrawingOverview, TableOverview
from checker.read.inputs import find_job, open_job
from checker.units import LengthUnit
from checker.verdicts.control import control_doubts
from checker.verdicts.gate import gate_doubts
from checker.verdicts.judge import judge
from checker.verdicts.overall import overall
from checker.verdicts.site_fit import fit_doubts


def check(path: Path, *, allow_outside: bool = False) -> Results:
    """Read a job and judge it; raises InputError with every fault that was found."""
    job, inputs = open_job(find_job(path), allow_outside=allow_outside)
    return evaluate(job, inputs)


def evaluate(job: Job, inputs: Inputs) -> Results:
    """Run a job's checks and judge them."""
    inputs = budgeted(on_one_grid(inputs, job.reference.ground), job)
    inputs = replace(inputs, notices=(*inputs.notices, *oddities(inputs, job)))
    inputs = audit(inputs, job)
    frame = site_frame(job, inputs)
    site, problems = _site(job, inputs, frame)
    if site is not None and site.moved is not None:
        inputs = replace(inputs, measured=site.moved)
    control, measures = _measures(job, inputs, site, problems)
    shots = 0 if inputs.measured is None else len(inputs.measured)
    doubts = np.full(shots, "", dtype=object)
    findings: list[Finding] = []
    if inputs.measured is not None:
        doubts = gate_doubts(job.gate, inputs.measured, job.unit)
        if site is not None:
            fit = judge(site.measure, doubts, job.unit)
            findings.append(fit)
            doubts = _both(doubts, fit_doubts(fit if site.moved is not None else None, shots))
        proof = None
        if control is not None:
            proof = judge(control, doubts, job.unit)
            findings.append(proof)
        doubts = _both(doubts, control_doubts(proof, inputs.measured))
    findings += [judge(item, doubts, job.unit) for item in measures]
    verdict, counts = overall(findings)
    return Results(
        job=job,
        inputs=inputs,
        findings=tuple(findings),
        verdict=verdict,
        counts=counts,
        unused=_unused(findings, shots),
        doubts=doubts,
        frame=frame,
        diagnosed=diagnose(job, inputs, findings, frame),
    )


def build(
    path: Path,
    target: Path,
    *,
    single_file: bool = False,
    pdf: bool = False,
    allow_outside: bool = False,
) -> Results:
    """Judge a job and write its report to `target`, whole or not at all.

    pdf: as PDF too; raises OutputError, before anything is read, where the library is missing.
    """
    from checker.report.publish import publish
    from checker.report.render import render

    if pdf:
        from checker.report.pdf import require_pdf

        require_pdf()
    results = check(path, allow_outside=allow_outside)
    publish(render(results, single_file=single_file, pdf=pdf), target)
    return results


def show(
    path: Path, unit: LengthUnit | None = None, *, width: int | None = None, colour: bool = False
) -> tuple[str, tuple[Problem, ...]]:
    """Return what a single file holds, as text, and what a job that reads it would refuse.

    unit: what its lengths are in; None: as it says itself. width: of the terminal; None: plain
    text. Raises InputError where nothing of the file can be shown.
    """
    from checker.checks.oddities import point_oddities
    from checker.read.look import look_at, open_one
    from checker.report.overview import overview_sections
    from checker.report.terminal import plain, styled

    look = look_at(open_one(path), unit)
    odd: list[Notice] = []
    if isinstance(look, TableOverview) and look.points is not None:
        odd = point_oddities(look.points, look.unit)
    elif isinstance(look, DrawingOverview):
        odd = audit_drawing(look.drawing, look.unit)
    sections = overview_sections(look, odd)
    text = plain(sections) if width is None else styled(sections, width, colour=colour)
    return text, look.problems if isinstance(look, TableOverview) else ()


def new(
    folder: Path, drawing: Path, points: Sequence[Path], control: Path | None = None
) -> list[str]:
    """Write a job file for a drawing and its shots that already builds; return what was guessed.

    Files that lie elsewhere are copied into the folder. Raises InputError where a file cannot be
    read, OutputError where a job is there already; then nothing is written.
    """
    from checker.read.new_job import JOB_FILE, open_new, refuse_existing, try_job
    from checker.read.recognise import recognise
    from checker.report.job_text import guess_lines, job_text, write_new

    refuse_existing(folder)
    files = open_new(folder, drawing, points, control)
    title = folder.resolve().name or "New job"
    guess = recognise(title, files.design, files.measured, files.control)
    commented: dict[str, str] = {}
    while True:
        text = job_text(guess, commented)
        job, inputs = try_job(files, text)
        try:
            evaluate(job, inputs)
            break
        except InputError as fault:
            # A section that cannot be judged as guessed is handed over as a comment, with why.
            names = {section.where.line: section.name for section in job.checks}
            said = {names.get(each.where.line): each.message for each in fault.problems}
            at_fault = {name: message for name, message in said.items() if name is not None}
            if not at_fault or len(at_fault) == len(job.checks):
                raise
            commented |= at_fault
    write_new(folder, {**files.copies, JOB_FILE: text.encode("utf-8")})
    return [
        *guess_lines(guess, commented),
        *(f"copied into the folder: {name}" for name in files.copies),
    ]


def compare(old: Path, new: Path) -> tuple[str, bool]:
    """Return what changed between two reports, as text, and whether anything did.

    Raises InputError where a folder is no report of ours.
    """
    from checker.read.report import read_report
    from checker.report.changes import changes, changes_text

    problems: list[Problem] = []
    reports = []
    for folder in (old, new):
        try:
            reports.append(read_report(folder))
        except InputError as fault:
            problems.extend(fault.problems)
    if problems:
        raise InputError(problems)
    found = changes(*reports)
    return changes_text(found, *reports), bool(found)


def document(results: Results) -> dict[str, object]:
    """Return what results.json holds."""
    from checker.report.results_json import results_document

    return results_document(results)


def _site(
    job: Job, inputs: Inputs, frame: SiteFrame | None
) -> tuple[FittedSite | None, tuple[Problem, ...]]:
    if job.site_fit is None:
        return None, ()
    try:
        return fit_site(job.site_fit, inputs, job, frame), ()
    except InputError as fault:
        return None, fault.problems


def _measures(
    job: Job, inputs: Inputs, site: FittedSite | None, known: Sequence[Problem]
) -> tuple[Measure | None, list[Measure]]:
    problems = list(known)
    control = None
    measures = []
    fitted = site.fitted if site is not None and site.moved is not None else None
    try:
        if job.control is not None:
            control = measure_control(job.control, inputs, job, fitted)
    except InputError as fault:
        problems.extend(fault.problems)
    for section in job.checks:
        try:
            measures.append(measure(section, inputs, job))
        except InputError as fault:
            problems.extend(fault.problems)
    problems.extend(check_courses(inputs, job))
    if problems:
        raise InputError(problems)
    return control, measures


def _both(first: TextArray, second: TextArray) -> TextArray:
    joined = first.copy()
    only_second = (first == "") & (second != "")
    both = (first != "") & (second != "")
    joined[only_second] = second[only_second]
    joined[both] = first[both] + "; " + second[both]
    return joined


def _unused(findings: Sequence[Finding], shots: int) -> IntArray:
    used = np.zeros(shots, dtype=bool)
    for finding in findings:
        used[finding.measure.used] = True
    return np.flatnonzero(~used)
