"""The whole pipeline on one page: read, check, judge, diagnose, report.

The only module that joins rooms.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

from checker.checks.audit import audit, audit_drawing
from checker.checks.budget import budgeted
from checker.checks.control import measure_control
from checker.checks.course import check_courses
from checker.checks.degrees import in_degrees
from checker.checks.frame import on_one_grid
from checker.checks.grid import site_frame
from checker.checks.instruments import calibrations
from checker.checks.limit_notices import limit_notices
from checker.checks.oddities import oddities
from checker.checks.proof_oddities import idle_shots, proof_oddities
from checker.checks.registry import measure
from checker.checks.revisions import revision_notices
from checker.checks.selecting import check_shots, exclusion_reasons
from checker.checks.site_fit import FittedSite, fit_site
from checker.diagnose.diagnose import diagnose
from checker.errors import InputError, Problem
from checker.model.arrays import IntArray, TextArray, same_text
from checker.model.drawing import Notice
from checker.model.finding import Finding, Results
from checker.model.frame import SiteFrame
from checker.model.inputs import Inputs
from checker.model.job import Job
from checker.model.measure import Measure
from checker.model.overview import DrawingOverview, TableOverview
from checker.model.past import Since
from checker.model.progress import Tell, silent
from checker.model.verification import Verification
from checker.read.inputs import find_job, open_job
from checker.text import printable
from checker.units import LengthUnit
from checker.verdicts.control import control_doubts, with_chain
from checker.verdicts.earlier_shots import with_earlier_shots
from checker.verdicts.elsewhere import held_elsewhere
from checker.verdicts.gate import gate_doubts
from checker.verdicts.judge import judge
from checker.verdicts.overall import overall
from checker.verdicts.site_fit import fit_doubts
from checker.verdicts.unjudged import unjudged


def check(path: Path, *, allow_outside: bool = False, tell: Tell = silent) -> Results:
    """Read a job and judge it; raises InputError with every fault that was found.

    tell: is told what begins, as it begins.
    """
    job, inputs = open_job(find_job(path), allow_outside=allow_outside, tell=tell)
    return evaluate(job, inputs, tell)


def evaluate(job: Job, inputs: Inputs, tell: Tell = silent) -> Results:
    """Run a job's checks and judge them."""
    inputs = budgeted(on_one_grid(inputs, job.reference.ground), job)
    said = (
        *limit_notices(inputs, job),
        *calibrations(inputs, job),
        *oddities(inputs, job),
        *revision_notices(inputs, job),
    )
    inputs = replace(inputs, notices=(*inputs.notices, *said))
    tell("looking the drawings over")
    inputs = audit(inputs, job)
    frame = site_frame(job, inputs)
    site, problems = _site(job, inputs, frame)
    if site is not None and site.moved is not None:
        inputs = replace(inputs, measured=site.moved)
    control, measures = _measures(job, inputs, site, problems, tell)
    every = [
        *measures,
        *([] if control is None else [control]),
        *([] if site is None else [site.measure]),
    ]
    inputs = replace(inputs, notices=(*inputs.notices, *proof_oddities(every, inputs, job)))
    shots = 0 if inputs.measured is None else len(inputs.measured)
    doubts = same_text("", shots)
    findings: list[Finding] = []
    proof: Finding | None = None
    if inputs.measured is not None:
        proofs = check_shots(inputs, inputs.measured)
        proofs &= exclusion_reasons(job, inputs.measured) == ""
        doubts = gate_doubts(job.gate, inputs.measured, job.unit, proofs)
        if site is not None:
            fit = judge(site.measure, doubts, job.unit)
            findings.append(fit)
            doubts = _both(doubts, fit_doubts(fit if site.moved is not None else None, shots))
        if control is not None:
            proof = judge(control, doubts, job.unit)
            findings.append(proof)
        doubts = _both(doubts, control_doubts(proof, inputs.measured))
    rest = [with_earlier_shots(judge(item, doubts, job.unit), inputs.measured) for item in measures]
    if proof is not None and inputs.measured is not None:
        findings[-1] = with_chain(proof, inputs.measured, rest)
    findings += rest
    verdict, counts = overall(findings)
    unused = _unused(findings, shots)
    tell("looking for a common cause")
    return Results(
        job=job,
        inputs=inputs,
        findings=held_elsewhere(findings, shots),
        verdict=verdict,
        counts=counts,
        unused=unused,
        doubts=doubts,
        frame=frame,
        diagnosed=diagnose(job, inputs, findings, frame),
        unjudged=unjudged(findings, inputs.measured, job.unit, idle_shots(unused, inputs, job)),
    )


