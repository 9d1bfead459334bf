"""Where results go: the one way in which a file is written, and what is refused before the work begins."""

from __future__ import annotations

from pathlib import Path

from kin3d.errors import Finding, RequestError

PICTURES = (".png", ".svg", ".pdf")
TABLES = (".csv", ".json", ".nc")


def check_place(path: Path, endings: tuple[str, ...], option: str) -> None:
    """Refuse a path whose ending is none of those known, or whose folder is not there.

    Raises
    ------
    RequestError
        With the option's name, what was found and what is expected.
    """
    if path.suffix.lower() not in endings:
        text = f'{option} ending "{path.suffix}" is not known; expected one of {", ".join(endings)}'
        raise RequestError(Finding("ending-unknown", text, str(path)))
    if not path.parent.is_dir():
        text = f"the folder {path.parent} is not there; make it first"
        raise RequestError(Finding("folder-missing", text, str(path)))


def write_file(path: Path, content: str | bytes) -> None:
    """Write a whole file.

    Raises
    ------
    RequestError
        When the place cannot be written to.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        path.write_bytes(data)
    except OSError as error:
        raise RequestError(Finding("not-written", f"cannot be written: {error.strerror or error}", str(path))) from None
