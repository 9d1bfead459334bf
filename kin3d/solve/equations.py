"""The equations of a linkage, written once for numbers, lanes, jets and tape nodes.

Unknown are coordinates of base points; equations are constant squared lengths, hinges, ties, sliders and one row for
the travel of the wheel centre. All are polynomials, so that values and derivatives of any order are exact.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, LayoutError
from kin3d.linkage.layout import Drive, Linkage
from kin3d.solve.drives import RIGHT, TRAVEL, DriveAxes, DriveValues, places_of
from kin3d.solve.joints import held_apart, implied, in_line
from kin3d.solve.unknowns import Base, Unknowns
from kin3d.spatial.vectors import Number, Vec, add, cross, dot, scale, sub

Places = dict[str, Vec]
Weights = tuple[Number, ...]
BodyFrame = tuple[Vec, ...]  # of a base: see `frame_of`
SLIDER_OFF_LINE_MM = 0.5  # a sliding point may stand this far off its line in the design position


@dataclass(frozen=True, slots=True)
class Row:
    """One equation: what kind, which bodies and points it speaks of, which component (ties, sliders)."""

    kind: Literal["length", "hinge", "tie", "slider", "guide", "drive", "travel"]
    bodies: tuple[str, ...]
    points: tuple[str, ...]
    component: int = 0

    def __str__(self) -> str:
        names = " and ".join(f'"{b}"' for b in self.bodies)
        points = ", ".join(self.points)
        return f"{self.kind} {points} ({names})" if names else f"{self.kind} {points}"


class Equations:
    """Rows of one linkage and their evaluation.

    Attributes
    ----------
    linkage : Linkage
    unknowns : Unknowns
    rows : tuple of Row
    """

    def __init__(self, linkage: Linkage, unknowns: Unknowns, design: NDArray[np.float64]) -> None:
        self.linkage = linkage
        self.unknowns = unknowns
        self._at = dict(zip(linkage.points, design, strict=True))
        self.rows = tuple(self._rows())

    @property
    def design(self) -> dict[str, NDArray[np.float64]]:
        """Design coordinates by point."""
        return self._at

    def _rows(self) -> list[Row]:
        rows: list[Row] = []
        order = tuple(self.unknowns.bases)
        for number, base in enumerate(self.unknowns.bases.values()):
            rows += self._rigid(base, order[:number])
        rows += [Row("length", (b,), self.linkage.bodies[b]) for b in self.unknowns.links]
        for number, body in enumerate(order):
            rows += self._ties(body, order[:number])
        for slider in self.linkage.sliders:
            rows += self._slider(slider.point, *slider.line)
        rows += [self._guide(guide.point, guide.plane) for guide in self.linkage.guides]
        rows += [self._stroke(drive) for drive in self.linkage.drives if drive.kind == "length"]
        for centre in self.linkage.wheel_centres:
            body = next(b for b, points in self.linkage.bodies.items() if centre in points)
            rows.append(Row("travel", (body,), (centre,)))
        return rows

    def _rigid(self, base: Base, earlier: tuple[str, ...]) -> list[Row]:
        """Constant lengths of a base, those that no earlier body holds; a hinge's two are one and one linear row."""
        p = base.points
        if base.hinge and len(p) == 3:
            return [Row("hinge", (base.body,), p), Row("length", (base.body,), (p[0], p[2]))]
        pairs = [(p[i], p[j]) for i in range(len(p)) for j in range(i)]
        free = [pair for pair in pairs if not held_apart(self.linkage, earlier, self._at, *pair)]
        return [Row("length", (base.body,), pair) for pair in free]

    def _ties(self, body: str, earlier: tuple[str, ...]) -> list[Row]:
        """Ties of the points that a body carries and whose places are given elsewhere too."""
        rows: list[Row] = []
        own = [*self.unknowns.bases[body].points, *(p for p, b in self.unknowns.carried.items() if b == body)]
        for point in (p for p, b in self.unknowns.ties if b == body):
            towards = implied(self.linkage, earlier, self._at, point, own)
            if towards is not None:
                rows += [Row("tie", (body,), (point, *towards), k) for k in range(3 - len(towards))]
            own.append(point)
        return rows

    def _slider(self, point: str, start: str, end: str) -> list[Row]:
        along = self._at[end] - self._at[start]
        nearest = self._at[start] + along * (along @ (self._at[point] - self._at[start])) / (along @ along)
        off = np.linalg.norm(self._at[point] - nearest)
        if off > SLIDER_OFF_LINE_MM:
            x, y, z = (f"{v:.1f}" for v in nearest)
            text = (
                f'point "{point}" slides on the line {start}-{end} but stands {off:.3g} mm off it; '
                f"{SLIDER_OFF_LINE_MM} mm or less is expected: move the point onto the line, which is nearest to it at "
                f"x {x}, y {y}, z {z} mm (vehicle frame, left side), or mend the line"
            )
            raise LayoutError(Finding("slider-off-line", text, self.linkage.layout))
        # the cross product has three components of which two are independent: leave out the one along the line
        keep = [k for k in range(3) if k != int(np.argmax(np.abs(along)))]
        return [Row("slider", self._owners(point, (start, end)), (point, start, end), k) for k in keep]

    def _guide(self, point: str, plane: tuple[str, str, str]) -> Row:
        if in_line(*(self._at[p] for p in plane)):
            text = (
                f'point "{point}" is guided by the plane of {", ".join(plane)}, which lie in one line and make none; '
                "move one of them off it"
            )
            raise LayoutError(Finding("guide-plane", text, self.linkage.layout))
        return Row("guide", self._owners(point, plane), (point, *plane))

    def _stroke(self, drive: Drive) -> Row:
        return Row("drive", (), drive.line, self.linkage.drives.index(drive))

    def _owners(self, point: str, others: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(b for b, points in self.linkage.bodies.items() if point in points or set(others) <= set(points))

    def places(
        self,
        q: Mapping[str, Vec],
        design: Mapping[str, Vec],
        values: DriveValues,
        axes: DriveAxes,
        weights: Mapping[str, Weights] | None = None,
    ) -> Places:
        """Place of every point, in the order of the linkage's points.

        Parameters
        ----------
        q : mapping of point to vector
            Coordinates of the unknown points.
        design : mapping of point to vector
            Design coordinates of all points.
        values : mapping of drive to number or pair
            Where every drive stands (`value_of`).
        axes : mapping of key to vector
            As `axes_of` gives them.
        weights : mapping of point to weights, optional
            `weights` of the carried points that are wanted, where they are known already; the other carried points are
            then left out.
        """
        known = self.weights(design) if weights is None else weights
        at: Places = {p: design[p] for p in self.linkage.fixed}
        at |= places_of(self.linkage, design, values, axes)
        at |= dict(q)
        frames: dict[str, BodyFrame] = {}
        for p, body in self.unknowns.carried.items():
            if p in known:
                if body not in frames:
                    frames[body] = frame_of(self.unknowns.bases[body], at)
                at[p] = carry(known[p], frames[body])
        return {p: at[p] for p in self.linkage.points if p in at}

    def weights(self, design: Mapping[str, Vec], wanted: Collection[str] | None = None) -> dict[str, Weights]:
        """Weights of carried points (all, or those wanted) in their bodies' bases; no position changes them."""
        chosen = {p: b for p, b in self.unknowns.carried.items() if wanted is None or p in wanted}
        frames = {b: frame_of(self.unknowns.bases[b], design) for b in dict.fromkeys(chosen.values())}
        return {p: weights_of(design[p], frames[b]) for p, b in chosen.items()}

    def carried_by(self, rows: Iterable[Row]) -> set[str]:
        """Carried points that the rows depend on."""
        out: set[str] = set()
        stack = [p for r in rows for p in (*r.points, *self._base_points(r))]
        while stack:
            p = stack.pop()
            if p in self.unknowns.carried and p not in out:
                out.add(p)
                stack += self.unknowns.bases[self.unknowns.carried[p]].points
        return out

    def _base_points(self, row: Row) -> tuple[str, ...]:
        return self.unknowns.bases[row.bodies[0]].points if row.kind == "tie" else ()

    def residuals(
        self, at: Mapping[str, Vec], design: Mapping[str, Vec], values: DriveValues, axes: DriveAxes
    ) -> list[Number]:
        """Value of every row, zero where the linkage closes. Unit: mm², mm for ties and travel."""
        return [self.residual(row, at, design, values, axes) for row in self.rows]

    def residual(
        self, row: Row, at: Mapping[str, Vec], design: Mapping[str, Vec], values: DriveValues, axes: DriveAxes
    ) -> Number:
        """Value of one row."""
        if row.kind == "travel":
            centre = row.points[0]
            drive = RIGHT if centre in self.linkage.wheel_centres[1:] else TRAVEL
            return at[centre][2] - design[centre][2] - values[drive]
        if row.kind == "length":
            now, then = (sub(w[row.points[0]], w[row.points[1]]) for w in (at, design))
            return 0.5 * (dot(now, now) - dot(then, then))
        if row.kind == "hinge":
            k, m, p = row.points
            return dot(sub(design[m], design[k]), sub(at[p], design[p]))
        if row.kind == "tie":
            return self._tie(row, at, design)
        if row.kind == "guide":
            return _over_plane(at, row.points) - _over_plane(design, row.points)
        if row.kind == "drive":
            own = self.linkage.drives[row.component]
            gap, longer = sub(at[row.points[0]], at[row.points[1]]), axes[own.key][0] + values[own.name]
            return 0.5 * (dot(gap, gap) - longer * longer)
        now, then = (self._off_line(w, row.points)[row.component] for w in (at, design))
        return now - then

    def _tie(self, row: Row, at: Mapping[str, Vec], design: Mapping[str, Vec]) -> Number:
        """How far a point is from where its body carries it: a component, or what is square to the lines implied."""
        point, *towards = row.points
        base = self.unknowns.bases[row.bodies[0]]
        carried = carry(weights_of(design[point], frame_of(base, design)), frame_of(base, at))
        if not towards:
            return at[point][row.component] - carried[row.component]
        off = sub(at[point], carried)
        lines = [sub(at[p], at[point]) for p in towards]
        if len(lines) == 2:
            return dot(off, cross(*lines))
        return dot(off, cross(lines[0], self._square_to(row, at)))

    def _square_to(self, row: Row, at: Mapping[str, Vec]) -> Vec:
        """One of two directions of a body that span space together with the line that a tie says nothing of.

        Which of the body's own directions they are is chosen in the design position, so that they turn with it.
        """
        base = self.unknowns.bases[row.bodies[0]]
        point, towards = row.points[:2]
        line = self._at[towards] - self._at[point]
        then = _frame({p: tuple(self._at[p]) for p in base.points}, base)
        size = [np.linalg.norm(f) for f in then]
        pairs = list(itertools.combinations(range(3), 2))
        worth = [abs(np.linalg.det([line, np.array(then[i]) / size[i], np.array(then[j]) / size[j]])) for i, j in pairs]
        return _frame(at, base)[pairs[int(np.argmax(worth))][row.component]]

    @staticmethod
    def _off_line(at: Mapping[str, Vec], names: tuple[str, ...]) -> Vec:
        point, start, end = (at[n] for n in names)
        return cross(sub(point, start), sub(end, start))

    def _tie_length(self, row: Row, design: Mapping[str, NDArray[np.float64]]) -> Any:
        """Length of the vector along which a tie with implied lines is measured."""
        at = {p: (v[..., 0], v[..., 1], v[..., 2]) for p, v in design.items()}
        lines = [sub(at[p], at[row.points[0]]) for p in row.points[1:]]
        other = lines[1] if len(lines) == 2 else self._square_to(row, at)
        return np.linalg.norm(np.stack(cross(lines[0], other)), axis=0)

    def lengths(self, design: Mapping[str, NDArray[np.float64]]) -> NDArray[np.float64]:
        """What each row must be divided by to be an error of a length in mm, shape (rows, …)."""
        out = []
        for row in self.rows:
            two = {"length": (0, 1), "hinge": (0, 1), "drive": (0, 1), "slider": (1, 2)}.get(row.kind)
            if row.kind == "tie" and len(row.points) > 1:
                out.append(self._tie_length(row, design))
            elif row.kind == "guide":
                p, a, b = (design[n] for n in row.points[1:])
                out.append(np.linalg.norm(np.cross(a - p, b - p), axis=-1))
            elif two is None:
                out.append(np.ones(()))
            else:
                out.append(np.linalg.norm(design[row.points[two[0]]] - design[row.points[two[1]]], axis=-1))
        return np.stack(np.broadcast_arrays(*out))


def _over_plane(at: Mapping[str, Vec], names: tuple[str, ...]) -> Number:
    """Height of a point over the plane through three others, times twice the area of their triangle."""
    point, p, a, b = (at[n] for n in names)
    return dot(sub(point, p), cross(sub(a, p), sub(b, p)))


def _frame(at: Mapping[str, Vec], base: Base) -> tuple[Vec, Vec, Vec]:
    """Two edges of a base and the normal of both, which turn with the body."""
    if len(base.points) == 2:  # a line has no turn of its own: any directions across it will do
        return (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
    _, e, f, normal = frame_of(base, at)
    return e, f, normal


def frame_of(base: Base, at: Mapping[str, Vec]) -> BodyFrame:
    """Origin of a base and what spans its body from there: the one edge, or both with their vector product."""
    o, *others = (at[p] for p in base.points)
    edges = [sub(p, o) for p in others]
    return (o, *edges) if len(edges) == 1 else (o, *edges, cross(*edges))


def weights_of(place: Vec, frame: BodyFrame) -> Weights:
    """Constant a, b, c of a place on a body: o + a·e₁ + b·e₂ + c·(e₁ × e₂); a alone for a base of two points."""
    o, *edges = frame
    d = sub(place, o)
    if len(edges) == 1:
        return (dot(d, edges[0]) / dot(edges[0], edges[0]),)
    e, f, normal = edges
    area = dot(normal, normal)
    return dot(cross(d, f), normal) / area, dot(cross(e, d), normal) / area, dot(d, normal) / area


def carry(weights: Weights, frame: BodyFrame) -> Vec:
    """Place of a point of a body from the places of its base."""
    o, *edges = frame
    if len(edges) == 1:
        return add(o, scale(weights[0], edges[0]))
    a, b, c = weights
    e, f, normal = edges
    return add(add(o, scale(a, e)), add(scale(b, f), scale(c, normal)))
