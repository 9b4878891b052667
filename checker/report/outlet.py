"""Where a report's files go while they are made: in pieces, several at once, none kept whole."""

import hashlib
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from io import BytesIO

from checker.report.manifest import NAME, Entry, manifest_of

Write = Callable[[bytes], object]
"""Takes the next bytes of a file."""
OpenFile = Callable[[str], AbstractContextManager[Write]]
"""Begins a file, by its path in the report; leaving it ends the file."""


class Outlet:
    """Hands a report's files on as they are made, and keeps what the manifest says of each."""

    def __init__(self, open_file: OpenFile) -> None:
        """Take what begins a file."""
        self._open = open_file
        self._entries: dict[str, Entry] = {}

    @contextmanager
    def file(self, name: str) -> Iterator[Callable[[str], None]]:
        """Begin a file of text; what it gives takes the next piece. UTF-8, lone surrogates as ?."""
        with self._open(name) as write:
            digest, size = hashlib.sha256(), 0

            def take(piece: str) -> None:
                nonlocal size
                data = piece.encode("utf-8", "replace")
                digest.update(data)
                size += len(data)
                write(data)

            yield take
        self._entries[name] = Entry(size=size, sha256=digest.hexdigest())

    def add(self, name: str, data: bytes) -> None:
        """Write a file at once."""
        with self._open(name) as write:
            write(data)
        self._entries[name] = Entry(size=len(data), sha256=hashlib.sha256(data).hexdigest())

    def finish(self) -> None:
        """Write the manifest of all files so far."""
        with self._open(NAME) as write:
            write(manifest_of(self._entries))


class InMemory:
    """Files as they come, by path; the order is that in which they were ended."""

    def __init__(self) -> None:
        """Begin with none."""
        self.files: dict[str, bytes] = {}

    @contextmanager
    def open(self, name: str) -> Iterator[Write]:
        """Begin a file."""
        data = BytesIO()
        yield data.write
        self.files[name] = data.getvalue()
