"""Which kind of file it is that is neither a table nor a drawing, and what to do with it."""

from __future__ import annotations

import re
import struct
from pathlib import Path

_SAVE = "save it as DXF in the program that wrote it"
_TRACE = (
    "a scanned sheet is read by marks in a picture of each view: kin3d locate, with drawing = true in [[photos]] "
    "(see kin3d guide photographs)"
)
STARTS: tuple[tuple[bytes, str], ...] = (
    (b"%PDF", f"a PDF file: export the drawing as DXF in the program that drew it; {_TRACE}, from a picture of it"),
    (b"\x89PNG\r\n\x1a\n", f"a picture (PNG): {_TRACE}"),
    (b"\xff\xd8\xff", f"a picture (JPEG): {_TRACE}"),
    (b"II*\x00", f"a picture (TIFF): {_TRACE}"),
    (b"MM\x00*", f"a picture (TIFF): {_TRACE}"),
    (b"\x1f\x8b", "a file packed by gzip: unpack it and give the DXF file in it"),
    (
        b"PK\x03\x04",
        "a ZIP file or a workbook: unpack it and give what is in it; save a workbook's sheet as CSV (UTF-8)",
    ),
    (b"\xd0\xcf\x11\xe0", "an old office file or a native CAD file: export a drawing as DXF, a table as CSV"),
    (b"ISO-10303-21", "a STEP file: open it in a CAD program and export its points, or its drawing, as DXF"),
    (b"\xff\xfe", "UTF-16 text; save it as UTF-8 or plain ASCII"),
    (b"\xfe\xff", "UTF-16 text; save it as UTF-8 or plain ASCII"),
)
_IGES = re.compile(rb"[^\r\n]{72}S {0,6}\d{1,7}\r?\n")
_TABLE = re.compile(r"^\s*\W?point\W?\s*[,;\t]|^[^\r\n]*[,;\t]\s*\W?[xX]\W?\s*[,;\t]\s*\W?[yY]", re.IGNORECASE)


def other_kind(raw: bytes) -> str | None:
    """Return what a file is that is no DXF drawing, with the way out; None where it may be one."""
    for start, said in STARTS:
        if raw.startswith(start):
            return said
    if re.match(rb"AC10[0-9]{2}", raw):
        return f"a DWG file: {_SAVE}, or convert it with any CAD program that opens it"
    if raw[:400].count(b"\x00") > 100 and b"S\x00E\x00C\x00T" in raw[:4000]:
        return "UTF-16 text; save it as UTF-8 or plain ASCII"
    return _mesh_or_text(raw)


def way_out(path: Path) -> str:
    """Return what a file is by how it begins and the way out, as the end of a sentence; empty where unknown."""
    try:
        with path.open("rb") as file:
            found = other_kind(file.read(4096))
    except (OSError, ValueError):  # a name with a null character is no name of a file
        return ""
    return "" if found is None else f"; it is {found}"


def _mesh_or_text(raw: bytes) -> str | None:
    head = raw[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    if re.match(rb"(<\?xml[^>]*>\s*)?(<!--.*?-->\s*)?(<!DOCTYPE svg[^>]*>\s*)?<svg[\s>]", head, re.DOTALL):
        return f"an SVG picture: {_SAVE}; {_TRACE}, from a picture of it (PNG)"
    if _IGES.match(raw):
        return "an IGES file: open it in a CAD program and export its points, or its drawing, as DXF"
    if head.startswith(b"solid") and b"facet" in head:
        return _stl()
    if len(raw) >= 84 and len(raw) == 84 + 50 * int(struct.unpack("<I", raw[80:84])[0]):
        return _stl()
    if b"SECTION" not in raw and _TABLE.match(head.decode("utf-8", "replace")):
        return 'a table of text (CSV): a point table goes straight into the car file, points = "front.csv"'
    return None


def _stl() -> str:
    return "an STL mesh: it has no named points; export a drawing as DXF, or give it as .stl with --near (its bores)"
