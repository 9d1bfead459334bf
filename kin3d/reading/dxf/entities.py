"""Flattens a layout of a drawing into marks, texts, strokes and dimensions in world coordinates.

Every entity is read on its own: one that the library cannot make sense of becomes a warning with its handle,
and the rest of the drawing is read all the same.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from kin3d.reading.dxf.block_count import MAX_DEPTH, MAX_SYMBOL, BlockCount
from kin3d.reading.dxf.circles import Arc, Piece, chains, crosses, marks_of
from kin3d.reading.dxf.content import Content, DrawnDimension, DrawnMark, Origin, Stroke, Vector, leader_text, read_text
from kin3d.reading.dxf.opening import FAULTS
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
        from ezdxf.lldxf.const import DXFError

        self._library_error = DXFError
        self.doc = doc
        self.log = log
        self.content = Content(layout)
        self.pieces: list[Piece] = []
        self.arcs: list[Arc] = []
        self.lines: list[tuple[Vector, Vector, Origin]] = []
        self.unreadable = 0
        self._hidden_layers = {
            layer.dxf.name.lower(): "off" if layer.is_off() else "frozen"
            for layer in doc.layers
            if layer.is_off() or layer.is_frozen()
        }
        self._readers: dict[str, Callable[[Any, Origin], None]] = {
            "POINT": self._point, "CIRCLE": self._circle, "ARC": self._arc, "ELLIPSE": self._ellipse,
            "LINE": self._line, "LWPOLYLINE": self._polyline, "POLYLINE": self._polyline, "SPLINE": self._spline,
            "TEXT": self._text, "MTEXT": self._text, "ATTRIB": self._text, "INSERT": self._insert,
            "LEADER": self._leader, "MULTILEADER": self._multileader, "MLEADER": self._multileader,
            "DIMENSION": self._dimension, "ACAD_TABLE": self._exploded,
        }  # fmt: skip

    def read(self, entities: Iterable[Any]) -> Content:
        """Read all entities and put the circles together that are drawn in pieces.

        Raises
        ------
        TooManyEntitiesError
            Block references that multiply into more than MAX_ENTITIES; it is told before they are taken apart.
        """
        inside = list(entities)
        if BlockCount(self.doc, self._hidden_layers).at_least(inside) > MAX_ENTITIES:
            raise TooManyEntitiesError
        for entity in inside:
            self._one(entity, None)
        content = self.content
        content.marks += marks_of(self.pieces + chains(self.lines), self.arcs)
        crossed = crosses(self.lines)
        if len(crossed) > sum(
            m.kind != "end" for m in content.marks
        ):  # else crosses are centre marks, and points have another symbol
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
        except (self._library_error, *FAULTS) as err:
            self._skip(entity, around, err)

    def _skip(self, entity: Any, around: Origin | None, err: BaseException) -> None:
        self.unreadable += 1
        if self.unreadable > MAX_REPORTED:
            return
        handle = around.handle if around else entity.dxf.get("handle")
        reason = " ".join(str(err).split())[:120] or type(err).__name__
        self.log.warn("entity-unreadable", f"{entity.dxftype()} cannot be read: {reason}", f"handle {handle}")

    def _is_hidden(self, entity: Any, origin: Origin) -> bool:
        state = self._hidden_layers.get(origin.layer.lower())
        if state is None and entity.dxf.get("invisible", 0):
            state = "invisible"
        if state is not None:
            key = f"{origin.layer} ({state})"
            self.content.hidden[key] = self.content.hidden.get(key, 0) + 1
        return state is not None

    def _point(self, entity: Any, origin: Origin) -> None:
        if origin.layer.lower() == "defpoints":
            return
        self.content.marks.append(DrawnMark(_vec(entity.dxf.location), 0.0, "point", origin))

    def _circle(self, entity: Any, origin: Origin) -> None:
        centre = _vec(entity.ocs().to_wcs(entity.dxf.center))
        self.content.marks.append(DrawnMark(centre, abs(float(entity.dxf.radius)), "circle", origin))

    def _arc(self, entity: Any, origin: Origin) -> None:
        centre = _vec(entity.ocs().to_wcs(entity.dxf.center))
        turn = np.radians((entity.dxf.end_angle - entity.dxf.start_angle) % 360.0 or 360.0)
        self.arcs.append(Arc(centre, abs(float(entity.dxf.radius)), float(turn), origin))

    def _ellipse(self, entity: Any, origin: Origin) -> None:
        turn = (entity.dxf.end_param - entity.dxf.start_param) % (2.0 * np.pi) or 2.0 * np.pi
        radius = float(np.linalg.norm(_vec(entity.dxf.major_axis)))
        self.arcs.append(Arc(_vec(entity.dxf.center), radius, float(turn), origin))

    def _line(self, entity: Any, origin: Origin) -> None:
        self._segment(_vec(entity.dxf.start), _vec(entity.dxf.end), origin)

    def _segment(self, start: Vector, end: Vector, origin: Origin) -> None:
        if not (np.isfinite(start).all() and np.isfinite(end).all()):
            raise ValueError("a coordinate is not a number")
        self.lines.append((start, end, origin))

    def _polyline(self, entity: Any, origin: Origin) -> None:
        if entity.dxftype() == "POLYLINE" and not (entity.is_2d_polyline or entity.is_3d_polyline):
            return
        if entity.has_arc:
            for part in entity.virtual_entities():
                self._one(part, origin)
            return
        corners = _corners(entity)
        closed = bool(entity.is_closed) or (len(corners) > 2 and bool(np.allclose(corners[0], corners[-1])))
        if len(corners) >= MIN_CORNERS and closed:
            self.pieces.append(Piece(corners, origin))
        elif 2 <= len(corners) <= MAX_CORNERS:
            self._open(corners, origin)

    def _open(self, corners: Vector, origin: Origin) -> None:
        if len(corners) == 2:
            self._segment(corners[0], corners[1], origin)
            return
        self.content.marks += [DrawnMark(c, 0.0, "end", origin) for c in corners]
        if len(corners) <= 4:
            self.content.strokes.append(Stroke(corners[0], corners[-1], False, origin))

    def _spline(self, entity: Any, origin: Origin) -> None:
        points = np.array([tuple(v) for v in entity.construction_tool().approximate(12)], dtype=float)
        if len(points) >= 3 and np.isfinite(points).all():
            self.pieces.append(Piece(points, origin))

    def _text(self, entity: Any, origin: Origin) -> None:
        text = read_text(entity, origin)
        if text is not None:
            self.content.texts.append(text)

    def _leader(self, entity: Any, origin: Origin) -> None:
        corners = [_vec(v) for v in entity.vertices]
        if len(corners) >= 2:
            tied = str(entity.dxf.get("annotation_handle", "") or "")
            self.content.strokes.append(Stroke(corners[0], corners[-1], True, origin, tied))

    def _multileader(self, entity: Any, origin: Origin) -> None:
        context = entity.context
        written = context.mtext
        words = leader_text(entity, origin) if written is not None and written.default_content.strip() else None
        if words is not None:
            self.content.texts.append(words)
        for leader in context.leaders:
            for line in leader.lines:
                if line.vertices:
                    end = _vec(leader.last_leader_point or line.vertices[-1])
                    self.content.strokes.append(Stroke(_vec(line.vertices[0]), end, True, origin, words or ""))

    def _dimension(self, entity: Any, origin: Origin) -> None:
        if int(entity.dxf.get("dimtype", 0)) & 7 > 1:
            return
        drawn, typed = float(entity.get_measurement()), _figure(entity.dxf.get("text", ""))
        if drawn > 0.0:
            shown = typed if typed is not None else drawn * self._length_factor(entity)
            self.content.dimensions.append(DrawnDimension(drawn, shown, typed is not None, origin))

    def _length_factor(self, entity: Any) -> float:
        try:
            return float(entity.override().get("dimlfac", 1.0) or 1.0)
        except (self._library_error, *FAULTS):
            return 1.0

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
        copies = entity.multi_insert() if entity.mcount > 1 else (entity,)
        for copy in copies:
            self.content.entities += entity.mcount > 1
            self._placed(copy, origin, list(block))

    def _placed(self, entity: Any, origin: Origin, inside: list[Any]) -> None:
        named = tuple(a.plain_text().strip() for a in entity.attribs if a.plain_text().strip())
        parts = list(entity.virtual_entities())
        nested = [p for p in inside if p.dxftype() in ("INSERT", "TEXT", "MTEXT")]
        centre = _symbol_centre(parts, _vec(entity.ocs().to_wcs(entity.dxf.insert)))
        if centre is not None and len(inside) <= MAX_SYMBOL and (named or not nested):
            xyz, reach = centre
            names = named or (entity.dxf.name,)
            self.content.marks.append(DrawnMark(xyz, reach, "block", origin, names, _hung(entity)))
            return
        self._inside(entity, origin, parts)

    def _inside(self, entity: Any, origin: Origin, parts: list[Any]) -> None:
        inner = replace(origin, blocks=(*origin.blocks, entity.dxf.name), moved=origin.moved or _moved(entity))
        for attrib in entity.attribs:
            self._one(attrib, inner)
        for part in parts:
            self._one(part, inner)


def _vec(value: Any) -> Vector:
    xyz = np.zeros(3)
    given = np.asarray(tuple(value), dtype=float)
    xyz[: len(given)] = given
    if not np.isfinite(xyz).all():
        raise ValueError("a coordinate is not a number")
    return xyz


def _origin(entity: Any, around: Origin | None) -> Origin:
    """Return where an entity comes from; in a block, layer 0 is the reference's layer and its handle stands."""
    layer = str(entity.dxf.get("layer", "0"))
    if around is None:
        return Origin(entity.dxftype(), str(entity.dxf.get("handle") or "none"), layer)
    return replace(around, entity=entity.dxftype(), layer=around.layer if layer == "0" else layer)


