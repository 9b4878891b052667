"""What the operating system gives for swapping folders safely: exchanging them, and holding one.

Both do what they can: where a system lacks them, `exchange` says so and `hold` holds nothing.
"""

import contextlib
import os
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final

_AT_CWD: Final = -100
_EXCHANGE: Final = 2
"""Of renameat2(2), Linux 3.15 and newer: exchange the two paths atomically."""
_OLD_S: Final = 86_400.0
"""Where nothing can be held, what nobody has touched for a day is taken for litter."""


def exchange(one: Path, other: Path) -> bool:
    """Exchange two folders of one file system in one step; False where that cannot be done."""
    if not sys.platform.startswith("linux"):
        return False
    import ctypes

    try:
        rename = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError):  # another C library, or an old one
        return False
    done: int = rename(_AT_CWD, os.fsencode(one), _AT_CWD, os.fsencode(other), _EXCHANGE)
    return done == 0


@contextlib.contextmanager
def hold(folder: Path) -> Iterator[bool]:
    """Hold a folder against other runs of this program; False where another one holds it.

    The system lets go when the process ends, however it ends. Nothing is written for it.
    """
    try:
        import fcntl
    except ImportError:
        yield True
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            yield False
            return
        except OSError:  # a network drive that holds no folders
            yield True
            return
        yield True
    finally:
        os.close(handle)


def held(folder: Path) -> bool:
    """Return whether another run still works in a folder; in doubt it does."""
    try:
        import fcntl
    except ImportError:
        return not _untouched(folder)
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except OSError:
        return not _untouched(folder)
    finally:
        os.close(handle)
    return False


def _untouched(folder: Path) -> bool:
    """Return whether nothing in a folder changed for a day, by either clock's account."""
    try:
        changed = max(path.stat().st_mtime for path in (folder, *folder.iterdir()))
    except OSError:
        return False
    return abs(time.time() - changed) > _OLD_S
