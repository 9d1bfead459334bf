"""Texts of a drawing: formatting codes taken out, and the box in which the words stand."""

from __future__ import annotations

from typing import Any

import numpy as np

from kin3d.reading.dxf.marks import Origin, Text, Vector

# Fonts are not at hand when a drawing is read: a letter is taken to be this many heights wide.
LETTER = 0.8


def read_text(entity: Any, origin: Origin) -> Text | None:
    """Return the text of a TEXT, ATTRIB or MTEXT entity; None where nothing is written."""
    if entity.dxftype() == "MTEXT":
        return _mtext(entity, origin)
    return _text(entity, origin)


def _text(entity: Any, origin: Origin) -> Text | None:
    words = entity.plain_text().strip()
    if not words:
        return None
    ocs = entity.ocs()
    height = float(entity.dxf.get("height", 1.0)) or 1.0
    halign, valign = int(entity.dxf.get("halign", 0)), int(entity.dxf.get("valign", 0))
    inserted = entity.dxf.get("align_point") if (halign or valign) else None
    anchor = entity.dxf.get("insert") if inserted is None else inserted
    angle = np.radians(float(entity.dxf.get("rotation", 0.0)))
    frame = _frame(ocs, angle)
    across = {1: 0.5, 2: 1.0, 4: 0.5}.get(halign, 0.0)
    upward = 0.5 if halign == 4 else {2: 0.5, 3: 1.0}.get(valign, 0.0)
    box = _box(words, 1, height * float(entity.dxf.get("width", 1.0) or 1.0), height, across, upward)
    return Text((words,), _vector(ocs.to_wcs(anchor)), frame, height, box, origin)


def _mtext(entity: Any, origin: Origin) -> Text | None:
    lines = tuple(line.strip() for line in entity.plain_text(split=True) if line.strip())
    if not lines:
        return None
    height = float(entity.dxf.get("char_height", 1.0)) or 1.0
    normal = _vector(entity.dxf.get("extrusion", (0.0, 0.0, 1.0)))
    if entity.dxf.hasattr("text_direction"):
        along = _vector(entity.dxf.text_direction)
        frame = _orthonormal(along, normal)
    else:
        frame = _frame(entity.ocs(), np.radians(float(entity.dxf.get("rotation", 0.0))))
    place = max(int(entity.dxf.get("attachment_point", 1)) - 1, 0) % 9
    across, upward = (place % 3) / 2.0, 1.0 - (place // 3) / 2.0
    longest = max(lines, key=len)
    box = _box(longest, len(lines), height, height, across, upward)
    return Text(lines, _vector(entity.dxf.insert), frame, height, box, origin)


def leader_text(entity: Any, origin: Origin) -> Text:
    """Return the text that a MULTILEADER carries."""
    from ezdxf.tools.text import plain_mtext

    written = entity.context.mtext
    lines = tuple(t.strip() for t in plain_mtext(written.default_content, split=True) if t.strip())
    height = float(entity.context.char_height) or 1.0
    width = LETTER * height * max(map(len, lines), default=1)
    box = (0.0, -height * 1.67 * len(lines), width, height)
    return Text(lines, _vector(written.insert), np.eye(3), height, box, origin)


def _box(
    words: str, rows: int, letter: float, height: float, across: float, upward: float
) -> tuple[float, float, float, float]:
    width, tall = LETTER * letter * len(words), height * (1.0 + 1.67 * (rows - 1))
    return (-across * width, -upward * tall, (1.0 - across) * width, (1.0 - upward) * tall)


def _vector(value: Any) -> Vector:
    xyz = np.zeros(3)
    given = np.array([float(c) for c in value])
    xyz[: len(given)] = given
    return xyz


def _frame(ocs: Any, angle: float) -> Vector:
    to_wcs = ocs.to_wcs
    cos, sin = float(np.cos(angle)), float(np.sin(angle))
    return np.array([tuple(to_wcs(v)) for v in ((cos, sin, 0.0), (-sin, cos, 0.0), (0.0, 0.0, 1.0))])


def _orthonormal(along: Vector, normal: Vector) -> Vector:
    along = along / (np.linalg.norm(along) or 1.0)
    up = np.cross(normal / (np.linalg.norm(normal) or 1.0), along)
    return np.array([along, up, np.cross(along, up)])
