"""Open a DXF file: its bytes become a document, or a message that a draughtsman can act on.

The only place where the library that reads DXF may fail: whatever it raises or logs comes out as
`InputError` or as a `Notice`. A sound file is read straight; a broken one is mended first, and
every mend is told. Format facts: the open DXF reference.
"""

import gc
import io
import itertools
import logging
import re
import struct
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from checker.errors import InputError, Problem, Where
from checker.model.drawing import Notice
from checker.read.dxf_text import clean
from checker.read.files import Source

if TYPE_CHECKING:
    from ezdxf.audit import Auditor, ErrorEntry
    from ezdxf.document import Drawing as Document

    from checker.read.dxf_sieve import Sieved

BINARY_MARK: Final = b"AutoCAD Binary DXF\r\n\x1a\x00"
"""The signature that the format prescribes for its binary form."""
MAX_TOLD = 50
"""So many mends are told one by one; the rest are counted."""

_SECTION = re.compile(rb"(?:^|[\r\n])[ \t]*0[ \t]*\r?\n?[ \t]*SECTION[ \t]*[\r\n]")
_SECTION_NAME = re.compile(
    rb"(?:^|[\r\n])[ \t]*0[ \t]*(?:\r\n?|\n)[ \t]*"
    rb"(?:(ENDSEC)|SECTION[ \t]*(?:\r\n?|\n)[ \t]*2[ \t]*"
    rb"(?:\r\n?|\n)[ \t]*(\w+))(?=[ \t]*[\r\n])"
)
_FRAGMENT = re.compile(rb"(?:^|[\r\n])[ \t]*0[ \t]*(?:\r\n?|\n)[ \t]*[A-Z][A-Z0-9]{2,}[ \t]*[\r\n]")
_END = re.compile(rb"[\r\n][ \t]*0[ \t]*(?:\r\n?|\n)[ \t]*EOF[ \t]*(?:[\r\n\x1a]|$)")
_DWG = re.compile(rb"AC(?:10\d\d|1\.\d|2\.\d)")
_ENTITY = re.compile(
    rb"[\r\n][ \t]*0[ \t]*(?:\r\n?|\n)[ \t]*((?:3D)?[A-Z_][A-Z0-9_]*)(?=[ \t]*[\r\n])",
    re.IGNORECASE,
)
_NEWER_KINDS = re.compile(rb"[\r\n][ \t]*(?:LWPOLYLINE|MTEXT|SPLINE|ELLIPSE)[ \t]*[\r\n]")
_MARKERS = re.compile(rb"[\r\n][ \t]*100[ \t]*(?:\r\n?|\n)[ \t]*AcDb\w+")
_ZERO_ABOVE = re.compile(rb"(?:^|[\r\n])[ \t]*0[ \t]*(?:\r\n?|\n)[ \t]*\Z")
_LONGEST_MARK: Final = 64
"""How many bytes stand between a section's name and the line above its group code, at most."""
_SAMPLE: Final = 1 << 20
"""So many bytes of a large drawing tell what it consists of."""
_ASSUMED = "AC1015"
_PARTS = frozenset((b"VERTEX", b"ATTRIB", b"SEQEND", b"SECTION", b"ENDSEC"))
# What a broken or hostile file makes the library raise; seen on some five hundred open drawings.
LIBRARY_FAULTS: Final = (
    ArithmeticError,
    AssertionError,
    AttributeError,
    EOFError,
    LookupError,
    OSError,
    RecursionError,
    RuntimeError,
    StopIteration,
    TypeError,
    ValueError,
    struct.error,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """A document and what the file says of itself.

    version: the format's version name, "" where the file names none. insunits: the code of its
    unit variable, None where the variable is not in the file. written: how many entities its
    ENTITIES section holds by a plain count, None for a binary file. mended: True where the file
    had to be mended before it could be read. sieved: entities that the document lacks because they
    were read on the quick way.
    """

    document: "Document"
    version: str
    insunits: int | None
    written: int | None
    mended: bool
    notices: tuple[Notice, ...]
    sieved: "Sieved | None" = None


def open_document(source: Source, *, quick: bool = True) -> Opened:
    """Open a drawing.

    quick: plain entities of large drawings may come aside from the document.
    Raises InputError: drawing-empty, not-a-drawing (another kind of file), drawing-truncated,
    drawing-damaged.
    """
    data = source.data
    _refuse_other_kinds(source)
    notices: list[Notice] = []
    where = Where(file=source.path)
    with _quiet() as log:
        sieved = None
        if data.startswith(BINARY_MARK):
            document, version, auditor, written = _open_binary(source)
        else:
            document, version, auditor, written, sieved = _open_text(source, notices, quick=quick)
    notices += _told_mends(auditor, [entry for entry in log if entry], where)
    return Opened(
        document=document,
        version=version,
        insunits=_insunits(data, document),
        written=written,
        mended=auditor is not None,
        notices=tuple(notices),
        sieved=sieved,
    )


def library_faults() -> tuple[type[Exception], ...]:
    """Return what the library may raise when it is asked about a broken entity."""
    from ezdxf.lldxf.const import DXFError

    return (*LIBRARY_FAULTS, DXFError)


def _refuse_other_kinds(source: Source) -> None:
    data = source.data
    head = data[:64].lstrip(b"\xef\xbb\xbf \t\r\n")
    if not data.strip(b"\x00 \t\r\n\x1a"):
        raise _refused(source, "drawing-empty", "the file is empty", "export the drawing again")
    if data.startswith(BINARY_MARK):
        return
    for mark, kind, remedy in (
        (b"AutoCAD Binary DXF", "a binary DXF whose first bytes were changed on the way",
         "send it again as a binary attachment or zipped, or export it as text (ASCII) DXF"),
        (b"PK\x03\x04", "a zip archive", "unpack it and name the DXF file inside"),
        (b"%PDF", "a PDF sheet", "ask for the drawing itself, saved as DXF"),
        (b"<", "a web page or XML file", "download the drawing itself, saved as DXF"),
        (b"\x89PNG", "a picture", "ask for the drawing itself, saved as DXF"),
        (b"\xff\xd8\xff", "a picture", "ask for the drawing itself, saved as DXF"),
    ):  # fmt: skip
        if head.startswith(mark):
            raise _refused(source, "not-a-drawing", f"this is {kind}, not a DXF drawing", remedy)
    if _DWG.match(head):
        raise _refused(
            source,
            "not-a-drawing",
            f'this is a DWG file (it begins with "{head[:6].decode("ascii", "replace")}"), '
            "not a DXF drawing, whatever its name says",
            "open it where it was drawn and save it as DXF, any version from R12 on",
        )
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return
    if not _SECTION.search(data):
        if _FRAGMENT.search(data[:4096]):
            raise _refused(
                source,
                "drawing-fragment",
                'this is a piece of a DXF file: entities, but no section ("0", "SECTION") around '
                "them",
                "export the whole drawing again",
            )
        shown = clean(data[:40].decode("utf-8", "replace")).strip()
        raise _refused(
            source,
            "not-a-drawing",
            f'this is not a DXF drawing: it begins with "{shown}", and no section of a drawing '
            "is in it",
            "name the DXF file; a point list belongs under points, not drawing",
        )


def _open_binary(source: Source) -> "tuple[Document, str, Auditor | None, int | None]":
    from ezdxf.document import Drawing as Document
    from ezdxf.lldxf.tagger import binary_tags_loader

    def load() -> Document:
        return Document.load(binary_tags_loader(source.data, errors="surrogateescape"))

    try:
        document = load()
    except Exception as fault:  # only the library runs here, and it may raise anything
        tail = source.data[-64:]
        if b"\x00EOF\x00" not in tail:
            raise _refused(
                source,
                "drawing-truncated",
                "the binary DXF file breaks off before its end mark",
                "copy or download it again; if it stays so, export it again",
            ) from fault
        raise _damaged(source, fault) from fault
    version = str(document.loaded_dxfversion) if b"$ACADVER\x00" in source.data[:4096] else ""
    return document, version, None, None


def _open_text(
    source: Source, notices: list[Notice], *, quick: bool
) -> "tuple[Document, str, Auditor | None, int | None, Sieved | None]":
    import ezdxf.filemanagement

    where = Where(file=source.path)
    data = _one_byte_order(source.data, source)
    version = _variable(data, b"$ACADVER")
    data = _whole(data, source, notices)
    text = _decoded(data, version, where, notices)
    sections = _entity_sections(data)
    tries = [text]
    if (not version or version <= "AC1009") and _MARKERS.search(data) and _NEWER_KINDS.search(data):
        # The library takes a file without a version for the oldest one and then drops the closed
        # flag, the layer and more from entities that the oldest version does not know.
        tries.insert(0, _with_version(text))
    fault: Exception | None = None
    if len(sections) > 1:
        # Read straight, only the last of them would be kept; mending joins them.
        tries = []
        fault = ValueError(f"{len(sections)} ENTITIES sections where a drawing has one")
    elif quick and sections and tries == [text]:
        found = _open_quickly(text, version, _names(data, sections[0], _SAMPLE))
        if found is not None:
            document, sieved = found
            written = len(sieved) + sieved.others.total()
            return document, version, None, written, sieved
    written = sum(_names(data, span).total() for span in sections)
    for attempt in tries:
        try:
            document = ezdxf.filemanagement.read(io.StringIO(attempt))
        except Exception as error:  # noqa: BLE001 - only the library runs here
            fault = error
            continue
        lost = written - _found(document)
        if lost > 0:
            # Read straight a broken layout may lose what mending finds; then mending knows better.
            fault = ValueError(f"{lost} entities belong to no layout")
            mended = _mended_if_more(data, document)
            if mended is not None:
                document, auditor = mended
                _tell_mended(source, fault, notices)
                return document, version, auditor, written, None
        if attempt is not text:
            notices.append(
                Notice(
                    slug="version-assumed",
                    where=where,
                    message=(
                        f"the file says version {version}"
                        if version
                        else "the file names no version"
                    )
                    + f" but holds entities of a later one; it was read as {_ASSUMED}",
                )
            )
        return document, version, None, written, None
    document, auditor = _mended(data, source, fault)
    _tell_mended(source, fault, notices)
    return document, version, auditor, written, None


def _tell_mended(source: Source, fault: Exception | None, notices: list[Notice]) -> None:
    notices.append(
        Notice(
            slug="drawing-mended",
            where=Where(file=source.path),
            message="the file breaks the rules of its format "
            f"({_said(fault)}) and was mended before it was read; what was mended is told below. "
            "Compare the counts with the drawing on the draughtsman's screen",
        )
    )


def _found(document: "Document") -> int:
    """Return how many entities of its ENTITIES section a document holds."""
    try:
        return len(document.modelspace()) + len(document.layouts.active_layout())
    except library_faults():
        return 0


def _mended_if_more(data: bytes, document: "Document") -> "tuple[Document, Auditor] | None":
    import ezdxf.recover

    try:
        mended, auditor = ezdxf.recover.read(io.BytesIO(data))
    except Exception:  # noqa: BLE001 - only the library runs here, and there is a document already
        return None
    return (mended, auditor) if _found(mended) > _found(document) else None


def _open_quickly(text: str, version: str, names: Counter[str]) -> "tuple[Document, Sieved] | None":
    """Return the document without its plain entities, and these; None where that does not pay.

    names: of the drawing's first entities.
    """
    import ezdxf.filemanagement

    from checker.read.dxf_sieve import sieve, worth_it

    sieved = sieve(text, marked=version > "AC1009") if worth_it(names) else None
    if sieved is None:
        return None
    try:
        document = ezdxf.filemanagement.read(io.StringIO(sieved.rest))
        paper = document.block_records.get("*Paper_Space").dxf.handle
    except Exception:  # noqa: BLE001 - only the library runs here; the long way tells what is wrong
        return None
    sieved.rest = ""
    lost = sieved.others.total() - _found(document)
    return None if lost > 0 or paper in sieved.owners else (document, sieved)


def _mended(data: bytes, source: Source, fault: Exception | None) -> "tuple[Document, Auditor]":
    import ezdxf.recover

    try:
        return ezdxf.recover.read(io.BytesIO(data))
    except Exception as error:
        raise _damaged(source, fault or error) from error


@contextmanager
def no_garbage() -> Iterator[None]:
    """Do not look for garbage meanwhile: a document is made of much that lives, and of none yet."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


@contextmanager
def _quiet() -> Iterator[list[str]]:
    """Catch what the library logs, so that only cli speaks to the terminal."""
    log: list[str] = []

    class Keep(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            log.append(clean(record.getMessage()))

    logger = logging.getLogger("ezdxf")
    handler, propagate = Keep(level=logging.WARNING), logger.propagate
    logger.addHandler(handler)
    logger.propagate = False
    try:
        yield log
    finally:
        logger.removeHandler(handler)
        logger.propagate = propagate


def _one_byte_order(data: bytes, source: Source) -> bytes:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            data = data.decode("utf-16").encode()
        except UnicodeDecodeError as fault:
            raise _damaged(source, fault) from fault
    return data.removeprefix(b"\xef\xbb\xbf")


def _whole(data: bytes, source: Source, notices: list[Notice]) -> bytes:
    """Return the data with its end mark; refuse a file that breaks off within its entities."""
    if _END.search(data, max(0, len(data) - 4096)) or _END.search(data):
        return data
    inside, begin, entities_done = "", 0, False
    for found in _SECTION_NAME.finditer(data):
        if found[1]:
            entities_done = entities_done or inside == "ENTITIES"
            inside = ""
        else:
            inside, begin = found[2].decode("ascii", "replace").upper(), found.start()
    if inside and not entities_done:
        raise _refused(
            source,
            "drawing-truncated",
            f"the file breaks off inside its {inside} section: the end of that section and the "
            "end mark of the file are missing, so entities may be lost",
            "copy or download it again; if it stays so, export it again",
        )
    message = "the file lacks its end mark"
    if inside:
        message += f" and breaks off inside its {inside} section, after all its entities"
        # Half of OBJECTS is worse than none: a layout without its half would lose its entities.
        whole = data.rstrip(b"\r\n") + b"\n  0\nENDSEC"
        data = data[:begin] if inside == "OBJECTS" else whole
    notices.append(
        Notice(slug="missing-end", where=Where(file=source.path), message=message + "; it was read")
    )
    return data.rstrip(b"\r\n") + b"\n  0\nEOF\n"


def _decoded(data: bytes, version: str, where: Where, notices: list[Notice]) -> str:
    from ezdxf.tools.codepage import toencoding

    declared = _variable(data, b"$DWGCODEPAGE")
    encoding = "utf-8" if version >= "AC1021" else toencoding(declared or "ANSI_1252")
    if not data.isascii():
        try:
            text = data.decode("utf-8")
        except UnicodeDecodeError:
            text = ""
        if text and encoding != "utf-8" and not _double_byte(encoding):
            # Text that happens to be sound UTF-8 is UTF-8: chance does not make it so.
            notices.append(
                Notice(
                    slug="encoding",
                    where=where,
                    message=f"the file declares {declared or 'no code page'} but is written in "
                    "UTF-8, and was read so",
                )
            )
            encoding = "utf-8"
        elif not text and encoding == "utf-8":
            encoding = toencoding(declared or "ANSI_1252")
            notices.append(
                Notice(
                    slug="encoding",
                    where=where,
                    message=f"version {version} should be UTF-8 but is not; it was read as "
                    f"{encoding}. Check names and labels with letters beyond A to Z",
                )
            )
    text = data.decode(encoding, "replace")
    if "\ufffd" in text and not data.isascii():
        notices.append(
            Notice(
                slug="encoding",
                where=where,
                message=f'some characters mean nothing in {encoding} and show as "\ufffd"; '
                "a layer or label with one may not be found by its name",
            )
        )
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _double_byte(encoding: str) -> bool:
    return encoding in {"cp932", "gbk", "cp949", "cp950", "gb2312", "johab", "big5"}


def _variable(data: bytes, name: bytes) -> str:
    """Return the text of a header variable, "" where the file has none."""
    at = data.find(name)
    if at < 0:
        return ""
    found = re.compile(
        rb"[\r\n][ \t]*9[ \t]*(?:\r\n?|\n)[ \t]*" + re.escape(name) + rb"[ \t]*(?:\r\n?|\n)"
        rb"[ \t]*\d+[ \t]*(?:\r\n?|\n)[ \t]*([^\r\n]*)"
    ).search(data, max(at - _LONGEST_MARK, 0))
    return clean(found[1].decode("ascii", "replace")).strip() if found else ""


def _with_version(text: str) -> str:
    variable = f"  9\n$ACADVER\n  1\n{_ASSUMED}\n"
    stated = re.compile(r"^[ \t]*9[ \t]*\n[ \t]*\$ACADVER[ \t]*\n[^\n]*\n[^\n]*\n", re.MULTILINE)
    if stated.search(text):
        return stated.sub(variable, text, count=1)
    header = re.compile(
        r"^[ \t]*0[ \t]*\nSECTION[ \t]*\n[ \t]*2[ \t]*\nHEADER[ \t]*\n", re.MULTILINE
    )
    found = header.search(text)
    if found:
        return text[: found.end()] + variable + text[found.end() :]
    return f"  0\nSECTION\n  2\nHEADER\n{variable}  0\nENDSEC\n{text}"


def _entity_sections(data: bytes) -> list[tuple[int, int]]:
    """Return where the content of the ENTITIES sections begins and ends."""
    marks = [(found.start(), found.end(), found[2]) for found in _section_names(data)]
    marks.append((len(data), len(data), None))
    return [
        (begin, following[0])
        for (_, begin, name), following in itertools.pairwise(marks)
        if name is not None and name.upper() == b"ENTITIES"
    ]


def _section_names(data: bytes) -> list[re.Match[bytes]]:
    """Return where sections begin and end, in order.

    As `_SECTION_NAME` finds them, which alone takes long to find its way through a large file.
    """
    found = []
    for word in (b"SECTION", b"ENDSEC"):
        at = data.find(word)
        while at >= 0:
            begin = max(at - _LONGEST_MARK, 0)
            zero = _ZERO_ABOVE.search(data, begin, at)
            match = _SECTION_NAME.match(data, zero.start()) if zero else None
            if match:
                found.append(match)
            at = data.find(word, at + 1)
    return sorted(found, key=lambda match: match.start())


def _names(data: bytes, span: tuple[int, int], most: int | None = None) -> Counter[str]:
    """Return which entities stand in a section, by a plain count.

    most: how many bytes of it are looked at; None: all.
    """
    begin, end = span
    if most is not None:
        end = min(end, begin + most)
    names = Counter[str]()
    for name, count in Counter[bytes](_ENTITY.findall(data, begin, end)).items():
        if name.upper() not in _PARTS:
            names[name.decode("ascii").upper()] += count
    return names


def _insunits(data: bytes, document: "Document") -> int | None:
    if data.startswith(BINARY_MARK):
        if b"$INSUNITS\x00" not in data:
            return None
    elif not _variable(_plain_bytes(data), b"$INSUNITS"):
        return None
    try:
        return int(document.header.get("$INSUNITS", 0))
    except library_faults():
        return None


def _plain_bytes(data: bytes) -> bytes:
    return data.replace(b"\x00", b"") if data.startswith((b"\xff\xfe", b"\xfe\xff")) else data


def _told_mends(auditor: "Auditor | None", log: list[str], where: Where) -> list[Notice]:
    # What touches an entity comes before what only touches the file's own tables.
    entries = [*auditor.errors, *auditor.fixes] if auditor else []
    mends = sorted(
        (_mend(entry, where.file) for entry in entries),
        key=lambda notice: not (notice.where.part or "").startswith("layer"),
    )
    told = [Notice(slug="mended", where=where, message=line) for line in log] + mends
    told = list(dict.fromkeys(told))
    if len(told) > MAX_TOLD:
        more = Notice(
            slug="mended",
            where=where,
            message=f"{len(told) - MAX_TOLD} more mends of this kind are not told one by one",
        )
        told = [*told[:MAX_TOLD], more]
    return told


def _mend(entry: "ErrorEntry", file: str) -> Notice:
    part = None
    entity = entry.entity
    if entity is not None and entity.is_alive:
        part = f"{entity.dxftype()} handle {entity.dxf.get('handle')}"
        if entity.dxf.is_supported("layer"):
            part = f"layer {clean(str(entity.dxf.get('layer', '0')))}, {part}"
    return Notice(
        slug="mended", where=Where(file=file, part=part), message=clean(str(entry.message)).strip()
    )


def _said(fault: Exception | None) -> str:
    """Return the library's complaint as one short line that quotes the file."""
    text = clean(str(fault)).strip() if fault is not None else ""
    text = re.sub(r"^DXFStructureError:\s*", "", text)
    return (text[:160] or "its structure cannot be followed").rstrip(".")


def _damaged(source: Source, fault: Exception) -> InputError:
    return _refused(
        source,
        "drawing-damaged",
        f"the drawing cannot be read, even after mending: {_said(fault)}",
        "open it where it was drawn, run that program's check for faults, and export it again",
    )


def _refused(source: Source, slug: str, message: str, hint: str) -> InputError:
    return InputError(
        [Problem(slug=slug, where=Where(file=source.path), message=message, hint=hint)]
    )
