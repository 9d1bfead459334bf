"""Flattens a layout of a drawing into marks, texts, strokes and dimensions in world coordinates.

Every entity is read on its own: one that the library cannot make sense of becomes a warning with its handle,
and the rest of the drawing is read all the same.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from kin3d.reading.dxf.block_count import MAX_DEPTH, MAX_SYMBOL, least_count
from kin3d.reading.dxf.circles import Arc, Piece, chains, crosses, marks_of
from kin3d.reading.dxf.content import Content, DrawnDimension, DrawnMark, Origin, Stroke, Vector, read_text, vec
from kin3d.reading.dxf_file import faults
from kin3d.reading.text import FindingLog

if TYPE_CHECKING:
    from ezdxf.document import Drawing

MAX_ENTITIES = 400_000  # after all block references are resolved
MAX_CORNERS = 24  # corners of a polyline that is not round; more is a drawn curve
MIN_CORNERS = 6  # fewest corners of a closed polyline that may stand for a circle
MAX_REPORTED = 20  # unreadable entities that are named one by one


class TooManyEntitiesError(Exception):
    """Block references that multiply into more than can be read."""


class Flattener:
    """Takes the entities of one layout apart; ask `content` for the result of `read`."""

    def __init__(self, doc: Drawing, layout: str, log: FindingLog) -> None:
        self.doc, self.log, self.content = doc, log, Content(layout)
        self.pieces: list[Piece] = []
        self.arcs: list[Arc] = []
        self.lines: list[tuple[Vector, Vector, Origin]] = []
        self.unreadable = 0
        self._faults = faults()
        self._hidden_layers = {
            layer.dxf.name.lower(): "off" if layer.is_off() else "frozen"
            for layer in doc.layers
            if layer.is_off() or layer.is_frozen()
        }
        self._readers: dict[str, Callable[[Any, Origin], None]] = {
            "POINT": self._point, "CIRCLE": self._circle, "ARC": self._arc, "ELLIPSE": self._arc, "LINE": self._line,
            "LWPOLYLINE": self._polyline, "POLYLINE": self._polyline, "SPLINE": self._spline, "TEXT": self._text,
            "MTEXT": self._text, "ATTRIB": self._text, "INSERT": self._insert, "LEADER": self._leader,
            "MULTILEADER": self._multileader, "MLEADER": self._multileader, "DIMENSION": self._dimension,
            "ACAD_TABLE": self._exploded,
        }  # fmt: skip

    def read(self, entities: Iterable[Any]) -> Content:
        """Read all entities and put the circles together that are drawn in pieces.

        Raises
        ------
        TooManyEntitiesError
            Block references that multiply into more than MAX_ENTITIES; it is told before they are taken apart.
        """
        inside, content = list(entities), self.content
        if least_count(self.doc, self._hidden_layers, inside) > MAX_ENTITIES:
            raise TooManyEntitiesError
        for entity in inside:
            self._one(entity, None)
        content.marks += marks_of(self.pieces + chains(self.lines), self.arcs)
        crossed = crosses(self.lines)
        if len(crossed) > sum(m.kind != "end" for m in content.marks):  # else they are centre marks of other symbols
            content.marks += crossed
        for start, end, origin in self.lines:
            content.marks += [DrawnMark(start, 0.0, "end", origin), DrawnMark(end, 0.0, "end", origin)]
            content.strokes.append(Stroke(start, end, False, origin))
        return content

    def _one(self, entity: Any, around: Origin | None) -> None:
        reader = self._readers.get(entity.dxftype())
        self.content.entities += 1
        if self.content.entities > MAX_ENTITIES:
            raise TooManyEntitiesError
        if reader is None:
            return
        try:
            origin = _origin(entity, around)
            if not self._is_hidden(entity, origin):
                reader(entity, origin)
        except self._faults as err:
            self.unreadable += 1
            if self.unreadable <= MAX_REPORTED:
                handle = around.handle if around else entity.dxf.get("handle")
                reason = " ".join(str(err).split())[:120] or type(err).__name__
                self.log.warn("entity-unreadable", f"{entity.dxftype()} cannot be read: {reason}", f"handle {handle}")

    def _is_hidden(self, entity: Any, origin: Origin) -> bool:
        state = self._hidden_layers.get(origin.layer.lower()) or ("invisible" if entity.dxf.get("invisible", 0) else "")
        if state:
            self.content.hidden[f"{origin.layer} ({state})"] += 1
        return bool(state)

    def _point(self, entity: Any, origin: Origin) -> None:
        if origin.layer.lower() != "defpoints":
            self.content.marks.append(DrawnMark(vec(entity.dxf.location), 0.0, "point", origin))

    def _circle(self, entity: Any, origin: Origin) -> None:
        centre = vec(entity.ocs().to_wcs(entity.dxf.center))
        self.content.marks.append(DrawnMark(centre, abs(float(entity.dxf.radius)), "circle", origin))

    def _arc(self, entity: Any, origin: Origin) -> None:
        dxf, whole = entity.dxf, 2.0 * np.pi
        if entity.dxftype() == "ARC":
            centre, radius = entity.ocs().to_wcs(dxf.center), abs(float(dxf.radius))
            turn = np.radians(dxf.end_angle - dxf.start_angle)
        else:
            centre, radius = dxf.center, float(np.linalg.norm(vec(dxf.major_axis)))
            turn = dxf.end_param - dxf.start_param
        self.arcs.append((DrawnMark(vec(centre), radius, "circle", origin), float(turn % whole or whole)))

    def _line(self, entity: Any, origin: Origin) -> None:
        self.lines.append((vec(entity.dxf.start), vec(entity.dxf.end), origin))

    def _polyline(self, entity: Any, origin: Origin) -> None:
        light = entity.dxftype() == "LWPOLYLINE"
        if not (light or entity.is_2d_polyline or entity.is_3d_polyline):
            return
        if entity.has_arc:
            self._exploded(entity, origin)
            return
        flat = not light and entity.is_2d_polyline
        found = entity.vertices_in_wcs() if light else entity.points_in_wcs() if flat else entity.points()
        corners = np.array([vec(v) for v in found]).reshape(-1, 3)
        if len(corners) >= MIN_CORNERS and (entity.is_closed or np.allclose(corners[0], corners[-1])):
            self.pieces.append((corners, origin))
        elif len(corners) == 2:
            self.lines.append((corners[0], corners[1], origin))
        elif 2 < len(corners) <= MAX_CORNERS:
            self.content.marks += [DrawnMark(c, 0.0, "end", origin) for c in corners]
            if len(corners) <= 4:
                self.content.strokes.append(Stroke(corners[0], corners[-1], False, origin))

    def _spline(self, entity: Any, origin: Origin) -> None:
        points = np.array([vec(v) for v in entity.construction_tool().approximate(12)])
        if len(points) >= 3:
            self.pieces.append((points, origin))

    def _text(self, entity: Any, origin: Origin) -> None:
        if (text := read_text(entity, origin)) is not None:
            self.content.texts.append(text)

    def _leader(self, entity: Any, origin: Origin) -> None:
        if len(corners := [vec(v) for v in entity.vertices]) >= 2:
            tied = str(entity.dxf.get("annotation_handle", "") or "")
            self.content.strokes.append(Stroke(corners[0], corners[-1], True, origin, tied))

    def _multileader(self, entity: Any, origin: Origin) -> None:
        words = read_text(entity, origin)
        self.content.texts += [words] if words is not None else []
        for leader in entity.context.leaders:
            for line in leader.lines:
                if line.vertices:
                    end = vec(leader.last_leader_point or line.vertices[-1])
                    self.content.strokes.append(Stroke(vec(line.vertices[0]), end, True, origin, words or ""))

    def _dimension(self, entity: Any, origin: Origin) -> None:
        if int(entity.dxf.get("dimtype", 0)) & 7 > 1:
            return
        drawn, typed, factor = float(entity.get_measurement()), _figure(entity.dxf.get("text", "")), 1.0
        with suppress(*self._faults):
            factor = float(entity.override().get("dimlfac", 1.0) or 1.0)
        if drawn > 0.0:
            shown = drawn * factor if typed is None else typed
            self.content.dimensions.append(DrawnDimension(drawn, shown, typed is not None, origin))

    def _exploded(self, entity: Any, origin: Origin) -> None:
        for part in entity.virtual_entities():
            self._one(part, origin)

    def _insert(self, entity: Any, origin: Origin) -> None:
        if len(origin.blocks) >= MAX_DEPTH:
            raise ValueError(f"block references are nested deeper than {MAX_DEPTH}, or go round in a circle")
        block = self.doc.blocks.get(entity.dxf.name)
        if block is None:
            raise ValueError(f'block "{entity.dxf.name}" is not in the file')
        if block.block is not None and block.block.is_xref:
            self.content.references.append(f"{block.name} ({block.block.dxf.get('xref_path', '') or 'no path'})")
            return
        inside = [e.dxftype() for e in block]
        for copy in entity.multi_insert() if entity.mcount > 1 else (entity,):
            self.content.entities += entity.mcount > 1
            self._placed(copy, origin, inside)

    def _placed(self, entity: Any, origin: Origin, inside: list[str]) -> None:
        named = tuple(a.plain_text().strip() for a in entity.attribs if a.plain_text().strip())
        parts, insert = list(entity.virtual_entities()), vec(entity.ocs().to_wcs(entity.dxf.insert))
        centre = _symbol_centre(parts, insert) if len(inside) <= MAX_SYMBOL else None
        if centre is not None and (named or not {"INSERT", "TEXT", "MTEXT"} & set(inside)):
            names = named or (entity.dxf.name,)
            self.content.marks.append(DrawnMark(*centre, "block", origin, names, _hung(entity)))
            return
        still = not insert.any() and float(entity.dxf.get("rotation", 0.0)) % 360.0 == 0.0
        moved = origin.moved or (None if still else (float(insert[0]), float(insert[1]), float(insert[2])))
        inner = replace(origin, blocks=(*origin.blocks, entity.dxf.name), moved=moved)
        for part in [*entity.attribs, *parts]:
            self._one(part, inner)


def _origin(entity: Any, around: Origin | None) -> Origin:
    """Return where an entity comes from; in a block, layer 0 is the reference's layer and its handle stands."""
    layer = str(entity.dxf.get("layer", "0"))
    if around is None:
        return Origin(entity.dxftype(), str(entity.dxf.get("handle") or "none"), layer)
    return replace(around, entity=entity.dxftype(), layer=around.layer if layer == "0" else layer)


