"""Six ways in which programs write one drawing to a DXF file; `write` takes a document apart as far as each needs it.

``library``: ezdxf as it is, of its version; ``binary``: the same as binary DXF; ``block``: everything inside one block;
``plain``: entities alone, without header, tables and handles, lines ended by CR LF; ``printed``: likewise, but as
a print driver, circles as closed polylines, everything on layer 0; ``stream``: ezdxf's writer of R12 by hand, without
layers. Those that know few entities get lines for leaders and polylines, texts for attributes.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from ezdxf.addons import r12writer
from ezdxf.document import Drawing

WRITERS = ("library", "binary", "block", "plain", "printed", "stream")
BARE = ("plain", "printed", "stream")  # without a header: they say no unit
Place = tuple[float, float, float]


def write(doc: Drawing, path: Path, writer: str) -> None:
    """Write a document as one of `WRITERS` would."""
    if writer == "block":
        space, block = doc.modelspace(), doc.blocks.new("SHEET")
        for entity in list(space):
            space.unlink_entity(entity)
            block.add_entity(entity)
        space.add_blockref("SHEET", (0, 0))
    if writer == "stream":
        _stream(doc, path)
    elif writer in BARE:
        path.write_bytes("\r\n".join(_tags(doc, writer)).encode("ascii"))
    else:
        doc.saveas(path, fmt="bin" if writer == "binary" else "asc")


def _parts(entities: Any) -> Iterator[tuple[str, str, Any]]:
    """Yield kind, layer and content of everything, taken apart into what old programs know."""
    for e in entities:
        kind, layer = e.dxftype(), str(e.dxf.get("layer", "0"))
        if kind == "LINE":
            yield "LINE", layer, (e.dxf.start, e.dxf.end)
        elif kind == "CIRCLE":
            yield "CIRCLE", layer, (e.dxf.center, e.dxf.radius)
        elif kind == "POINT":
            yield "POINT", layer, e.dxf.location
        elif kind in ("TEXT", "ATTRIB"):
            right = e.dxf.get("halign", 0) == 2
            at = e.dxf.align_point if right else e.dxf.insert
            yield "TEXT", layer, (e.dxf.text, at, e.dxf.height, 2 if right else 0, 0)
        elif kind == "MTEXT":
            place = e.dxf.get("attachment_point", 1) - 1
            across, upward = place % 3, place // 3
            yield "TEXT", layer, (e.plain_text(), e.dxf.insert, e.dxf.char_height, across, (3, 2, 1)[upward])
        elif kind in ("LWPOLYLINE", "POLYLINE", "LEADER"):
            corners = [_xyz(c) for c in _corners(e)]
            for a, b in pairwise(corners):
                yield "LINE", layer, (a, b)
        elif kind in ("INSERT", "DIMENSION"):
            yield from _parts(e.virtual_entities())
            yield from _parts(getattr(e, "attribs", ()))


def _corners(entity: Any) -> list[Any]:
    if entity.dxftype() == "LEADER":
        return list(entity.vertices)
    if entity.dxftype() == "LWPOLYLINE":
        corners = list(entity.vertices())
        return [*corners, corners[0]] if entity.closed else corners
    return [v.dxf.location for v in entity.vertices]


def _xyz(place: Any) -> Place:
    x, y, *z = (float(c) for c in place)
    return (x, y, z[0] if z else 0.0)


def _tags(doc: Drawing, writer: str) -> Iterator[str]:
    yield from ("999", "written line by line", "  0", "SECTION", "  2", "ENTITIES")
    for kind, layer, held in _parts(doc.modelspace()):
        layer = "0" if writer == "printed" else layer
        if kind == "CIRCLE" and writer == "printed":
            yield from _ring(held[0], held[1])
            continue
        yield from ("  0", kind, "  8", layer)
        if kind == "LINE":
            yield from (*_place(held[0]), *_place(held[1], 1))
        elif kind == "CIRCLE":
            yield from (*_place(held[0]), " 40", f"{held[1]:.8f}")
        elif kind == "POINT":
            yield from _place(held)
        else:
            words, at, height, across, upward = held
            yield from (*_place(at), " 40", f"{height:.8f}", "  1", words)
            if across or upward:
                yield from (" 72", str(across), " 73", str(upward), *_place(at, 1))
    yield from ("  0", "ENDSEC", "  0", "EOF", "")


def _place(place: Any, more: int = 0) -> list[str]:
    return [s for k, c in enumerate(_xyz(place)) for s in (f" {k + 1}{more}", f"{c:.8f}")]


def _ring(centre: Any, radius: float) -> Iterator[str]:
    x, y, z = _xyz(centre)
    yield from ("  0", "POLYLINE", "  8", "0", " 66", "1", " 70", "1" if z == 0.0 else "9")
    for turn in np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False):
        corner = (x + radius * np.cos(turn), y + radius * np.sin(turn), z)
        yield from ("  0", "VERTEX", "  8", "0", *_place(corner), " 70", "0" if z == 0.0 else "32")
    yield from ("  0", "SEQEND", "  8", "0")


def _stream(doc: Drawing, path: Path) -> None:
    align = {(0, 0): "LEFT", (2, 0): "RIGHT", (0, 2): "MIDDLE_LEFT", (2, 2): "MIDDLE_RIGHT", (1, 2): "MIDDLE_CENTER"}
    with r12writer(path) as out:
        for kind, layer, held in _parts(doc.modelspace()):
            if kind == "LINE":
                out.add_line(_xyz(held[0]), _xyz(held[1]), layer=layer)
            elif kind == "CIRCLE":
                out.add_circle(_xyz(held[0]), held[1], layer=layer)
            elif kind == "POINT":
                out.add_point(_xyz(held), layer=layer)
            else:
                words, at, height, across, upward = held
                out.add_text(words, _xyz(at), height=height, align=align[across, upward], layer=layer)
