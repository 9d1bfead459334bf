"""Drawings (DXF) to points: drawings in space, and sheets of two or more views by fusion.

The way of a label, one module a step: `reading/dxf_file` opens the file, `entities` takes it apart into the `content`
of a layout (`block_count` says before how much that is, `circles` knows symbols drawn in pieces), `labels` finds the
texts that name points (`wording`: what words say), `matching` ties them to marks (`leaders` and `tails`: by pointers;
`assignment`: the best of all). On a sheet, `view_marks` and `view_axes` tell which mark is in which view and how that
looks, and `fusion` puts the views together; `sheet` with `sheet_points` and `in_space` make points, `plausible` looks
whether they can be, `result` holds them. Beside the way: `declared` documents ``views.toml`` and the name table,
`scale` settles unit and scale, `tables` reads coordinates that are written, `reader` runs it all.
Rule: every point is right within its tolerance, or refused with the reason.
"""

from __future__ import annotations

from kin3d.reading.dxf.reader import look_at_drawing, read_drawing, read_drawing_points
from kin3d.reading.dxf.result import DrawingReading, DrawnPoint, Source

__all__ = ["DrawingReading", "DrawnPoint", "Source", "look_at_drawing", "read_drawing", "read_drawing_points"]
