"""A scene on a PyVista plotter: one surface and one set of strokes for each role, moved in place. Knows no Qt.

Drawing by role keeps the number of actors small, which is what a frame costs in software rendering.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.writing.style import INK
from kin3d_viewer.geometry import Mesh, joined, strokes, surface
from kin3d_viewer.level import Level
from kin3d_viewer.overlay import BOTTOM_PX, Overlay
from kin3d_viewer.primitives import Array, Ball, Label, Primitive, Scene, Solid
from kin3d_viewer.scene import visible
from kin3d_viewer.solids import solid_surface
from kin3d_viewer.style import PAPER, PICKED, ROLES, SHOWN
from kin3d_viewer.views import VIEWS, Framing, framing, seen_places

SPECULAR = 0.18
LEAST_FREE = 0.3  # of the height, for the linkage
SAME_VIEW = 0.99999  # cosine within which a camera has not been turned
EDGES = {"ground": 0.16, "wheel": 0.75, "A wheel": 0.35, "B wheel": 0.35}  # opacity of lines that only help
FIT = ("front centres", "side centres", "screw axis")


class Stage:
    """Draws scenes on a plotter.

    Parameters
    ----------
    plotter : pyvista.Plotter or pyvistaqt.QtInteractor
    layers : iterable of str
        Layers that are shown at first.

    Attributes
    ----------
    layers : set of str
        Change it, then call `show`.
    scene : Scene or None
        What is shown.
    marker : float
        Size of the marks of centres, as part of the usual one; change it, then call `show`.
    """

    def __init__(self, plotter: Any, layers: tuple[str, ...] = SHOWN) -> None:
        self.plotter = plotter
        self.layers = set(layers)
        self.scene: Scene | None = None
        self.highlights: tuple[str, ...] = ()
        self.marker = 1.0
        self._drawn: dict[str, _Drawn] = {}
        self.overlay = Overlay(plotter)
        plotter.set_background(PAPER)

    def show(self, scene: Scene) -> None:
        """Bring the actors to a scene, and the camera along with its ground; renders nothing."""
        self._lean(self.scene.level if self.scene is not None else scene.level, scene.level)
        self.scene = scene
        items = [self._sized(p) for p in visible(scene, self.layers)]
        groups: dict[str, list[Primitive]] = {}
        for item in items:
            groups.setdefault(item.role, []).append(item)
        for role in ROLES:
            self._role(role, groups.get(role, []))
        self._mark(items)
        self.overlay.labels = [p for p in items if isinstance(p, Label)]

    def _role(self, role: str, items: list[Primitive]) -> None:
        solids = [solid_surface(p) if isinstance(p, Solid) else surface(p) for p in items]
        lines = [s for p in items for s in strokes(p)]
        self._put(role, joined(solids), role)
        self._put(f"{role}/strokes", lines, role)

    def _put(self, name: str, what: Mesh | list[Array], role: str) -> None:
        count = len(what.points) if isinstance(what, Mesh) else len(what)
        if name not in self._drawn:
            if not count:
                return
            self._drawn[name] = _Drawn(self.plotter, name, role, isinstance(what, Mesh))
        self._drawn[name].bring(what)

    def _mark(self, items: list[Primitive]) -> None:
        """A larger ball about each point that is picked."""
        chosen = [p for p in items if p.name in self.highlights and isinstance(p, Ball)]
        rings = [surface(Ball("", "contact", p.centre, 2.3 * p.radius_mm, "ball")) for p in chosen]
        self._put("picked", joined(rings), "contact")

    def _sized(self, item: Primitive) -> Primitive:
        """Marks of places that are constructed have a size of their own in a picture of a small region."""
        if isinstance(item, Ball) and not item.point and self.marker != 1.0:
            return replace(item, radius_mm=self.marker * item.radius_mm)
        return item

    def _lean(self, before: Level, now: Level) -> None:
        """Keep the ground where it is in the picture, wherever the camera stands."""
        if np.array_equal(before.normal, now.normal):
            return
        camera = self.plotter.camera
        place, target = (now.back(before.seen(np.array(p))) for p in (camera.position, camera.focal_point))
        camera.position, camera.focal_point = place, target
        camera.up = now.turn @ before.turn.T @ np.array(camera.up)

    def places(self, focus: str = "axle", *, wide: bool = True) -> Array:
        """What a camera must hold, with centres and axes that are shown where `wide`; picture's frame, shape (n, 3)."""
        assert self.scene is not None
        out = [seen_places(self.scene, focus)]
        if wide and focus == "axle":
            for item in visible(self.scene, self.layers & set(FIT)):
                if (
                    isinstance(item, Ball)
                    and np.linalg.norm(item.centre - self.scene.centre) < 3.0 * self.scene.size_mm
                ):
                    out.append(item.centre[None])
        return self.scene.level.seen(np.concatenate(out))

    def look(self, view: str, focus: str = "axle", places: Array | None = None) -> Framing:
        """Put the camera to a view that holds what there is, or the places given (picture's frame, shape (n, 3))."""
        width, height = (max(1, n) for n in self.plotter.window_size)  # a window that was never shown has no size
        free = max(LEAST_FREE, 1.0 - 2.0 * max(self.overlay.top_px, BOTTOM_PX * self.overlay.scale) / height)
        held = self.places(focus) if places is None else places
        found = framing(view, held, width / height, 1.06, free)
        self.aim(found)
        self.overlay.view = view
        return found

    def still_in_view(self) -> bool:
        """Whether the camera still looks from where the view that was taken last put it."""
        if self.scene is None or self.overlay.view not in VIEWS:
            return False
        camera = self.plotter.camera
        back = self.scene.level.turn.T @ (np.array(camera.position) - np.array(camera.focal_point))
        asked = np.array(VIEWS[self.overlay.view].towards)
        same = back @ asked / (np.linalg.norm(back) * np.linalg.norm(asked)) > SAME_VIEW
        return bool(same) and bool(camera.parallel_projection) == VIEWS[self.overlay.view].parallel

    def aim(self, frame: Framing) -> None:
        """Put the camera to a framing, given in the picture's frame."""
        assert self.scene is not None
        camera, level = self.plotter.camera, self.scene.level
        camera.position, camera.focal_point = level.back(frame.place), level.back(frame.target)
        camera.up = level.turn @ frame.up
        camera.parallel_projection = frame.parallel
        if frame.parallel:
            camera.parallel_scale = frame.half_height_mm
        else:
            camera.view_angle = 22.0
        self.plotter.renderer.ResetCameraClippingRange()

    def frame(self) -> None:
        """Arrange labels for the camera as it stands, and render."""
        self.plotter.renderer.ResetCameraClippingRange()
        self.overlay.arrange()
        self.plotter.render()