def _corners(entity: Any) -> Vector:
    if entity.dxftype() == "LWPOLYLINE":
        return np.array([tuple(v) for v in entity.vertices_in_wcs()], dtype=float).reshape(-1, 3)
    if entity.is_2d_polyline:
        return np.array([tuple(v) for v in entity.points_in_wcs()], dtype=float).reshape(-1, 3)
    return np.array([tuple(v) for v in entity.points()], dtype=float).reshape(-1, 3)


def _moved(entity: Any) -> tuple[float, float, float] | None:
    x, y, z = _vec(entity.ocs().to_wcs(entity.dxf.insert))
    still = abs(x) + abs(y) + abs(z) < 1e-9 and float(entity.dxf.get("rotation", 0.0)) % 360.0 == 0.0
    return None if still else (float(x), float(y), float(z))


def _hung(entity: Any) -> tuple[float, float, float] | None:
    """Return where the first attribute of a block reference stands, in the block's own frame."""
    if not entity.attribs:
        return None
    x, y, w = _vec(entity.attribs[0].dxf.insert) - _vec(entity.dxf.insert)
    angle = np.radians(float(entity.dxf.get("rotation", 0.0)))
    u, v = x * np.cos(angle) + y * np.sin(angle), y * np.cos(angle) - x * np.sin(angle)
    return (float(u / entity.dxf.get("xscale", 1.0)), float(v / entity.dxf.get("yscale", 1.0)), float(w))


