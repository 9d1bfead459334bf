"""Points out of a part's mesh: the bore or spherical seat near each named point, with its deviation."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.frames import VEHICLE_AXES, parse_axes
from kin3d.linkage.car import MeshFile, PointTable, TableErrors
from kin3d.reading.meshes import ENDINGS, read_mesh
from kin3d.reading.points import read_points_csv, write_points_csv
from kin3d.spatial.bores import REACH_MM, FoundBore, find_bore
from kin3d.units import length_factor
from kin3d.writing.files import check_place
from kin3d.writing.panels import draw_grid
from kin3d.writing.result import Result
from kin3d.writing.style import CARS, SOFT
from kin3d.writing.tables import Column, Table

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]
LEAST_KNOWN = 3
MISFIT = 3.0  # deviations beyond which a known point does not fit


@dataclass(frozen=True, slots=True, repr=False)
class ImportedBores(Result):
    """Bores of a part.

    Attributes
    ----------
    source : Path
        The mesh.
    bores : mapping of str to FoundBore
        By point, in the frame of the mesh's axes and mm, vehicle directions.
    points : PointTable
        Their centres, mm; in the vehicle where the part was placed by known points.
    missed : tuple of str
        Points near which nothing was found.
    misfits : mapping of str to float
        How far each known point lies from its bore after the part was placed, mm.
    findings : tuple of Finding
    """

    kind = "import"

    source: Path
    bores: dict[str, FoundBore]
    points: PointTable
    missed: tuple[str, ...]
    misfits: dict[str, float]
    findings: tuple[Finding, ...]

    @property
    def complete(self) -> bool:
        """Whether every point was found."""
        return not self.missed

    def summary(self) -> str:
        """How many were found."""
        missed = f", nothing found near {', '.join(self.missed)}" if self.missed else ""
        placed = ", placed by known points" if self.misfits else ""
        return f"{self.source.name}: {len(self.bores)} bores and seats{placed}{missed}"

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:  # noqa: ARG002 - none to choose
        """A row a point."""
        columns = (
            Column("point", text=True, key=True),
            *(Column(c, places=3) for c in "xyz"),
            Column("kind", text=True),
            Column("diameter_mm", head="diameter", places=3),
            Column("length_mm", head="length", places=2),
            Column("sigma_across_mm", head="σ across", places=3),
            Column("sigma_along_mm", head="σ along", places=2),
            Column("residual_mm", head="residual", places=3),
            Column("round_pct", head="round %", places=0),
            *((Column("misfit_mm", head="from known", places=2),) if self.misfits else ()),
        )
        rows = []
        for name, bore in self.bores.items():
            ball = bore.axis is None
            more = (self.misfits.get(name),) if self.misfits else ()
            rows.append(
                (
                    name, *map(float, self.points[name]), "sphere" if ball else "cylinder", 2.0 * bore.radius,
                    None if ball else bore.length, bore.sigma_across, bore.sigma_along, bore.residual,
                    None if ball else 100.0 * bore.share, *more,
                )
            )  # fmt: skip
        return (Table.of("bores", columns, rows, f"{self.source.name}: mm"),)

    def records(self) -> tuple[Table, ...]:
        """The same with axes."""
        heads = ("point", "x_mm", "y_mm", "z_mm", "kind", "diameter_mm", "length_mm", "axis_x", "axis_y", "axis_z")
        more = ("sigma_across_mm", "sigma_along_mm", "residual_mm", "corners")
        rows = []
        for name, b in self.bores.items():
            axis = (None,) * 3 if b.axis is None else tuple(map(float, b.axis))
            kind = "sphere" if b.axis is None else "cylinder"
            place = tuple(map(float, self.points[name]))
            figures = (b.sigma_across, b.sigma_along, b.residual, len(b.corners))
            rows.append((name, *place, kind, 2.0 * b.radius, b.length, *axis, *figures))
        return (Table.of("bores", (*heads, *more), rows),)

    def notes(self) -> tuple[str, ...]:
        """What a bore does not tell."""
        return ("A bore does not tell where along it the joint is: its middle is taken, with half its length as σ.",)

    def plot(self, path: str | PathLike[str], measures: Sequence[str] | None = None) -> None:  # noqa: ARG002
        """Draw each bore along its axis: its corners, the fitted circle, misses twenty times as large."""
        draws = [_drawn(name, bore) for name, bore in self.bores.items()]
        draw_grid(f"{self.source.name}: bores seen along their axes", draws, Path(path), width=3.4)

    def save(self, path: str | PathLike[str], table: str | None = None) -> int:
        """Write the points with their covariance beside them (``.csv``), or all there is to say of them (``.json``)."""
        if Path(path).suffix.lower() != ".csv":
            return Result.save(self, path, table)
        check_place(Path(path), (".csv", ".json"), "save")
        write_points_csv(self.points, Path(path))
        return len(self.points.names)


def import_bores(
    mesh: str | PathLike[str],
    near: str | PathLike[str],
    *,
    units: str | None = None,
    axes: str | None = None,
    known: str | PathLike[str] | None = None,
    body: str = "",
) -> ImportedBores:
    """Find the bore or spherical seat of a part near each point of a table.

    Parameters
    ----------
    mesh : path-like
        STL, OBJ, PLY or GLB.
    near : path-like
        A point table (CSV) with the names wanted and about where each is, within 10 mm or so, in the frame and unit of
        the mesh.
    units : str
        Of the mesh and of the table: ``"mm"``. Never guessed.
    axes : str, optional
        Of both; default those of the vehicle. Of a part in a frame of its own they do not matter.
    known : path-like, optional
        A point table in mm and the vehicle's axes with three or more of the names: the part is placed by them.
    body : str
        Which part it is, for the points' notes.

    Returns
    -------
    ImportedBores

    Raises
    ------
    ReadingError, RequestError
        For files that cannot be used.
    """
    path = Path(mesh)
    if path.suffix.lower() not in ENDINGS:
        text = f"is not a mesh; expected a file ending in {' or '.join(ENDINGS)}"
        raise RequestError(Finding("mesh-kind", text, str(path)))
    if units is None:
        raise RequestError(Finding("units-missing", "is missing and never guessed; give the mesh's unit", "units"))
    along = axes or VEHICLE_AXES
    turn = length_factor(units) * parse_axes(along)
    x, y, z = turn.tolist()
    data = read_mesh(MeshFile(path, (tuple(x), tuple(y), tuple(z))))
    table = read_points_csv(Path(near), units=units, axes=along)
    low, high = data.points.min(axis=0) - REACH_MM, data.points.max(axis=0) + REACH_MM
    outside = [n for n in table.names if not ((table[n] > low) & (table[n] < high)).all()]
    if len(outside) == len(table.names):
        size = np.ptp(data.points, axis=0).max()
        text = f"none of its points lies by the mesh, which is {size:.3g} mm across: is the unit or the frame another?"
        raise RequestError(Finding("points-far", text, str(near)))
    sense = -1.0 if data.inverted else 1.0
    bores: dict[str, FoundBore] = {}
    missed = []
    for name in table.names:
        found = find_bore(data.points, data.triangles, sense * data.normals, table[name])
        if found is None:
            missed.append(name)
        else:
            bores[name] = found
    if not bores:
        text = (
            f"no bore or spherical seat of 3 to 120 mm diameter is within {REACH_MM:g} mm of any of its points: is the "
            f"unit another than {units}, or the frame?"
        )
        raise RequestError(Finding("bores-none", text, str(near)))
    findings = [
        Finding("bore-missing", f'no bore or seat within {REACH_MM:g} mm of "{n}"', str(near), Severity.WARNING)
        for n in missed
    ]
    if not data.closed:
        text = "is open: some edges have one triangle; bores are looked for all the same"
        findings.append(Finding("mesh-open", text, str(path), Severity.WARNING))
    points = _table(path, bores, np.eye(3), np.zeros(3))
    misfits: dict[str, float] = {}
    if known is not None:
        points, misfits, told = _placed(path, bores, read_points_csv(Path(known), units="mm", axes=VEHICLE_AXES))
        findings += told
    points = replace(points, notes=tuple(f"{body}: {n}" if body else n for n in points.notes))
    return ImportedBores(path, bores, points, tuple(missed), misfits, tuple(findings))


def _table(
    path: Path, bores: dict[str, FoundBore], turn: Array, shift: Array, common: Array | None = None
) -> PointTable:
    """Centres as a point table whose errors are principal directions of each covariance, and those in common."""
    names = tuple(bores)
    xyz = np.array([turn @ b.centre + shift for b in bores.values()]).reshape(-1, 3)
    effects, said = [], []
    for row, (name, bore) in enumerate(bores.items()):
        values, ways = np.linalg.eigh(turn @ bore.covariance @ turn.T)
        for k in range(3):
            effect = np.zeros((len(names), 3))
            effect[row] = np.sqrt(max(float(values[k]), 0.0)) * ways[:, k]
            effects.append(effect)
            said.append(f"bore {name} {k + 1}")
    if common is not None:
        effects += list(common)
        said += [f"placing of the part {k + 1}" for k in range(len(common))]
    every = np.array(effects).reshape(-1, len(names), 3)
    sigma = np.sqrt((every**2).sum(axis=0))
    errors = TableErrors(every, tuple(said), ("",) * len(said)) if len(names) else None
    notes = tuple("bore" if b.axis is not None else "spherical seat" for b in bores.values())
    return PointTable(path, names, xyz, sigma, ("",) * len(names), notes, (), errors)


def _placed(
    path: Path, bores: dict[str, FoundBore], known: PointTable
) -> tuple[PointTable, dict[str, float], list[Finding]]:
    """The part turned and moved onto known points, each weighed by what is sure of it and of its bore."""
    shared = [n for n in known.names if n in bores]
    if len(shared) < LEAST_KNOWN:
        have = ", ".join(shared) or "none"
        text = f"has {len(shared)} points of the part that were found ({have}); three or more are expected"
        raise RequestError(Finding("known-few", text, str(known.source)))
    own, there = np.array([bores[n].centre for n in shared]), np.array([known[n] for n in shared])
    spread = np.linalg.svd(own - own.mean(axis=0), compute_uv=False)
    if spread[1] < 1.0:
        text = "its points lie in line; a part is placed by three that do not"
        raise RequestError(Finding("known-in-line", text, str(known.source)))
    u, _, v = np.linalg.svd((own - own.mean(axis=0)).T @ (there - there.mean(axis=0)))
    turn = v.T @ np.diag([1.0, 1.0, np.sign(np.linalg.det(v.T @ u.T))]) @ u.T
    shift = there.mean(axis=0) - turn @ own.mean(axis=0)
    sigmas = np.array([known.sigma_mm[known.names.index(n)] for n in shared])
    normal = np.eye(6)
    for _ in range(8):
        normal, pull = np.zeros((6, 6)), np.zeros(6)
        for n, p, q, s in zip(shared, own, there, sigmas, strict=True):
            arm = turn @ p
            jacobian = np.hstack([_cross(arm).T, np.eye(3)])
            weight = np.linalg.inv(turn @ bores[n].covariance @ turn.T + np.diag(np.maximum(s, 0.01) ** 2))
            normal += jacobian.T @ weight @ jacobian
            pull += jacobian.T @ weight @ (q - arm - shift)
        step = np.linalg.solve(normal, pull)
        turn, shift = _turned(np.asarray(step[:3])) @ turn, shift + step[3:]
    values, ways = np.linalg.eigh(np.linalg.inv(normal))
    arms = np.array([turn @ b.centre for b in bores.values()])
    common = np.array(
        [np.sqrt(max(float(values[k]), 0.0)) * (np.cross(ways[:3, k], arms) + ways[3:, k]) for k in range(6)]
    )
    misfits = {n: float(np.linalg.norm(turn @ p + shift - q)) for n, p, q in zip(shared, own, there, strict=True)}
    told = []
    for n, s in zip(shared, sigmas, strict=True):
        size = float(np.sqrt(np.trace(bores[n].covariance) + (np.maximum(s, 0.01) ** 2).sum()))
        if misfits[n] > MISFIT * size:
            text = f'"{n}" is {misfits[n]:.2f} mm from its bore after placing, {misfits[n] / size:.1f} deviations'
            told.append(Finding("known-misfit", text, str(known.source), Severity.WARNING))
    return _table(path, bores, turn, shift, common), misfits, told


def _cross(a: Array) -> Array:
    """Matrix of a vector product."""
    return np.array([[0.0, -a[2], a[1]], [a[2], 0.0, -a[0]], [-a[1], a[0], 0.0]])


def _turned(turn: NDArray[np.floating]) -> Array:
    """Matrix of a turn vector."""
    from scipy.spatial.transform import Rotation

    return np.asarray(Rotation.from_rotvec(turn).as_matrix())


def _drawn(name: str, bore: FoundBore) -> Callable[[Axes], None]:
    def draw(ax: Axes) -> None:
        axis = np.array([0.0, 0.0, 1.0]) if bore.axis is None else bore.axis
        x = np.cross(axis, np.eye(3)[int(np.abs(axis).argmin())])
        x /= np.linalg.norm(x)
        apart = bore.corners - bore.centre
        if bore.axis is not None:
            apart = apart - (apart @ axis)[:, None] * axis
        size = np.linalg.norm(apart, axis=1, keepdims=True)
        grown = apart / size * (bore.radius + 20.0 * (size - bore.radius))
        turn = np.linspace(0.0, 2.0 * np.pi, 200)
        ax.plot(bore.radius * np.cos(turn), bore.radius * np.sin(turn), color=CARS[0], lw=1.4)
        ax.plot(grown @ x, grown @ np.cross(axis, x), ".", color=SOFT, ms=3)
        ax.plot(0.0, 0.0, "+", color=CARS[0])
        ax.set_aspect("equal")
        kind = "sphere" if bore.axis is None else "bore"
        ax.set_title(f"{name}: {kind} Ø {2 * bore.radius:.2f} mm", loc="left")
        ax.set_xlabel(f"mm; misses × 20, rms {bore.residual:.3f} mm")

    return draw

