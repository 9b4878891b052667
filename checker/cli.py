"""The command line: arguments, what the terminal shows, exit status. The only stdout and stderr.

Everything that takes time to import is imported by the command that needs it.
"""

import argparse
import atexit
import contextlib
import errno
import gc
import os
import re
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, NoReturn

from checker import __version__
from checker.errors import CheckerError, InputError
from checker.text import printable

if TYPE_CHECKING:
    from checker.beside import Ended
    from checker.model.finding import Finding, Results, Verdict

EXIT_WITHIN = 0
EXIT_NOT_WITHIN = 1
EXIT_INPUT = 2
EXIT_OURS = 3
EXIT_INTERRUPTED = 130
EXIT_TERMINATED = 143

COMMANDS = ("build", "check", "compare", "new", "show", "verify")

EXAMPLES = """\
examples:
  checker build demo_job               writes output/demo_job/index.html
  checker build job-a job-b --out out  writes out/job-a and out/job-b
  checker check demo_job --json        the verdict for another program, no files
  checker new site --drawing d.dxf --points p.csv    a commented job file to begin with
  checker show design.dxf              what is in a drawing or a table, before any job exists
  checker compare output/week1 output/week2     what changed between two reports
  checker verify output/demo_job       whether a report is still as it was written

exit status: 0 all within; 1 something outside, undecided or unchecked;
2 the job or an input is at fault (nothing written); 3 a fault of the program; 130 interrupted
"""
_EXAMPLES = {
    "build": """\
examples:
  checker build demo_job                        writes output/demo_job
  checker build demo_job --out reports/week-12
  checker build demo_job --single-file --pdf    one page, and one for paper
  checker build site-a site-b --out reports     writes reports/site-a and reports/site-b

exit status: 0 all within; 1 something is not; 2 a job or an input is at fault
""",
    "check": """\
examples:
  checker check demo_job
  checker check demo_job/job.toml --json

exit status: 0 all within; 1 something is not; 2 the job or an input is at fault
""",
    "new": """\
example:
  checker new site --drawing design.dxf --points day1.csv day2.csv --control control.csv

Read site/job.toml then: every guess stands there with its reason, every tolerance is a placeholder.
""",
    "show": """\
examples:
  checker show design.dxf
  checker show rover.csv --unit us-survey-foot
""",
    "compare": """\
example:
  checker compare output/week1 output/week2

exit status: 0 nothing changed; 1 something did; 2 a folder is no report
""",
    "verify": """\
example:
  checker verify output/demo_job

It shows that the folder's files are those of its manifest.json. That the manifest itself is the
one that was written, only its SHA-256 shows, noted down elsewhere: in the letter that the report
went with.

exit status: 0 unaltered; 1 a file is altered, missing or added; 2 the folder is no report
""",
}


class _Parser(argparse.ArgumentParser):
    """A parser that names the nearest word when one is mistyped."""

    def error(self, message: str) -> NoReturn:
        found = re.search(r"argument COMMAND: invalid choice: '(.*?)'", message)
        if found is not None:
            word = found[1]
            nearest = _nearest(word, COMMANDS)
            if not nearest and Path(word).exists():
                nearest = f'; did you mean "checker build {word}"?'
            known = ", ".join(COMMANDS)
            message = f'there is no command "{word}"{nearest} (commands: {known})'
        elif message == "the following arguments are required: COMMAND":
            message = f"say what to do: {', '.join(COMMANDS)}; checker --help tells what each does"
        elif message.startswith("unrecognized arguments: "):
            word = message.removeprefix("unrecognized arguments: ").split()[0]
            message = f'"{word}" means nothing here'
            if word.startswith("-"):
                message = _no_option(self, word)
        self.print_usage(sys.stderr)
        self.exit(EXIT_INPUT, f"{self.prog}: {printable(message)}\n")


def _nearest(word: str, words: Sequence[str]) -> str:
    import difflib

    near = difflib.get_close_matches(word, words, n=1)
    return f'; did you mean "{near[0]}"?' if near else ""


def _no_option(top: argparse.ArgumentParser, word: str) -> str:
    """Return what to say of an option that the command does not have."""
    commands_of: dict[str, list[str]] = {}
    for name, option in _options(top):
        commands_of.setdefault(option, []).append(name)
    commands = [name for name in commands_of.get(word.partition("=")[0], ()) if name]
    if commands:
        return f"{word} belongs to {' and '.join(commands)}"
    return f"there is no option {word}{_nearest(word, list(commands_of))}"