class _Drawn:
    """One actor whose points are replaced in place while its triangles or strokes stay the same."""

    def __init__(self, plotter: Any, name: str, role: str, solid: bool) -> None:
        import pyvista

        look = ROLES[role]
        self.solid = solid
        self.mesh = pyvista.PolyData()
        self.key: tuple[int, ...] = ()
        mapper = pyvista.DataSetMapper()
        self.actor = pyvista.Actor(mapper=mapper)
        mapper.SetInputData(self.mesh)
        mapper.ScalarVisibilityOff()
        prop = self.actor.prop
        prop.color = look.colour if solid or role not in EDGES else INK
        prop.ambient, prop.diffuse, prop.specular, prop.specular_power = 0.32, 0.72, SPECULAR, 24.0
        prop.opacity = look.opacity
        if role.endswith("wheel"):
            prop.culling = "back"  # four walls of two tyres one behind the other would hide what stands within
        if not solid:
            prop.lighting = False
            prop.line_width = look.width_px if look.dash or "path" in role or "sense" in role else 1.2
            prop.opacity = EDGES.get(role, 1.0)
        if name == "picked":
            prop.opacity, prop.color = 0.5, PICKED
        plotter.renderer.AddActor(self.actor)

    def bring(self, what: Mesh | list[Array]) -> None:
        """Take new places."""
        if isinstance(what, Mesh):
            self._triangles(what)
        else:
            self._lines(what)

    def _triangles(self, what: Mesh) -> None:
        self.actor.SetVisibility(bool(len(what.points)))
        if not len(what.points):
            return
        key = (len(what.points), len(what.triangles), int(what.triangles.sum()))
        if key == self.key:
            np.copyto(self.mesh.points, what.points)
            np.copyto(self.mesh.point_data["Normals"], what.normals)
        else:
            self.key = key
            self.mesh.points = what.points.astype(np.float32)
            self.mesh.faces = _cells(what.triangles)
            self.mesh.point_data.clear()
            self.mesh.point_data["Normals"] = what.normals.astype(np.float32)
            self.mesh.point_data.active_normals_name = "Normals"
        self.mesh.GetPoints().Modified()
        self.mesh.GetPointData().GetNormals().Modified()
        self.mesh.Modified()

    def _lines(self, what: list[Array]) -> None:
        self.actor.SetVisibility(bool(what))
        if not what:
            return
        key = tuple(len(s) for s in what)
        points = np.concatenate(what).astype(np.float32)
        if key == self.key:
            np.copyto(self.mesh.points, points)
        else:
            self.key = key
            self.mesh.points = points
            starts = np.cumsum([0, *key[:-1]])
            self.mesh.lines = np.concatenate([[n, *range(s, s + n)] for s, n in zip(starts, key, strict=True)])
        self.mesh.GetPoints().Modified()
        self.mesh.Modified()


def _cells(triangles: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.column_stack([np.full(len(triangles), 3), triangles]).ravel()