def build(
    path: Path,
    target: Path,
    *,
    single_file: bool = False,
    pdf: bool = False,
    allow_outside: bool = False,
    tell: Tell = silent,
) -> Results:
    """Judge a job and write its report to `target`, whole or not at all.

    pdf: as PDF too; raises OutputError, before anything is read, where the library is missing.
    """
    from checker.report.publish import publish_report
    from checker.report.render import write_report

    if pdf:
        from checker.report.pdf import require_pdf

        require_pdf()
    results = check(path, allow_outside=allow_outside, tell=tell)
    tell("writing the report")
    since, before = _since(results, target)
    if before not in ("", results.job.title):
        results = replace(results, replaces=before)
    publish_report(
        partial(write_report, results, single_file=single_file, pdf=pdf, since=since), target
    )
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
        odd = [*in_degrees(look.drawing, look.unit), *audit_drawing(look.drawing, look.unit)]
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
    from checker.read.new_job import JOB_FILE, in_utf_8, open_new, refuse_existing, try_job
    from checker.read.recognise import recognise
    from checker.report.job_text import guess_lines, job_text, write_new

    refuse_existing(folder)
    files = open_new(folder, drawing, points, control)
    title = printable(in_utf_8(folder.resolve().name)).strip() or "New job"
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
        *(
            f"copied into the folder: {name}; from now on the job reads {folder / name}"
            for name in files.copies
        ),
    ]


def verify(folder: Path) -> Verification:
    """Return what differs between a report's folder and its manifest.

    Raises InputError where the folder is no report of ours.
    """
    from checker.read.verify import verify_report

    return verify_report(folder)


def compare(
    old: Path, new: Path, page: Path | None = None, wording: Path | None = None
) -> tuple[str, bool]:
    """Return what changed between two reports, as text, and whether anything did.

    page: where to write it as a page too; wording: a file with the page's texts in another
    language. Raises InputError where a folder is no report of ours or the wording is none,
    OutputError where another file stands in the page's place.
    """
    from checker.model.wording import Wording
    from checker.read.report import read_report
    from checker.read.wording import open_wording
    from checker.report.changes import changes, changes_text

    problems: list[Problem] = []
    reports = []
    for folder in (old, new):
        try:
            reports.append(read_report(folder))
        except InputError as fault:
            problems.extend(fault.problems)
    said = Wording()
    if wording is not None:
        try:
            said = open_wording(wording)
        except InputError as fault:
            problems.extend(fault.problems)
    if problems:
        raise InputError(problems)
    found = changes(reports[0], reports[1])
    if page is not None:
        from checker.report.compare_page import write_page

        write_page(page, reports[0], reports[1], said)
    return changes_text(found, *reports), bool(found)


def _since(results: Results, target: Path) -> tuple[Since, str]:
    """Return what changed since the report that stands in the target, if one does, and its title.

    Where it was made by this program from the same inputs, what it says of the one before it holds
    still: building twice gives the same bytes.
    """
    from checker.read.report import is_report, read_report, read_since
    from checker.report.past import made_from, past_of
    from checker.report.since import since_report, unreadable

    if not is_report(target):
        return Since(), ""
    kept = read_since(target)
    if kept is not None and kept[0] == made_from(results):
        return kept[1], results.job.title
    try:
        before = read_report(target)
        return since_report(before, past_of(results)), before.title
    except InputError as fault:
        return unreadable(fault.problems[0].message), ""


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
    job: Job,
    inputs: Inputs,
    site: FittedSite | None,
    known: Sequence[Problem],
    tell: Tell,
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
    for number, section in enumerate(job.checks):
        tell(f"checking {section.name}", number / len(job.checks))
        try:
            measures.append(measure(section, inputs, job))
        except InputError as fault:
            problems.extend(fault.problems)
    problems.extend(check_courses(inputs, job))
    if problems:
        raise InputError(problems)
    return control, measures


def _both(first: TextArray, second: TextArray) -> TextArray:
    if not (second != "").any():
        return first
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