def _options(top: argparse.ArgumentParser, name: str = "") -> Iterator[tuple[str, str]]:
    """Yield the options of a parser and of all its commands, each with its command."""
    for action in top._actions:  # noqa: SLF001  (argparse has no other way to list them)
        yield from ((name, option) for option in action.option_strings)
        if isinstance(action, argparse._SubParsersAction):  # noqa: SLF001
            for command, parser in action.choices.items():
                yield from _options(parser, command)


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

    build = _add(commands, "build", "write the report and print the verdict")
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

    check = _add(commands, "check", "print the verdict alone, write no files")
    check.add_argument("job", type=Path, metavar="JOB", help="job folder or job.toml")
    check.add_argument("--json", action="store_true", help="print what results.json would hold")

    new = _add(commands, "new", "write a commented job file that already builds")
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

    show = _add(commands, "show", "print what is in a drawing or a table")
    show.add_argument("file", type=Path, metavar="FILE", help="a DXF drawing, a table or GeoJSON")
    show.add_argument(
        "--unit",
        choices=("metre", "foot", "us-survey-foot", "millimetre", "centimetre", "inch"),
        help="what its lengths are in; left out: as the file says. It changes only the sizes shown",
    )

    compare = _add(commands, "compare", "print what changed between two reports")
    compare.add_argument("old", type=Path, metavar="OLD", help="the folder of the earlier report")
    compare.add_argument("new", type=Path, metavar="NEW", help="the folder of the later report")
    compare.add_argument("--page", type=Path, metavar="FILE", help="write it as a page too")
    compare.add_argument(
        "--wording", type=Path, metavar="FILE", help="the page's texts in another language"
    )

    verify = _add(commands, "verify", "see whether a report is still as it was written")
    verify.add_argument("folder", type=Path, metavar="DIR", help="the folder of the report")

    for command in (build, check):
        command.add_argument(
            "--time-limit",
            type=_time,
            metavar="TIME",
            help='give a job up after so long, such as "90 s" or "10 min"; left out: 1 h',
        )
        command.add_argument(
            "--allow-outside",
            action="store_true",
            help="let the job name files outside its own folder",
        )
    for command in (build, check, verify):
        command.add_argument(
            "--quiet", action="store_true", help="print the verdict alone, and no progress"
        )
    return top


def _time(text: str) -> float:
    """Return the seconds of a span of time on the command line."""
    from checker.timelimit import LONGEST_S
    from checker.units import UnitError, parse_seconds

    try:
        seconds = parse_seconds(text)
    except UnitError as fault:
        raise argparse.ArgumentTypeError(f"{fault}; {fault.hint}") from None
    if not 0.0 < seconds <= LONGEST_S:
        raise argparse.ArgumentTypeError(f'"{text}" is no time to wait; write "90 s" or "10 min"')
    return seconds


