"""Symbols of points that are not drawn as CIRCLE: closed polylines, splines, arcs, chains of short lines; crosses.

A round is a piece of curve, or several about one centre, whose points lie on a circle and go at least `FULL_TURN`
around it; a cross, two lines of one length and layer that halve each other at a right angle. Whether a round is a
point's symbol, a tyre or a bolt is decided later by size. A closed polyline may repeat its first vertex and a printed
one may hold control points beside the curve, so the centre is that of a least-squares circle, never the mean.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from kin3d.reading.dxf.content import DrawnMark, Origin, Vector, grouped, tree_of

ROUNDNESS = 0.03  # largest deviation of a point from the circle, in radii
FULL_TURN = 0.7  # share of the full turn that must be covered
WHOLE = 0.85  # share that a piece covers that is a ring by itself: eight corners leave 0.125
ARC_TURN = 1.0  # rad of explicit arcs about one centre that make a mark: half-hidden spheres show little more
MAX_LINES = 8  # lines with one middle that are looked at for a cross
MIN_CHAIN = 8  # fewest straight lines that may stand for a circle


Piece = tuple[Vector, Origin]  # points along a curve, shape (n, 3), n >= 3
Arc = tuple[DrawnMark, float]  # what it would be as a whole circle, and the angle it covers (rad)


def fit(points: Vector) -> tuple[Vector, float, float]:
    """Return centre, radius and worst relative deviation of the least-squares circle in space.

    The deviation is infinite where the points make no circle (fewer than 3, or in line).
    """
    unique = np.unique(np.round(points, 9), axis=0)
    mean = unique.mean(axis=0)
    if len(unique) < 3:
        return mean, 0.0, np.inf
    _, size, axes = np.linalg.svd(unique - mean, full_matrices=False)
    if size[1] < 1e-6 * max(size[0], 1e-300):
        return mean, 0.0, np.inf
    flat = (unique - mean) @ axes[:2].T
    system = np.column_stack([2.0 * flat, np.ones(len(flat))])
    solution = np.linalg.lstsq(system, (flat**2).sum(axis=1), rcond=None)[0]
    radius = float(np.sqrt(max(solution[2] + solution[:2] @ solution[:2], 0.0)))
    if radius == 0.0:
        return mean, 0.0, np.inf
    off = np.abs(np.linalg.norm(flat - solution[:2], axis=1) - radius).max() / radius
    out = np.abs((unique - mean) @ axes[2]).max() / radius
    return mean + solution[:2] @ axes[:2], radius, float(max(off, out))


def covered(points: Vector, centre: Vector) -> float:
    """Return the share of the turn about `centre` that the points cover: 1 less the widest gap."""
    spokes = points - centre
    _, _, axes = np.linalg.svd(spokes, full_matrices=False)
    angle = np.sort(np.arctan2(spokes @ axes[1], spokes @ axes[0]))
    gaps = np.diff(np.append(angle, angle[0] + 2.0 * np.pi))
    return float(1.0 - gaps.max() / (2.0 * np.pi)) if len(gaps) else 0.0


def marks_of(pieces: list[Piece], arcs: list[Arc]) -> list[DrawnMark]:
    """Return one mark for every round that the pieces make and for every centre with arcs enough."""
    fits = [(points, origin, *fit(points)) for points, origin in pieces]
    sound = [(p, DrawnMark(c, r, "circle", o)) for p, o, c, r, off in fits if off <= ROUNDNESS and np.isfinite(r)]
    marks = []
    whole = [covered(p, m.xyz) >= WHOLE for p, m in sound]
    for parts, share in (([s for s, w in zip(sound, whole, strict=True) if w], 1e-3),  # two rings are two joints
                         ([s for s, w in zip(sound, whole, strict=True) if not w], 0.1)):  # fmt: skip
        for group in _together([m for _, m in parts], share):
            points = np.vstack([parts[i][0] for i in group])
            centre, radius, off = fit(points)
            if off <= ROUNDNESS and covered(points, centre) >= FULL_TURN:
                marks.append(DrawnMark(centre, radius, "circle", parts[group[0]][1].origin))
    groups = _together([m for m, _ in arcs], 1e-3)
    return marks + [arcs[g[0]][0] for g in groups if sum(arcs[i][1] for i in g) >= ARC_TURN]


def _together(marks: list[DrawnMark], share: float) -> list[list[int]]:
    """Group circles whose centres agree within `share` of their radius and whose radii agree likewise."""
    groups: list[list[int]] = []
    radii, tree = np.array([m.reach for m in marks]), tree_of(m.xyz for m in marks)
    taken = np.zeros(len(radii), dtype=bool)
    for i in np.argsort(radii, kind="stable"):
        if taken[i]:
            continue
        near = [j for j in tree.query_ball_point(marks[i].xyz, share * radii[i]) if not taken[j]]
        group = [j for j in near if abs(radii[j] - radii[i]) <= share * radii[i]]
        taken[group] = True
        groups.append(group)
    return groups


def chains(lines: list[tuple[Vector, Vector, Origin]]) -> list[Piece]:
    """Return the closed chains among straight lines: each of at least MIN_CHAIN, two of them at every corner."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    if len(lines) < MIN_CHAIN:
        return []
    ends = np.array([[a, b] for a, b, _ in lines]).reshape(-1, 3)
    extent = float(np.ptp(ends, axis=0).max()) or 1.0
    nodes, index = np.unique(np.round(ends / (1e-7 * extent)), axis=0, return_inverse=True)
    once, first = np.unique(np.sort(index.reshape(-1, 2), axis=1), axis=0, return_index=True)  # lines over each other
    long = once[:, 0] != once[:, 1]
    once, first = once[long], first[long]
    start, end, count = _parted(nodes, once)
    graph = coo_array((np.ones(len(start)), (start, end)), shape=(count, count))
    parts, label = connected_components(graph, directed=False)
    degree = np.bincount(np.concatenate([start, end]), minlength=count)
    plain = np.bincount(label, weights=degree != 2, minlength=parts) == 0
    size = np.bincount(label, minlength=parts)
    wanted = plain & (size >= MIN_CHAIN)
    found = grouped((int(k), int(row)) for row, k in zip(first, label[start], strict=True) if wanted[k])
    return [(ends.reshape(-1, 2, 3)[rows, 0], lines[rows[0]][2]) for _, rows in sorted(found.items())]


