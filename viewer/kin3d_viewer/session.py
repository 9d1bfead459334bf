"""What is looked at: an axle of a car, perhaps another car beside it, where the sliders stand. Knows no window."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName
from kin3d.measures.gaps import ShapePair
from kin3d.writing.style import COMPRESSION, TENSION
from kin3d_viewer.curves import Curves
from kin3d_viewer.editing import Editor, Step
from kin3d_viewer.forces import CaseShown, rod_force
from kin3d_viewer.labels import short_title
from kin3d_viewer.model import Drives, LiveModel, View
from kin3d_viewer.primitives import Scene
from kin3d_viewer.scene import Other, scene
from kin3d_viewer.scene_forces import THICKNESS
from kin3d_viewer.scene_gaps import gap_pairs, lacking_gaps
from kin3d_viewer.scene_marks import with_marks
from kin3d_viewer.style import CARS
from kin3d_viewer.wanted import OpenTargets, WantedBand


@dataclass(eq=False)
class Session:
    """A car under the eye, and the other one as a ghost.

    Attributes
    ----------
    editor : Editor
        The car that is shown and changed.
    other : LiveModel or None
        The ghost; never changed.
    lacking : str
        What is missing for a force, after a scene was asked to show it.
    swapped : bool
        Whether the cars have changed places; each keeps its colour.
    marked : tuple of str
        Names of balls of the scene whose names stand beside them: the points that are picked.
    ruler : (str, str) or None
        Names of two balls whose distance is shown.
    load : CaseShown
        The load case whose forces the layer ``forces`` shows.
    targets : OpenTargets or None
        The targets file whose wants are drawn in the curves.
    """

    editor: Editor
    other: LiveModel | None = None
    lacking: str = field(init=False, default="")
    swapped: bool = field(init=False, default=False)
    marked: tuple[str, ...] = field(init=False, default=())
    ruler: tuple[str, str] | None = field(init=False, default=None)
    load: CaseShown = field(init=False, default_factory=CaseShown)
    targets: OpenTargets | None = field(init=False, default=None)
    _loaded: bool = field(init=False, default=False)  # whether the last scene shows forces of a load case
    _ghost: tuple[tuple[object, ...], View] | None = field(init=False, default=None)
    _resting: Editor | None = field(init=False, default=None)

    @staticmethod
    def of(car: Car, axle: AxleName, drives: Drives, other: Car | None = None, over: str = "travel_mm") -> Session:
        """Build it; raises what the model of either car raises."""
        model = LiveModel(car, axle, over)
        return Session(Editor(model, drives), None if other is None else LiveModel(other, axle, over))

    @property
    def view(self) -> View:
        """The state that is shown."""
        return self.editor.view

    @property
    def over(self) -> str:
        """What the curves run over."""
        return self.editor.model.over

    def swap(self) -> Step:
        """Show and change the other car, this one beside it; the changes of both stay, and can be taken back.

        Without another car nothing changes, and the reason is told.
        """
        if self.other is None:
            return Step(self.view, "there is no other car to swap with: open one beside")
        drives, here, over = self.editor.drives, self.editor, self.over
        if not self.other.rolls:  # it has no tyres to stand on
            drives, over = replace(drives, roll_deg=0.0), "travel_mm" if over == "roll_deg" else over
        self.other.over = over
        self.editor = self._resting or Editor(self.other)
        self._resting, self.other, self.swapped = here, here.model, not self.swapped
        self.other.over = over
        self._file.clear()
        self._ghost = None
        return self.editor.drive(**drives.as_dict())

    def stand_beside(self, car: Car | None) -> None:
        """Put another car beside the one that is shown, or none; raises what its model raises."""
        editor = self.editor
        self.other = None if car is None else LiveModel(car, editor.model.axle, editor.model.over)
        self._ghost = self._resting = None
        self.swapped = False

    @property
    def unsaved(self) -> tuple[str, ...]:
        """Titles of cars with changes that no file has."""
        return (*((self.editor.model.car.title,) if self.editor.unsaved else ()), *self.unsaved_beside)

    @property
    def unsaved_beside(self) -> tuple[str, ...]:
        """The same of the car beside."""
        beside = self._resting
        return (beside.model.car.title,) if beside is not None and beside.unsaved else ()

    def want(self, file: Path) -> None:
        """Open a targets file; raises everything that is wrong with it, or does not fit the car."""
        model = self.editor.model
        self.targets = OpenTargets.of(model.car, model.axle, file)

    def bands(self) -> tuple[WantedBand, ...]:
        """What is wanted over the drive of the curves."""
        return () if self.targets is None else self.targets.bands(self.view.curves, self.editor.drives)

    def tune(self) -> tuple[Step, str]:
        """Move the points of the file to where all is had that the targets want; can be undone.

        Returns
        -------
        step : Step
            With what stands in the way, where not all can be had: then nothing moves.
        said : str
            What was found.
        """
        if self.targets is None:
            return Step(self.view, "no targets are open: open them with Ctrl+T"), ""
        found = self.targets.solved(self.editor.model.car)
        if not found.met:
            return Step(self.view, "; ".join(found.verdict())), ""
        return self.editor.take(self.targets.side, found.space.places(found.moves)), found.summary()

    def run_over(self, drive: str) -> Step:
        """Let the curves run over another drive."""
        self.editor.model.over = drive
        if self.other is not None:
            self.other.over = drive
        return self.editor.drive()

    def run_through(self, at: Iterable[float]) -> None:
        """Solve positions of the sweep ahead, in one call a car, where the sliders are about to go there."""
        drives = [replace(self.editor.drives, **{self.over: float(v)}) for v in at]
        for model in (self.editor.model, self.other):
            if model is not None:
                model.solve(model.design, self.editor.drives)
                model.solve_ahead(drives)

    def ghost(self) -> View | None:
        """The other car at the same place of the sliders; None without one, or in roll without tyres."""
        rolled = self.editor.drives.roll_deg != 0.0 or self.over == "roll_deg"
        if self.other is None or (rolled and not self.other.rolls):
            return None
        key = (self.editor.drives, self.over, tuple(self.other.ranges[self.over]), id(self.other.design))
        if self._ghost is None or self._ghost[0] != key:
            self._ghost = key, self.other.solve(self.other.design, self.editor.drives)
        return self._ghost[1]

    @cached_property
    def _file(self) -> dict[object, Curves]:
        return {}

    def file_curves(self) -> Curves | None:
        """Curves of the unchanged car; None while nothing is changed."""
        if not self.editor.changed:
            return None
        model, drives = self.editor.model, self.editor.drives
        held = tuple(v for n, v in drives.as_dict().items() if n != self.over)
        key = (self.over, held, len(model.ranges[self.over]))
        if key not in self._file:
            self._file.clear()
            self._file[key] = model.solve(model.base.variants.design, drives).curves
        return self._file[key]

    def scene(self, layers: Collection[str] = ()) -> Scene:
        """The scene of the present state, with the forces that its layers ask for where they are known."""
        view, ghost = self.view, self.ghost()
        now = view.now
        self.lacking, self._loaded = "", False
        if "forces" in layers:
            loads = self.load.forces(self.editor.model, view)
            self.lacking = loads if isinstance(loads, str) else ""
            self._loaded = not self.lacking
            now = now if isinstance(loads, str) else replace(now, loads_n=loads)
        if "rod force" in layers:
            found = rod_force(self.editor.model, view)
            self.lacking = found if isinstance(found, str) else self.lacking
            now = now if isinstance(found, str) else replace(now, forces_n=found)
        front, beside = self.letters
        cage = "chassis" in layers
        pairs: tuple[ShapePair, ...] = ()
        if "gaps" in layers:
            axle = self.editor.model.base.axle
            pairs = gap_pairs(axle, view.curves.points[0])
            self.lacking = self.lacking or ("" if pairs else lacking_gaps(axle))
        others = [] if ghost is None else [Other(ghost.now, beside)]
        whole = scene(now, others, front if others else "", cage=cage, pairs=pairs)
        return with_marks(whole, self.marked, self.ruler)

    def caption(self) -> str:
        """One line: which car, which axle, where the sliders stand."""
        drives = self.editor.drives
        on_ground = bool(drives.roll_deg) or self.over == "roll_deg"
        parts = [f"{short_title(self.editor.model.car.title)}, {self.editor.model.axle} axle"]
        parts += [f"roll {drives.roll_deg:+.2f} deg"] if on_ground else []
        if drives.travel_mm or not on_ground:
            parts.append(f"{'heave' if on_ground else 'travel'} {drives.travel_mm:+.1f} mm")
        parts += [f"rack {drives.rack_mm:+.1f} mm"] if drives.rack_mm or self.over == "rack_mm" else []
        parts += [self.load.told(self.editor.model)] if self._loaded else []
        return "  ·  ".join(parts).replace("-", "−")

    def legend(self) -> tuple[tuple[str, str], ...]:
        """Colour and meaning of what is drawn of forces, after a scene that shows some."""
        if not self._loaded:
            return ()
        return (TENSION, "tension (+)"), (COMPRESSION, f"compression (−); {THICKNESS}")

    @property
    def letters(self) -> tuple[str, str]:
        """Which of the two colours the car that is shown has, and which the other."""
        return ("B", "A") if self.swapped else ("A", "B")

    @property
    def colours(self) -> tuple[str, str]:
        """The colours themselves."""
        front, beside = self.letters
        return CARS[front], CARS[beside]

    def cars(self) -> tuple[tuple[str, str], ...]:
        """Colour and title of both cars; nothing where there is one."""
        if self.other is None:
            return ()
        front, beside = self.colours
        return (front, self.editor.model.car.title), (beside, self.other.car.title)
