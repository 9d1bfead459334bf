"""Where results go: the one way in which a file is written, and what is refused before the work begins.

A result never destroys. A file that this run has read is never written onto. What stands at the place already is
replaced without a word only when it is plainly an earlier result: it carries the program's mark, or the header of a
result table. Every file is written beside its place and moved there whole, so that a full disk or a stop leaves the
older one as it was.
"""

from __future__ import annotations

import contextlib
import errno
import os
import re
import stat
from collections.abc import Iterator
from contextvars import ContextVar
from pathlib import Path

from kin3d.errors import Finding, RequestError

PICTURES = (".png", ".svg", ".pdf")
TABLES = (".csv", ".json", ".nc")
MARK = "Written by kin3d"  # in the head, metadata or header of every file that is not a plain result table
_SUM = re.compile(rf"\A(?:\ufeff)?# {MARK}, sum ([0-9a-f]{{16}})\r?\n")
_INPUT = "is read by this same run and would be lost; give another name"
_LOOK = 65_536  # bytes of an older file that are searched for the mark, at its head and at its end
_RESULT_COLUMNS = frozenset(
    ("measure", "unit", "status", "element", "wheel", "quantity", "value", "axial_n", "layout", "moves_mm")
)
MOST_BYTES = 64_000_000  # of a file that is read; more is no table, car or layout
_read: set[tuple[int, int]] = set()  # device and number of every file that this run has read
_own: set[tuple[int, int]] = set()  # and of every file that it has written: reading one back makes no input of it
_planned: dict[tuple[int, int], Path] = {}  # files that stand where a command is going to write
_forced: ContextVar[bool] = ContextVar("forced", default=False)


def note_read(path: Path) -> None:
    """Remember a file as read: nothing is written onto it as long as the program runs.

    Raises
    ------
    RequestError
        When a command is going to write onto it: that is said before the work.
    """
    with contextlib.suppress(OSError):
        found = path.stat()
        key = (found.st_dev, found.st_ino)
        if key not in _own:
            _read.add(key)
        if key in _planned:
            raise RequestError(Finding("place-input", _INPUT, str(_planned[key])))


def read_file(path: Path, most: int = MOST_BYTES) -> bytes:
    """The bytes of a file that is read as an input; nothing is written onto it afterwards.

    Raises
    ------
    OSError
        With a sentence in `strerror`: what cannot be opened, a device or pipe (which is not opened), more bytes than
        `most`.
    RequestError
        As `note_read`.
    """
    found = path.stat()
    if stat.S_ISDIR(found.st_mode):
        raise IsADirectoryError(errno.EISDIR, "is a folder, not a file", str(path))
    if not stat.S_ISREG(found.st_mode):
        raise OSError(errno.EINVAL, "is a device or pipe, not a file", str(path))
    if found.st_size > most:
        size = f"has {found.st_size / 1e6:,.0f} MB; up to {most / 1e6:,.0f} MB are read"
        raise OSError(errno.EFBIG, size, str(path))
    with path.open("rb") as file:
        raw = file.read(most + 1)
    note_read(path)
    return raw


@contextlib.contextmanager
def replacing(forced: bool = True) -> Iterator[None]:
    """Within it, if forced, files that are no earlier results may be replaced; files that were read may not.

    It is one run of a command: what the command has planned to write is forgotten after it.
    """
    token = _forced.set(forced)
    _planned.clear()
    try:
        yield
    finally:
        _planned.clear()
        _forced.reset(token)


def plan(path: Path) -> None:
    """Remember where a command is going to write: what it reads from there is refused at once."""
    with contextlib.suppress(OSError):
        found = path.stat()
        _planned[found.st_dev, found.st_ino] = path


def with_sum(text: str) -> str:
    """A text that people edit (a car file, a point table) with the mark and a sum over the rest as its first line.

    Once somebody has changed it, it counts as his own and is not replaced any more.
    """
    return f"# {MARK}, sum {_sum_of(text)}\n{text}"


def _sum_of(text: str) -> str:
    import hashlib  # for sums alone: most commands write nothing

    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:16]


def inert(words: str) -> str:
    """A text for a cell that no spreadsheet takes for a formula: one that begins with = + - @ gets an apostrophe.

    What is a number stays as it is.
    """
    if not words.startswith(("=", "+", "-", "@", "\t", "\r")):
        return words
    try:
        float(words)
    except ValueError:
        return f"'{words}"
    return words


