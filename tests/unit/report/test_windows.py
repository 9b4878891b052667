"""What Windows would write elsewhere than it says, tried through its own rules for paths.

The reserved names are those of Microsoft's "Naming Files, Paths, and Namespaces" (from memory).
"""

from pathlib import PurePosixPath, PureWindowsPath

import pytest

from checker.errors import OutputError
from checker.report.windows import refuse_unusable


@pytest.mark.parametrize(
    ("path", "why"),
    [
        ("CON", "device"),
        (r"C:\jobs\nul", "device"),
        (r"out\aux.txt\site", "device"),
        (r"\\server\share\com1", "device"),
        ("LPT² .d", "device"),
        (r"out\CONOUT$", "device"),
        (r"out\week 12.", "loses"),
        ("out /site", "loses"),
        (r"out\...", "loses"),
        (r"out\site:1", "holds"),
        (r"C:out\what?", "holds"),
        ("out\\a\tb", "holds"),
    ],
)
def test_what_windows_takes_for_something_else_is_refused(path: str, why: str) -> None:
    with pytest.raises(OutputError, match=why) as caught:
        refuse_unusable(PureWindowsPath(path), "--out")
    assert "hint: name another folder with --out" in str(caught.value)


@pytest.mark.parametrize(
    "path",
    [
        r"C:\jobs\week 12",
        r"\\server\share\out",
        r"\\?\C:\jobs\out",
        r"..\out",
        ".",
        "C:",
        "console",
        "com10",
        "my.con",
        ".hidden",
        "Grabenstraße",
        "a b.c",
    ],
)
def test_what_windows_can_hold_is_taken(path: str) -> None:
    refuse_unusable(PureWindowsPath(path), "--out")


@pytest.mark.parametrize("path", ["CON", "nul.txt", "dots...", "a:b", "what?"])
def test_other_systems_judge_for_themselves(path: str) -> None:
    refuse_unusable(PurePosixPath(path), "--out")
