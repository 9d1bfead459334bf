"""Writes an axle as a DXF drawing: the linkage in space with named points, and its constructions in plane views.

`document` makes the empty drawing with its units, styles and layers, `space` draws the linkage, `pen` draws lines,
texts and dimensions of a plane view, `front` and `side` the two constructions, `write` puts it all in its place.
"""

from __future__ import annotations

from kin3d.writing.dxf.document import VERSIONS
from kin3d.writing.dxf.write import write_dxf

__all__ = ["VERSIONS", "write_dxf"]