def check_place(path: Path, endings: tuple[str, ...], option: str) -> None:
    """Refuse a place that a result cannot go to, before the work that makes it.

    Parameters
    ----------
    path : pathlib.Path
    endings : tuple of str
        Known endings, lower case, with their dots.
    option : str
        What the path was given as, for the message.

    Raises
    ------
    RequestError
        With what was found and what is expected: an unknown ending, a missing folder, a folder in place of a file, a
        place that may not be written to, a file that this run reads, or one that is no earlier result.
    """
    if path.suffix.lower() not in endings:
        text = f'{option} ending "{path.suffix}" is not known; expected one of {", ".join(endings)}'
        raise RequestError(Finding("ending-unknown", text, str(path)))
    _check_place(path)


def _check_place(path: Path) -> None:
    folder = path.parent
    if not folder.is_dir():
        kind = "is not a folder; name another" if folder.exists() else "is not there; make it first"
        raise RequestError(Finding("folder-missing", f"the folder {folder} {kind}", str(path)))
    try:
        found = path.stat()
    except FileNotFoundError:
        if not os.access(folder, os.W_OK):
            text = f"cannot be written: nothing may be written into {folder}"
            raise RequestError(Finding("not-written", text, str(path))) from None
        return
    except OSError as error:
        raise RequestError(Finding("not-written", f"cannot be written: {error.strerror or error}", str(path))) from None
    if stat.S_ISDIR(found.st_mode):
        raise RequestError(Finding("place-folder", "is a folder; give the name of a file in it", str(path)))
    if not stat.S_ISREG(found.st_mode):
        text = "is not a file but a device or pipe; give the name of a file"
        raise RequestError(Finding("place-device", text, str(path)))
    if (found.st_dev, found.st_ino) in _read:
        raise RequestError(Finding("place-input", _INPUT, str(path)))
    if not _forced.get() and not earlier_result(path):
        text = "is there already and is no earlier result of kin3d; give another name, or --force to replace it"
        raise RequestError(Finding("place-taken", text, str(path)))
    if not os.access(path, os.W_OK):
        raise RequestError(Finding("not-written", "cannot be written: it is protected", str(path)))


def earlier_result(path: Path) -> bool:
    """Whether a file is plainly something that the program wrote before: its mark, or a result table's header.

    An empty file counts too: there is nothing in it to lose.
    """
    try:
        with path.open("rb") as file:
            head = file.read(_LOOK)
            size = path.stat().st_size
            file.seek(max(0, size - _LOOK))
            tail = file.read(_LOOK)
    except OSError:
        return False
    if not head:
        return True
    start = head[:4096].decode("utf-8", "replace")
    summed = _SUM.match(start)
    if summed:
        whole = path.read_bytes().decode("utf-8", "replace").replace("\r\n", "\n")
        return _sum_of(whole[_SUM.match(whole).end() :]) == summed.group(1)  # type: ignore[union-attr]
    if path.suffix.lower() in (".csv", ".txt", ".tsv"):
        return _result_header(start.partition("\n")[0].rstrip("\r"))
    return MARK.encode() in head or MARK.encode() in tail


def _result_header(line: str) -> bool:
    names = line.split(",")
    plain = all(re.fullmatch(r"[a-z0-9_]+", n) for n in names)
    return plain and names[0] != "point" and bool(_RESULT_COLUMNS & set(names))


def write_file(path: Path, content: str | bytes, *, edited: bool = False) -> None:
    """Write a whole file: beside its place, then moved there.

    `edited` is for a file that a person edits in a window of ours: it is read and written again and again.

    Raises
    ------
    RequestError
        What `check_place` refuses, and when the place cannot be written to; the older file is then as it was.
    """
    with whole_file(path, edited=edited) as beside:
        beside.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)


@contextlib.contextmanager
def whole_file(path: Path, *, edited: bool = False) -> Iterator[Path]:
    """Give a path to write to that becomes `path` when all went well, for libraries that write files by themselves.

    Raises
    ------
    RequestError
        As `write_file`.
    """
    import tempfile  # where something is written

    if not edited:
        _check_place(path)
    target = Path(os.path.realpath(path))  # a link goes on pointing to the file that it points to
    mode = stat.S_IMODE(target.stat().st_mode) if target.exists() else 0o666 & ~_umask()
    beside: Path | None = None
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.stem}-", suffix=target.suffix, dir=target.parent)
        os.close(handle)
        beside = Path(name)
        yield beside
        with beside.open("rb") as file:
            os.fsync(file.fileno())
        beside.chmod(mode)
        found = beside.stat()
        beside.replace(target)
        _own.add((found.st_dev, found.st_ino))
        beside = None
    except OSError as error:
        raise RequestError(Finding("not-written", f"cannot be written: {error.strerror or error}", str(path))) from None
    finally:
        if beside is not None:
            beside.unlink(missing_ok=True)


def _umask() -> int:
    now = os.umask(0)
    os.umask(now)
    return now
