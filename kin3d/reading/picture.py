"""What a picture's file says of itself: size as shown, focal length, hash. Pillow is imported where it is used."""

from __future__ import annotations

import hashlib
import io
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from kin3d.reading.text import FindingLog
from kin3d.writing.files import read_file

_TURNED = (5, 6, 7, 8)  # EXIF orientations that exchange width and height (CIPA DC-008, tag 0x0112)
_ORIENTATION, _EXIF = 0x0112, 0x8769
MOST_BYTES = 256_000_000
_FOCAL, _FOCAL_35 = 0x920A, 0xA405
FULL_FRAME_MM = (36.0, 24.0)  # what "focal length in 35 mm film" refers to


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture's file.

    Attributes
    ----------
    size_px : (int, int)
        Width and height as shown, after the EXIF orientation.
    focal_px : float or None
        From EXIF; None where it does not say enough.
    focal_mm : float or None
        The lens's own, from EXIF.
    sha256 : str
    orientation : int
        EXIF orientation, 1 where there is none.
    """

    size_px: tuple[int, int]
    focal_px: float | None
    focal_mm: float | None
    sha256: str
    orientation: int = 1


def read_picture(path: Path, where: str, log: FindingLog) -> Picture | None:
    """Open a picture, or say in one sentence why it is none."""
    try:
        data = read_file(path, MOST_BYTES)
    except OSError as err:
        beside = sorted(p.name for p in path.parent.iterdir() if p.is_file()) if path.parent.is_dir() else []
        hint = f"; beside it there are {', '.join(beside[:6])}" if beside else "; its folder is not there either"
        text = f'"{path.name}" cannot be opened ({err.strerror or err}){hint if not path.exists() else ""}'
        log.error("picture-missing", f"{text}; give size_px in place of file where the picture is not at hand", where)
        return None
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data)) as image:
                width, height = image.size
                exif = image.getexif()
                inner: dict[int, Any] = dict(exif.get_ifd(_EXIF))
                orientation = int(exif.get(_ORIENTATION, 1) or 1)
                image.draft("L", (64, 64))
                image.load()
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombError) as err:
        reason = "it is cut short or damaged" if "truncated" in str(err) else "it is none, or of a kind not known"
        log.error("picture-kind", f'"{path.name}" cannot be read as a picture: {reason}; save it as JPEG or PNG', where)
        return None
    size = (height, width) if orientation in _TURNED else (width, height)
    focal_mm, wide = _number(inner.get(_FOCAL)), _number(inner.get(_FOCAL_35))
    diagonal = (size[0] ** 2 + size[1] ** 2) ** 0.5
    full = (FULL_FRAME_MM[0] ** 2 + FULL_FRAME_MM[1] ** 2) ** 0.5
    focal_px = wide / full * diagonal if wide else None
    return Picture(size, focal_px, focal_mm, hashlib.sha256(data).hexdigest(), orientation)


def _number(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if 0.0 < number < 1e5 else None
