"""Names of folders that Windows cannot hold, or would write to another place than they say.

Only the names that a user gives for what is written are looked at: `--out`, a new job's folder, a
page. Those that this program makes itself are letters, digits, hyphens and points on every system.
"""

from pathlib import PurePath, PureWindowsPath
from typing import Final

from checker.errors import OutputError

_DEVICES: Final = frozenset(
    {
        *("con", "prn", "aux", "nul", "conin$", "conout$"),
        *(f"{port}{number}" for port in ("com", "lpt") for number in "123456789¹²³"),
    }
)
"""Reserved in every folder, with any extension: Microsoft, "Naming Files, Paths, Namespaces"."""
_FORBIDDEN: Final = frozenset('<>:"|?*')


def refuse_unusable(path: PurePath, option: str) -> None:
    """Raise OutputError where Windows would not make this path as it is written.

    On another system every path is left to the system. option: what the user gave it by.
    """
    if not isinstance(path, PureWindowsPath):
        return
    for part in path.parts[bool(path.anchor) :]:
        why = _unusable(part)
        if why:
            raise OutputError(
                f'{path} cannot be written: on Windows "{part}" {why}.\n'
                f"    hint: name another folder with {option}"
            )


def _unusable(part: str) -> str:
    """Return why Windows takes a part of a path for something else; "" where it does not."""
    if part == "..":
        return ""
    if part.split(".", 1)[0].rstrip(" ").casefold() in _DEVICES:
        return "is the name of a device"
    if part != part.rstrip(". "):
        return "loses the points or blanks at its end"
    odd = next((sign for sign in part if sign in _FORBIDDEN or ord(sign) < 32), "")
    return f"holds {odd!r}, which no name may" if odd else ""