def _symbol_centre(parts: list[Any], insert: Vector) -> tuple[Vector, float] | None:
    """Return centre and radius of a block that is one point's symbol, or None where it is more than that."""
    centres = [(_vec(p.ocs().to_wcs(p.dxf.center)), float(p.dxf.radius)) for p in parts if p.dxftype() == "CIRCLE"]
    centres += [(_vec(p.dxf.location), 0.0) for p in parts if p.dxftype() == "POINT"]
    ends = [_vec(p.dxf.get(k)) for p in parts if p.dxftype() == "LINE" for k in ("start", "end")]
    if any(p.dxftype() == "INSERT" for p in parts):
        return None
    if not centres:
        size = float(np.ptp(np.array(ends), axis=0).max()) if ends else 0.0
        return (insert, size / 2.0) if _symmetric(ends, insert, size) else None
    reach = max(r for _, r in centres)
    spread = max(float(np.linalg.norm(c - centres[0][0])) for c, _ in centres)
    far = max((float(np.linalg.norm(e - centres[0][0])) for e in ends), default=0.0)
    if spread > 1e-6 * max(reach, 1e-9) + 1e-9 or (reach > 0.0 and far > 4.0 * reach):
        return None
    return centres[0][0], reach


def _symmetric(ends: list[Vector], insert: Vector, size: float) -> bool:
    """Whether the lines of a symbol stand evenly about its insertion point, as those of a cross do."""
    if not ends:
        return False
    middle = (np.max(ends, axis=0) + np.min(ends, axis=0)) / 2.0
    return bool(np.linalg.norm(middle - insert) <= 1e-6 * max(size, 1e-9))


def _figure(text: str) -> float | None:
    """Return the figure typed over a dimension's own; None where the program shows what it measured."""
    coded, end, plain = text.rpartition(";")  # no formatting code ends behind the last semicolon
    found = re.search(r"\d{1,15}(?:[.,]\d{1,15})?", re.sub(r"\\[A-Za-z][^;]*;", "", coded + end) + plain)
    return float(found.group().replace(",", ".")) if found and "<>" not in text else None


def layouts(doc: Drawing) -> Iterator[tuple[str, Any]]:
    """Yield model space, then every paper sheet, with its name."""
    for layout in doc.layouts:
        yield layout.name, layout
