"""Opens a DXF file: the strict door by default, the repairing one if asked; a cut file never passes in silence.

ezdxf's strict reader takes ASCII and binary files and stops at the first fault of structure. Its recovering
reader takes ASCII files only, mends what it can, and may come back with an empty drawing and no word about it;
so the entities of the raw file are counted here and compared.
"""

from __future__ import annotations

import gc
import io
import logging
import re
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from kin3d.errors import ReadingError
from kin3d.reading.kinds import other_kind
from kin3d.reading.text import FindingLog
from kin3d.writing.files import read_file

if TYPE_CHECKING:
    from ezdxf.document import Drawing

BINARY = b"AutoCAD Binary DXF\r\n\x1a\x00"
MAX_BYTES = 300_000_000
MOST_REPAIRS = 50  # repairs that are named one by one


def faults() -> tuple[type[BaseException], ...]:
    """Return what the library may raise: a damaged file can make it stumble anywhere."""
    from ezdxf.lldxf.const import DXFError

    return (
        DXFError, ValueError, TypeError, LookupError, AttributeError, ArithmeticError, RuntimeError, AssertionError,
        OSError, EOFError, struct.error, MemoryError,
    )  # fmt: skip


@contextmanager
def uncollected() -> Iterator[None]:
    """Hold the search for garbage: what is made while a drawing is read is kept, and looking through it costs much."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


_COUNTED = re.compile(rb"^[ \t]*0[ \t]*\r?\n[ \t]*(POINT|CIRCLE|LINE|INSERT|TEXT|MTEXT|ARC)[ \t]*\r?$", re.MULTILINE)
_END = re.compile(rb"(^|\n)[ \t]*0[ \t]*\r?\n[ \t]*EOF[ \t]*\r?\n?[\s\x1a]*$")


def open_drawing(path: Path, log: FindingLog, repair: bool = False) -> tuple[Drawing, int | None]:
    """Open a DXF file of R12 to R2018, ASCII or binary; return it and the header's $INSUNITS where it says anything.

    With `repair` ezdxf's recovering reader mends a file that the strict one refuses; what it mends becomes warnings.

    Raises
    ------
    ReadingError
        The file cannot be opened, is no DXF file, is cut short, or is damaged and `repair` is not asked for.
    """
    raw, doc = _bytes(path, log), None
    if not log.failed:
        _check_end(raw, log, repair)
    if not log.failed:
        with _Listener(log):
            doc = _recovered(raw, log) if repair and not raw.startswith(BINARY) else _strict(raw, log)
    if doc is not None and not log.failed:
        _check_count(raw, doc, log)
    if doc is None or log.failed:
        raise ReadingError(log.findings)
    return doc, _unit_code(raw, doc)


class _Listener(logging.Handler):
    """Turns what ezdxf only writes to its log ("recovered invalid value …") into warnings."""

    def __init__(self, log: FindingLog) -> None:
        super().__init__(logging.WARNING)
        self.log = log
        self.logger = logging.getLogger("ezdxf")

    def __enter__(self) -> None:
        self.passed_on, self.logger.propagate = self.logger.propagate, False
        self.logger.addHandler(self)

    def __exit__(self, *_: object) -> None:
        self.logger.removeHandler(self)
        self.logger.propagate = self.passed_on

    def emit(self, record: logging.LogRecord) -> None:
        """Keep the first messages; a badly damaged file has thousands."""
        if len(self.log.findings) < MOST_REPAIRS:
            self.log.warn("file-repaired", " ".join(record.getMessage().split())[:200])


def _bytes(path: Path, log: FindingLog) -> bytes:
    raw = b""
    try:
        if (size := path.stat().st_size) > MAX_BYTES:
            most = f"more than {MAX_BYTES // 10**6}; write out the linkage alone"
            log.error("file-size", f"has {size / 1e6:.0f} MB, {most}")
            return raw
        raw = read_file(path, MAX_BYTES)
    except OSError as err:
        log.error("file-missing", f"cannot be opened: {err.strerror or err}")
        return raw
    if not raw.strip():
        log.error("file-empty", "is empty; a DXF drawing is expected")
    elif (other := other_kind(raw)) is not None:
        log.error("file-kind", f"is no DXF file but {other}")
    elif not raw.startswith(BINARY) and b"SECTION" not in raw:
        log.error("file-kind", "has no SECTION, so it is no DXF file; export the drawing as DXF")
    return raw


def _check_end(raw: bytes, log: FindingLog, repair: bool) -> None:
    whole = b"EOF" in raw[-16:] if raw.startswith(BINARY) else _END.search(raw[-400:]) is not None
    if whole:
        return
    text = "ends without EOF: the file is cut short (truncated) and entities may be missing from it"
    if repair:
        log.warn("file-truncated", f"{text}; what is left of it was read")
    else:
        log.error("file-truncated", f"{text}; export it again, or ask for repair to read what is left")


def _strict(raw: bytes, log: FindingLog) -> Drawing | None:
    from ezdxf.filemanagement import read

    try:
        if raw.startswith(BINARY):
            from ezdxf.document import Drawing as Document
            from ezdxf.lldxf.tagger import binary_tags_loader

            return Document.load(binary_tags_loader(raw))
        return read(io.StringIO(raw.decode(_encoding(raw), errors="surrogateescape"), newline=None))
    except faults() as err:
        text = f"is not a sound DXF file: {_one_line(err)}; export it again, or ask for repair to read what is left"
        log.error("file-damaged", text)
    return None


def _recovered(raw: bytes, log: FindingLog) -> Drawing | None:
    from ezdxf import recover

    try:
        if not _END.search(raw[-400:]):  # back to the last whole entity
            starts = [m.start() for m in re.finditer(rb"(?m)^[ \t]*0[ \t]*\r?$", raw)]
            raw = raw[: starts[-1] if starts else None] + b"  0\nENDSEC\n  0\nEOF\n"
        doc, auditor = recover.read(io.BytesIO(raw))
    except faults() as err:
        log.error("file-damaged", f"cannot be repaired: {_one_line(err)}; export it again")
        return None
    for entry in [*auditor.errors, *auditor.fixes][:MOST_REPAIRS]:
        log.warn("file-repaired", f"repaired: {entry.message}")
    return doc


def _one_line(err: BaseException) -> str:
    return " ".join(str(err).split())[:200] or type(err).__name__


def _encoding(raw: bytes) -> str:
    """Return UTF-8 where the bytes are UTF-8 (many writers use it in old versions too), else the header's code page."""
    from ezdxf.tools.codepage import toencoding

    try:
        raw.decode("utf-8")
    except UnicodeDecodeError:
        version = re.search(rb"\$ACADVER\s+1\s+AC(\d{4})", raw[:20_000])
        page = re.search(rb"\$DWGCODEPAGE\s+3\s+(\S+)", raw[:20_000])
        if version is None or int(version.group(1)) < 1021:  # before R2007
            return toencoding(page.group(1).decode("ascii", "replace")) if page else "cp1252"
    return "utf-8-sig"


def _check_count(raw: bytes, doc: Drawing, log: FindingLog) -> None:
    """Compare the entities of the raw file with those that were read: a reader that gives up must not pass."""
    found = len(_COUNTED.findall(raw)) if not raw.startswith(BINARY) else 0
    kinds = ("POINT", "CIRCLE", "LINE", "INSERT", "TEXT", "MTEXT", "ARC")
    read = sum(1 for e in doc.entitydb.values() if e.dxftype() in kinds)
    if found and read == 0:
        log.error("file-damaged", f"names {found} entities but none could be read; export it again")
    elif found > read:
        log.warn("entities-lost", f"names {found} points, lines, circles, texts and blocks; {read} could be read")


def _unit_code(raw: bytes, doc: Drawing) -> int | None:
    """Return $INSUNITS, or None where the file does not say: absent is not ezdxf's default, and 0 says nothing."""
    if b"$INSUNITS" not in raw:
        return None
    try:
        code = int(doc.header.get("$INSUNITS", 0))
    except (ValueError, TypeError):
        return None
    return code or None
