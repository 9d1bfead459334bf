"""Drawings (DXF) to points: drawings in space, and sheets of two or more views by fusion.

The steps, one module each: `door` opens the file, `entities` and `circles` take it apart, `wording`, `naming`,
`tables` read what is written, `search` and `labels` tie names to marks, `measure` settles unit and scale, `views`
and `fusion` put views together, `solid` and `sheet` make points of it. `plan` documents ``views.toml`` and `naming`
the name table. Rule: every point is right within its tolerance, or refused with the reason.
"""

from __future__ import annotations

from kin3d.reading.dxf.read import read_drawing, read_drawing_points
from kin3d.reading.dxf.result import DrawingReading, DrawnPoint, Source

__all__ = ["DrawingReading", "DrawnPoint", "Source", "read_drawing", "read_drawing_points"]
