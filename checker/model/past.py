"""A report that was written earlier, as far as two of them are compared."""

from collections.abc import Mapping
from dataclasses import dataclass

Place = tuple[float | None, float | None, float | None]
"""North, east, elevation; metres, None where there is none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PastRow:
    """A row of a check. verdict: "" where the check is judged as one."""

    id: str
    verdict: str
    reason: str
    superseded: bool
    design: Place
    measured: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class PastCheck:
    """A check. tolerance: limits, rule and source as the job stated them, by what they are."""

    kind: str
    name: str
    verdict: str
    tolerance: Mapping[str, str]
    rows: tuple[PastRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PastReport:
    """A report. inputs: by role and path, the SHA-256. altered: files changed since it was written.

    path: of its folder, as the user named it. digest: SHA-256 of its results.json, "" where that is
    not written yet.
    """

    path: str
    title: str
    number: str
    unit: str
    version: str
    verdict: str
    counts: Mapping[str, int]
    checks: tuple[PastCheck, ...]
    inputs: Mapping[tuple[str, str], str]
    altered: tuple[str, ...]
    digest: str = ""


Topics = tuple[tuple[str, tuple[str, ...]], ...]
"""Headings, each with its lines."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeFrom:
    """What a report is made from: the program and its inputs by role and path, with SHA-256."""

    version: str
    inputs: Mapping[tuple[str, str], str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Since:
    """What changed since the report that stood in the same folder before.

    digest, verdict: of the earlier report, "" where there was none. said: the changes in a
    sentence; topics: one by one. note: why the two cannot be compared, or "".
    """

    digest: str = ""
    verdict: str = ""
    said: str = ""
    topics: Topics = ()
    note: str = ""
