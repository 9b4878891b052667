"""Files that would be compared with themselves, or whose shots would count twice."""

from collections.abc import Iterator, Sequence

from checker.errors import Problem, Where
from checker.model.inputs import InputFile
from checker.model.job import Job


def same_files(job: Job, files: Sequence[InputFile]) -> Iterator[Problem]:
    """Yield what is wrong with files that are the same.

    A copy of the design or the control under another name is told by its coordinates, not here.
    """
    if job.measured is None:
        return
    digest = {file.path: file.sha256 for file in files}
    first: dict[str, str] = {}
    for path in map(_slashed, job.measured.files):
        own = digest.get(path)
        if own is None:
            continue
        if own in first and first[own] != path:
            yield Problem(
                slug="same-shots-twice",
                where=job.measured.where,
                message=f'as-measured file "{path}" is byte for byte "{first[own]}": its shots '
                "would count twice, and agree perfectly",
                hint="take one of the two out, or get the file that was meant",
            )
        first.setdefault(own, path)
    measured = {_slashed(path) for path in job.measured.files}
    for section, where, path in _known(job):
        if path in measured:
            yield Problem(
                slug="compared-with-itself",
                where=where,
                message=f'[{section}] "{path}" is an as-measured file too: points compared with '
                "themselves prove nothing",
                hint="name the file of the known points, and under [measured] that of the shots",
            )


def _known(job: Job) -> Iterator[tuple[str, Where, str]]:
    if job.control is not None:
        yield "control", job.control.where, _slashed(job.control.file)
    if job.design is not None:
        for path in job.design.points:
            yield "design", job.design.where, _slashed(path)


def _slashed(path: str) -> str:
    return path.replace("\\", "/")