def _parted(nodes: Vector, lines: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp], int]:
    """Nodes at which lines (n, 2) begin and end, and how many there are: where rings share a corner, one for each.

    A ring goes on as it turned before: with unit directions d, the next is 2 (d1 · d0) d1 − d0.
    """
    out, count = lines.copy(), len(nodes)
    degree = np.bincount(lines.ravel(), minlength=count)
    if not (degree == 4).any():
        return lines[:, 0], lines[:, 1], count
    at = grouped((int(node), row) for row, ends in enumerate(lines) for node in ends if degree[node] in (2, 4))

    def way(row: int, node: int) -> Vector:
        """Unit direction of a line that begins at a node."""
        line: Vector = nodes[lines[row].sum() - node] - nodes[node]
        return line / float(np.linalg.norm(line))

    def next_line(row: int, node: int) -> int | None:
        before = int(lines[row].sum() - node)
        if degree[before] != 2:
            return None
        (last,) = (r for r in at[before] if r != row)
        d0, d1 = -way(last, before), way(row, before)
        ahead = 2.0 * (d1 @ d0) * d1 - d0
        return max((r for r in at[node] if r != row), key=lambda r: float(ahead @ way(r, node)))

    for node in np.flatnonzero(degree == 4).tolist():
        following = {row: next_line(row, node) for row in at[node]}
        if all(follower is not None and following[follower] == row for row, follower in following.items()):
            first = at[node][0]
            for row in (first, following[first]):
                out[row][out[row] == node] = count
            count += 1
    return out[:, 0], out[:, 1], count


def crosses(lines: list[tuple[Vector, Vector, Origin]]) -> list[DrawnMark]:
    """Return a mark for every cross among straight lines; its reach is half a line's length."""
    if not lines:
        return []
    ends = np.array([[a, b] for a, b, _ in lines]).reshape(-1, 2, 3)
    middle, arm = ends.mean(axis=1), (ends[:, 1] - ends[:, 0]) / 2.0
    size = np.linalg.norm(arm, axis=1)
    step = 1e-6 * (float(np.ptp(ends.reshape(-1, 3), axis=0).max()) or 1.0)
    places = grouped((tuple(place), row) for row, place in enumerate(np.round(middle / step)))
    return [
        DrawnMark(middle[i], float(size[i]), "circle", lines[i][2])
        for rows in places.values()
        for i, j in combinations(rows[:MAX_LINES], 2)
        if lines[i][2].layer == lines[j][2].layer
        and size[j] > 0.0
        and abs(size[i] / size[j] - 1.0) < 1e-3
        and abs(float(arm[i] @ arm[j])) < 1e-3 * size[i] * size[j]
    ]
