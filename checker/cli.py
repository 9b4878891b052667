"""The command line: arguments, what the terminal shows, exit status. The only stdout and stderr."""

import argparse
import contextlib
import gc
import json
import os
import shlex
import shutil
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path
from typing import NoReturn, TextIO

from checker import __version__
from checker.errors import CheckerError
from checker.model.finding import Finding, Results, Verdict
from checker.units import LengthUnit

EXIT_WITHIN = 0
EXIT_NOT_WITHIN = 1
EXIT_INPUT = 2
EXIT_OURS = 3
EXIT_INTERRUPTED = 130

COMMANDS = ("build", "check", "compare", "new", "show")

EXAMPLES = """\
examples:
  checker build demo_job               writes output/demo_job/index.html
  checker build job-a job-b --out out  writes out/job-a and out/job-b
  checker check demo_job --json        the verdict for another program, no files
  checker new site --drawing d.dxf --points p.csv    a commented job file to begin with
  checker show design.dxf              what is in a drawing or a table, before any job exists
  checker compare output/week1 output/week2     what changed between two reports

exit status: 0 all within; 1 something outside, undecided or unchecked;
2 the job or an input is at fault (nothing written); 3 a fault of the program
"""


class _Parser(argparse.ArgumentParser):
    """A parser that names the nearest command when one is mistyped."""

    def error(self, message: str) -> NoReturn:
        import difflib

        words = [word for word in sys.argv[1:] if not word.startswith("-")]
        if "invalid choice" in message and words:
            near = difflib.get_close_matches(words[0], COMMANDS, n=1)
            nearest = f'; did you mean "{near[0]}"?' if near else ""
            message = f'there is no command "{words[0]}"{nearest} (commands: {", ".join(COMMANDS)})'
        self.print_usage(sys.stderr)
        self.exit(EXIT_INPUT, f"{self.prog}: {message}\n")


def parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command line."""
    top = _Parser(
        prog="checker",
        description="Compare as-measured points with design geometry, test closures against "
        "tolerances, and write a report.",
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action="version", version=f"checker {__version__}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)

    build = commands.add_parser("build", help="write the report and print the verdict")
    build.add_argument("jobs", nargs="+", type=Path, metavar="JOB", help="job folder or job.toml")
    build.add_argument(
        "--out",
        type=Path,
        metavar="DIR",
        help="the report's folder (several jobs: a folder each below it); "
        "default output/<name of the job's folder>",
    )
    build.add_argument("--single-file", action="store_true", help="one HTML page, to pass on")
    build.add_argument(
        "--pdf", action="store_true", help="report.pdf too (needs the extra library WeasyPrint)"
    )

    check = commands.add_parser("check", help="print the verdict alone, write no files")
    check.add_argument("job", type=Path, metavar="JOB", help="job folder or job.toml")
    check.add_argument("--json", action="store_true", help="print what results.json would hold")

    new = commands.add_parser("new", help="write a commented job file that already builds")
    new.add_argument("folder", type=Path, metavar="DIR", help="the new job's folder")
    new.add_argument(
        "--drawing",
        type=Path,
        required=True,
        metavar="F",
        help="the design: a DXF drawing, or a table of points",
    )
    new.add_argument(
        "--points",
        type=Path,
        nargs="+",
        required=True,
        metavar="F",
        help="the as-measured points, one table or several",
    )
    new.add_argument("--control", type=Path, metavar="F", help="the known points")

    show = commands.add_parser("show", help="print what is in a drawing or a table")
    show.add_argument("file", type=Path, metavar="FILE", help="a DXF drawing, a table or GeoJSON")
    show.add_argument(
        "--unit",
        choices=[unit.value for unit in LengthUnit],
        help="what its lengths are in; left out: as the file says. It matters for sizes alone",
    )

    compare = commands.add_parser("compare", help="print what changed between two reports")
    compare.add_argument("old", type=Path, metavar="OLD", help="the folder of the earlier report")
    compare.add_argument("new", type=Path, metavar="NEW", help="the folder of the later report")

    for command in (build, check):
        command.add_argument(
            "--allow-outside",
            action="store_true",
            help="let the job name files outside its own folder",
        )
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    for stream in (sys.stdout, sys.stderr):
        # A console with an old code page must not turn a report into a traceback.
        with contextlib.suppress(AttributeError, OSError):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    options = parser().parse_args(arguments)
    # A run makes much that lives until it ends: looking for garbage often finds none and costs a
    # tenth of the time.
    gc.set_threshold(100_000, 50, 100)
    try:
        return _COMMANDS[options.command](options)
    except CheckerError as fault:
        return _refuse(fault)
    except KeyboardInterrupt:
        print("interrupted; nothing was written", file=sys.stderr)
        return EXIT_INTERRUPTED
    except BrokenPipeError:
        return EXIT_INTERRUPTED
    except Exception:  # noqa: BLE001  (the last stop: say whose fault it is, keep the traceback)
        traceback.print_exc()
        print(
            "this is a fault of the checker, not of your job; nothing was written", file=sys.stderr
        )
        return EXIT_OURS


def _build(options: argparse.Namespace) -> int:
    from checker.run import build

    targets = _targets(options.jobs, options.out)
    status = EXIT_WITHIN
    for job, target in zip(options.jobs, targets, strict=True):
        try:
            results = build(
                job,
                target,
                single_file=options.single_file,
                pdf=options.pdf,
                allow_outside=options.allow_outside,
            )
        except CheckerError as fault:
            # One job's fault must not keep the other jobs from their reports.
            status = max(status, _refuse(fault))
            continue
        _say(results, sys.stdout)
        print(f"report: {target / 'index.html'}")
        status = max(status, _status(results))
    return status


def _refuse(fault: CheckerError) -> int:
    print(fault, file=sys.stderr)
    count = len(getattr(fault, "problems", ()))
    if count:
        print(
            f"{count} {'fault' if count == 1 else 'faults'}; nothing was written", file=sys.stderr
        )
    return fault.exit_status


def _check(options: argparse.Namespace) -> int:
    from checker.run import check, document

    results = check(options.job, allow_outside=options.allow_outside)
    if options.json:
        print(json.dumps(document(results), ensure_ascii=True, allow_nan=False, indent=1))
    else:
        _say(results, sys.stdout)
    return _status(results)


def _new(options: argparse.Namespace) -> int:
    from checker.run import new

    said = new(options.folder, options.drawing, options.points, options.control)
    print(f"written: {options.folder / 'job.toml'}; what was guessed stands there with its reasons")
    for line in said:
        print(f"  {line}")
    print(f"next: read it, then: checker build {shlex.quote(str(options.folder))}")
    return EXIT_WITHIN


def _show(options: argparse.Namespace) -> int:
    from checker.run import show

    width = None
    if sys.stdout.isatty():
        width = shutil.get_terminal_size().columns
    unit = None if options.unit is None else LengthUnit(options.unit)
    text, problems = show(
        options.file, unit, width=width, colour=width is not None and "NO_COLOR" not in os.environ
    )
    print(text, end="")
    if not problems:
        return EXIT_WITHIN
    print("\nas it stands, a job that reads this file stops with:", file=sys.stderr)
    for problem in problems:
        print(problem, file=sys.stderr)
    return EXIT_INPUT


def _compare(options: argparse.Namespace) -> int:
    from checker.run import compare

    text, changed = compare(options.old, options.new)
    print(text, end="")
    return EXIT_NOT_WITHIN if changed else EXIT_WITHIN


_COMMANDS = {"build": _build, "check": _check, "compare": _compare, "new": _new, "show": _show}


def _targets(jobs: Sequence[Path], out: Path | None) -> list[Path]:
    if out is not None and len(jobs) == 1:
        return [out]
    parent = Path("output") if out is None else out
    names = [_job_name(job) for job in jobs]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        message = f'two jobs are both called "{twice[0]}": build them one at a time with --out'
        raise CheckerError(message)
    return [parent / name for name in names]


def _job_name(job: Path) -> str:
    folder = job if job.is_dir() else job.parent
    return folder.resolve().name or "job"


def _status(results: Results) -> int:
    return EXIT_WITHIN if results.verdict is Verdict.WITHIN else EXIT_NOT_WITHIN


def _say(results: Results, out: TextIO) -> None:
    """Print the verdict, a line a check, and the worst rows."""
    counts = ", ".join(f"{results.counts[verdict]} {verdict.word}" for verdict in reversed(Verdict))
    print(f"{results.verdict.word.upper()}: {results.job.title}", file=out)
    print(f"  {counts}", file=out)
    width = max((len(f.measure.name) for f in results.findings), default=0)
    for finding in results.findings:
        print(
            f"  {finding.verdict.word:<9}  {finding.measure.kind:<9}  "
            f"{finding.measure.name:<{width}}  {finding.reason}".rstrip(),
            file=out,
        )
    for diagnosis in results.diagnosed.diagnoses:
        print(f"  diagnosis: {diagnosis.cause.blunder}: {diagnosis.says}", file=out)
    for finding in results.findings:
        for line in _worst(finding):
            print(line, file=out)


def _worst(finding: Finding, limit: int = 5) -> list[str]:
    measure = finding.measure
    if not measure.judged_by_row:
        return []
    rows = [
        row
        for row in range(len(measure.id))
        if measure.counted[row] and finding.row_verdict[row] == Verdict.OUTSIDE
    ]
    rows.sort(key=lambda row: (-finding.row_share[row], row))
    lines = [
        f"    outside: {measure.id[row]} ({measure.name}): {finding.row_reason[row]}"
        for row in rows[:limit]
    ]
    if len(rows) > limit:
        lines.append(f"    and {len(rows) - limit} more outside in {measure.name}")
    return lines