def _add(
    commands: "argparse._SubParsersAction[_Parser]", name: str, purpose: str
) -> argparse.ArgumentParser:
    return commands.add_parser(
        name,
        help=purpose,
        description=purpose[0].upper() + purpose[1:] + ".",
        epilog=_EXAMPLES[name],
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    for stream in (sys.stdout, sys.stderr):
        # A console with an old code page must not turn a report into a traceback.
        with contextlib.suppress(AttributeError, OSError):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    try:
        with _ended_cleanly():
            options = parser().parse_args(arguments)
            # A run makes much that lives until it ends: looking for garbage often finds none and
            # costs a tenth of the time.
            gc.set_threshold(100_000, 50, 100)
            # The system takes all memory back; looking through it first takes a tenth of a second.
            atexit.register(gc.freeze)
            status = _COMMANDS[options.command](options)
            if sys.stdout is not None:
                sys.stdout.flush()
            return status
    except CheckerError as fault:
        return _refuse(fault)
    except KeyboardInterrupt:
        _err(_STOPPED.format("interrupted"))
        return EXIT_INTERRUPTED
    except _TerminatedError:
        _err(_STOPPED.format("ended from outside"))
        return EXIT_TERMINATED
    except BrokenPipeError:
        # Nobody reads on. What Python still holds must not be written when it ends.
        with contextlib.suppress(OSError, ValueError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return EXIT_INTERRUPTED
    except MemoryError:
        _err(_NO_MEMORY)
        return EXIT_INPUT
    except Exception as fault:  # noqa: BLE001  (the last stop: say whose fault it is, and keep all)
        if isinstance(fault, OSError) and fault.errno in _FULL and fault.filename is None:
            _err(f"what the command prints cannot be written: {fault.strerror}")
            return EXIT_INPUT
        import traceback

        _err(traceback.format_exc().rstrip())
        _err("this is a fault of the checker, not of your job; nothing was written")
        return EXIT_OURS


_FULL = {errno.ENOSPC, errno.EIO, errno.EDQUOT, errno.EFBIG}
"""What printing gives where standard output is a file on a full disk."""
_NO_MEMORY = (
    "there is not enough memory for these inputs; nothing was written\n"
    "    hint: end other programs, build one job at a time, split the largest table or drawing"
)
_STOPPED = "{}; where a report stands, it is the old one or the new one, whole"


class _TerminatedError(BaseException):
    """The system asks the program to end."""


@contextlib.contextmanager
def _ended_cleanly() -> Iterator[None]:
    """Take the system's request to end like an interrupt, so that what lies aside is removed."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def end(_: int, __: FrameType | None) -> NoReturn:
        raise _TerminatedError

    before = signal.signal(signal.SIGTERM, end)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _out(text: str) -> None:
    """Print lines, each without what would move a cursor or turn the reading of it."""
    print("\n".join(printable(line) for line in text.split("\n")))


def _err(text: str) -> None:
    with contextlib.suppress(OSError, ValueError):
        print("\n".join(printable(line) for line in text.split("\n")), file=sys.stderr)


def _build(options: argparse.Namespace) -> int:
    from checker.beside import INSIDE, at_once
    from checker.progress import told
    from checker.run import build
    from checker.timelimit import DEFAULT_S, within_time

    targets = _targets(options.jobs, options.out)
    workers = at_once(len(targets))
    if workers > 1:
        return _build_beside(options, targets, workers)
    status = EXIT_WITHIN
    for job, target in zip(options.jobs, targets, strict=True):
        try:
            with (
                told(sys.stderr, quiet=options.quiet or INSIDE in os.environ) as told_to,
                within_time(options.time_limit or DEFAULT_S, str(job), told_to) as tell,
            ):
                results = build(
                    job,
                    target,
                    single_file=options.single_file,
                    pdf=options.pdf,
                    allow_outside=options.allow_outside,
                    tell=tell,
                )
        except CheckerError as fault:
            # One job's fault must not keep the other jobs from their reports.
            several = len(targets) > 1 or INSIDE in os.environ
            status = max(status, _refuse(fault, job if several else None))
            continue
        _say(results, quiet=options.quiet)
        if results.replaces:
            _out(
                printable(
                    f'this replaces the report of another job, "{results.replaces}" '
                    f'(now "{results.job.title}"); --out gives each a folder of its own'
                )
            )
        _out(f"report: {printable(str(target / 'index.html'))}")
        status = max(status, _status(results))
    return status


def _build_beside(options: argparse.Namespace, targets: Sequence[Path], workers: int) -> int:
    """Build several jobs in processes of their own; what they print comes in their order."""
    from checker.beside import run_beside
    from checker.progress import told

    switches = ("single_file", "pdf", "allow_outside", "quiet")
    flags = [f"--{name.replace('_', '-')}" for name in switches if getattr(options, name)]
    if options.time_limit is not None:
        flags.append(f"--time-limit={options.time_limit!r}")
    commands = [
        ["build", *flags, "--out", str(target), "--", str(job)]
        for job, target in zip(options.jobs, targets, strict=True)
    ]
    ended: list[Ended] = []
    try:
        with (
            told(sys.stderr, quiet=options.quiet) as tell,
            contextlib.closing(run_beside(commands, workers)) as runs,
        ):
            tell(f"building {len(commands)} jobs, {workers} at a time", 0.0)
            for run in runs:
                ended.append(run)
                tell(f"{len(ended)} of {len(commands)} jobs built", len(ended) / len(commands))
    finally:  # once the bar is gone, which would be written over
        for run in ended:
            print(run.out, end="")
            with contextlib.suppress(OSError, ValueError):
                print(run.err, end="", file=sys.stderr)
    # a run that the system ended has a negative status
    return max(run.status if run.status >= 0 else EXIT_OURS for run in ended)


def _refuse(fault: CheckerError, job: Path | None = None) -> int:
    """Print a fault. job: the one at fault, where others are built too; each place names it."""
    if not isinstance(fault, InputError):
        # Two lines, whatever a path holds: no name of a folder writes a line of its own.
        said, mark, hint = str(fault).partition("\n    hint: ")
        _err(f"{printable(said)}{mark}{printable(hint)}")
        return fault.exit_status
    folder = None if job is None else _job_folder(job)
    for problem in fault.problems:
        # A line each, whatever the found text holds: nothing in a file writes a line of its own.
        where = problem.where
        if folder is not None and not Path(where.file).is_relative_to(folder):
            where = replace(where, file=str(folder / where.file))
        place, said = printable(str(where)), printable(problem.message)
        _err(f"{place}: {said} [{problem.slug}]\n    hint: {printable(problem.hint)}")
    count = len(fault.problems)
    whose = "" if job is None else f"{printable(str(job))}: "
    _err(f"{whose}{count} {'fault' if count == 1 else 'faults'}; nothing was written")
    return fault.exit_status


def _check(options: argparse.Namespace) -> int:
    from checker.progress import told
    from checker.run import check, document
    from checker.timelimit import DEFAULT_S, within_time

    with (
        told(sys.stderr, quiet=options.quiet) as told_to,
        within_time(options.time_limit or DEFAULT_S, str(options.job), told_to) as tell,
    ):
        results = check(options.job, allow_outside=options.allow_outside, tell=tell)
    if options.json:
        import json

        print(json.dumps(document(results), ensure_ascii=True, allow_nan=False, indent=1))
    else:
        _say(results, quiet=options.quiet)
    return _status(results)


def _verify(options: argparse.Namespace) -> int:
    from checker.run import verify

    found = verify(options.folder)
    if not found.unaltered:
        for word, names in (
            ("altered", found.altered),
            ("missing", found.missing),
            ("added", found.added),
        ):
            for name in names:
                _out(f"{word}: {printable(name)}")
    counts = f"{found.count} {'file' if found.count == 1 else 'files'}, {found.size:,} bytes"
    verdict = "UNALTERED" if found.unaltered else "ALTERED"
    _out(f"{verdict}: {printable(found.path)} ({counts} by its manifest.json)")
    if not options.quiet:
        _out(f"manifest.json itself has the SHA-256 {found.manifest_sha256}")
    return EXIT_WITHIN if found.unaltered else EXIT_NOT_WITHIN


def _new(options: argparse.Namespace) -> int:
    import shlex

    from checker.run import new

    said = new(options.folder, options.drawing, options.points, options.control)
    written = printable(str(options.folder / "job.toml"))
    _out(f"written: {written}; what was guessed stands there with its reasons")
    for line in said:
        _out(f"  {printable(line)}")
    folder = shlex.quote(printable(str(options.folder)))
    _out(f"next: read it, then: {_program()} build {folder}")
    return EXIT_WITHIN


def _program() -> str:
    """Return how the user called the program, so that what is told to be typed next works too."""
    import shlex
    import shutil

    called = sys.argv[0]
    name = os.path.basename(called)  # noqa: PTH119
    if name == "__main__.py" and sys.orig_argv[1:3] == ["-m", "checker"]:
        return f"{shlex.quote(printable(sys.orig_argv[0]))} -m checker"
    if os.path.splitext(name)[0] != "checker" or shutil.which("checker") == called:  # noqa: PTH122
        return "checker"
    return shlex.quote(printable(called))


def _show(options: argparse.Namespace) -> int:
    import shutil

    from checker.run import show
    from checker.units import LengthUnit

    width = None
    if sys.stdout is not None and sys.stdout.isatty():
        width = shutil.get_terminal_size().columns
    unit = None if options.unit is None else LengthUnit(options.unit)
    text, problems = show(
        options.file, unit, width=width, colour=width is not None and "NO_COLOR" not in os.environ
    )
    print(text, end="")  # made printable where it was made: bold is a sequence for the terminal
    if not problems:
        return EXIT_WITHIN
    _err("\nas it stands, a job that reads this file stops with:")
    for problem in problems:
        place, said = printable(str(problem.where)), printable(problem.message)
        _err(f"{place}: {said} [{problem.slug}]\n    hint: {printable(problem.hint)}")
    return EXIT_INPUT


def _compare(options: argparse.Namespace) -> int:
    from checker.run import compare

    text, changed = compare(options.old, options.new, options.page, options.wording)
    _out(text.rstrip("\n"))
    if options.page is not None:
        _out(f"page: {printable(str(options.page))}")
    return EXIT_NOT_WITHIN if changed else EXIT_WITHIN


_COMMANDS: dict[str, Callable[[argparse.Namespace], int]] = {
    "build": _build,
    "check": _check,
    "compare": _compare,
    "new": _new,
    "show": _show,
    "verify": _verify,
}


def _targets(jobs: Sequence[Path], out: Path | None) -> list[Path]:
    if out is not None and len(jobs) == 1:
        return [out]
    parent = Path("output") if out is None else out
    names = [_job_name(job) for job in jobs]
    # Some file systems take upper and lower case for one name.
    folded = [name.casefold() for name in names]
    twice = [name for name in names if folded.count(name.casefold()) > 1]
    if twice:
        message = f'two jobs are both called "{twice[0]}": build them one at a time with --out'
        raise CheckerError(message)
    return [parent / name for name in names]


def _job_name(job: Path) -> str:
    return os.path.basename(os.path.realpath(_job_folder(job))) or "job"  # noqa: PTH119


def _job_folder(job: Path) -> Path:
    # What is not there is called by its own name; these two never raise.
    is_file = os.path.isfile(job) or job.suffix.casefold() == ".toml"  # noqa: PTH113
    return job.parent if is_file and not os.path.isdir(job) else job  # noqa: PTH112


def _status(results: "Results") -> int:
    return EXIT_WITHIN if results.verdict.word == "within" else EXIT_NOT_WITHIN


def _say(results: "Results", *, quiet: bool) -> None:
    from checker.model.finding import Verdict
    from checker.model.kinds import kind_name

    counts = ", ".join(f"{results.counts[verdict]} {verdict.word}" for verdict in reversed(Verdict))
    _out(f"{results.verdict.word.upper()}: {printable(results.job.title)}")
    if quiet:
        return
    _out(f"  {counts}")
    for said in results.beware:
        _out(printable(f"  beware: {said}"))
    for left in results.unjudged:
        _out(printable(f"  not judged: {left.text}"))
    # Control and the like have no name of their own: their kind is not said twice.
    names = [(f.measure.name, kind_name(f.measure.kind)) for f in results.findings]
    names = [
        ("" if name == f.measure.kind else name, kind)
        for f, (name, kind) in zip(results.findings, names, strict=True)
    ]
    name_width = max((len(name) for name, _ in names), default=0)
    kind_width = max((len(kind) for _, kind in names), default=0)
    for finding, (name, kind) in zip(results.findings, names, strict=True):
        line = (
            f"  {finding.verdict.word:<9}  {kind:<{kind_width}}  {name:<{name_width}}  "
            f"{_in_short(finding)}"
        )
        _out(printable(line.rstrip()))
    for diagnosis in results.diagnosed.diagnoses:
        cause = diagnosis.cause.blunder.replace("-", " ")
        _out(printable(f"  what may have gone wrong: {cause}: {diagnosis.says}"))
    for verdict in (Verdict.OUTSIDE, Verdict.UNDECIDED, Verdict.UNCHECKED):
        for finding in results.findings:
            for line in _worst(finding, verdict):
                _out(printable(line))
    _out(f"  {_CAUTION if results.verdict is Verdict.WITHIN else _HOLD}")


_HOLD = (
    "Hold the work at what is outside, undecided or unchecked: stop and ask. This certifies "
    "nothing, and no stake is clearance to dig."
)
_CAUTION = (
    "Within tolerance does not mean certified, and no stake is clearance to dig: read the cautions "
    "before anyone builds."
)


def _in_short(finding: "Finding") -> str:
    """Return how many rows of a check stand how, where its rows follow; else why it is not within.

    A check whose own verdict no row shares says why.
    """
    from checker.model.finding import Verdict

    if finding.verdict is Verdict.WITHIN or not len(finding.row_verdict):
        return finding.reason
    codes = finding.row_verdict[finding.measure.counted]
    counts = {verdict: int((codes == int(verdict)).sum()) for verdict in reversed(Verdict)}
    if not counts[finding.verdict]:
        return finding.reason
    told = ", ".join(f"{count} {verdict.word}" for verdict, count in counts.items() if count)
    return f"{told}, of {len(codes)}"


def _worst(finding: "Finding", verdict: "Verdict", limit: int = 5) -> list[str]:
    from checker.model.kinds import kind_name

    measure = finding.measure
    if not measure.judged_by_row:
        return []
    called = kind_name(measure.kind) if measure.name == measure.kind else measure.name
    rows = (measure.counted & (finding.row_verdict == int(verdict))).nonzero()[0]
    rows = rows[(-finding.row_share[rows]).argsort(kind="stable")].tolist()
    lines = [
        f"    {verdict.word}: {measure.id[row]} ({called}): {finding.row_reason[row]}"
        for row in rows[:limit]
    ]
    if len(rows) > limit:
        lines.append(f"    and {len(rows) - limit} more {verdict.word} in {called}")
    return lines