def _hung(entity: Any) -> tuple[float, float, float] | None:
    """Return where the first attribute of a block reference stands, in the block's own frame."""
    if not entity.attribs:
        return None
    back = entity.matrix44()
    back.inverse()  # in place
    x, y, z = back.transform(entity.attribs[0].ocs().to_wcs(entity.attribs[0].dxf.insert))
    return (float(x), float(y), float(z))


def _symbol_centre(parts: list[Any], insert: Vector) -> tuple[Vector, float] | None:
    """Return centre and radius of a block that is one point's symbol, or None where it is more than that."""
    centres = [(vec(p.ocs().to_wcs(p.dxf.center)), float(p.dxf.radius)) for p in parts if p.dxftype() == "CIRCLE"]
    centres += [(vec(p.dxf.location), 0.0) for p in parts if p.dxftype() == "POINT"]
    ends = np.array([vec(p.dxf.get(k)) for p in parts if p.dxftype() == "LINE" for k in ("start", "end")])
    if any(p.dxftype() == "INSERT" for p in parts) or not (centres or len(ends)):
        return None
    if not centres:  # a cross stands evenly about its insertion point
        size = float(np.ptp(ends, axis=0).max())
        middle = (ends.max(axis=0) + ends.min(axis=0)) / 2.0
        return (insert, size / 2.0) if np.linalg.norm(middle - insert) <= 1e-6 * max(size, 1e-9) else None
    first, reach = centres[0][0], max(r for _, r in centres)
    spread = max(float(np.linalg.norm(c - first)) for c, _ in centres)
    far = float(np.linalg.norm(ends.reshape(-1, 3) - first, axis=1).max(initial=0.0))
    one = spread <= 1e-6 * max(reach, 1e-9) + 1e-9 and (reach == 0.0 or far <= 4.0 * reach)
    return (first, reach) if one else None


def _figure(text: str) -> float | None:
    """Return the figure typed over a dimension's own; None where the program shows what it measured."""
    coded, end, plain = text.rpartition(";")  # no formatting code ends behind the last semicolon
    found = re.search(r"\d{1,15}(?:[.,]\d{1,15})?", re.sub(r"\\[A-Za-z][^;]*;", "", coded + end) + plain)
    return float(found.group().replace(",", ".")) if found and "<>" not in text else None
