"""The built-in layouts as a result: what each is, and where its points are on the car; a car to start from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

from kin3d.errors import Finding, RequestError
from kin3d.linkage.layout import WHEEL_AXIS, Layout
from kin3d.linkage.layout_file import builtin, builtin_names, plain
from kin3d.linkage.names import AxleName
from kin3d.writing.result import Result
from kin3d.writing.tables import Column, Table

_LIST = (Column("layout", text=True), Column("what", head="what it is", long=True))
_POINTS = (Column("point", text=True), Column("where", head="where it is on the car", long=True))
ONCE = "stands once in the car"


@dataclass(frozen=True, slots=True, repr=False)
class LayoutList(Result):
    """Layouts that come with the program.

    Attributes
    ----------
    layouts : tuple of Layout
    one : bool
        Whether one was asked for by name: its points are shown then.
    """

    layouts: tuple[Layout, ...]
    one: bool = False
    kind = "layouts"

    def summary(self) -> str:
        """How many there are, or what one is."""
        if self.one:
            layout = self.layouts[0]
            return f"{layout.name}: {len(_points(layout))} points"
        return f"{len(self.layouts)} built-in layouts"

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:  # noqa: ARG002 - none to choose
        """The layouts, or the points of the one that was asked for."""
        if not self.one:
            return (Table.of("layouts", _LIST, [(y.name, y.about) for y in self.layouts], self.summary()),)
        layout = self.layouts[0]
        rows = [(point, note) for point, note in _points(layout).items()]
        drives = [f"--drive {d.name}: {d.unit}" for d in layout.drives]
        return (Table.of("points", _POINTS, rows, f"{layout.name}: {layout.about}", drives),)

    def records(self) -> tuple[Table, ...]:
        """A row a point of every layout."""
        rows = [(y.name, point, note) for y in self.layouts for point, note in _points(y).items()]
        return (Table.of("points", ("layout", "point", "where"), rows),)

    def plot(self, path: str | PathLike[str], measures: Sequence[str] | None = None) -> None:  # noqa: ARG002
        """Draw the layout that was asked for, its points with their names.

        Raises
        ------
        RequestError
            Where none was asked for by name.
        """
        from kin3d.studies.layout_drawing import draw_layout

        if not self.one:
            text = 'a picture is of one layout: give its name, kin3d layouts "twist beam" --plot twist_beam.svg'
            raise RequestError(Finding("layout-missing", text, str(path)))
        draw_layout(self.layouts[0], Path(path))

    def notes(self) -> tuple[str, ...]:
        """How to begin with one."""
        if self.one:
            name = self.layouts[0].name
            return (
                f'A car of this kind to start from: kin3d new FOLDER --layout "{name}"; where its points are, drawn: '
                f'kin3d layouts "{name}" --plot layout.svg',
            )
        return ('Points of one: kin3d layouts "NAME"; a car of it to start from: kin3d new FOLDER --layout "NAME"',)


def _points(layout: Layout) -> dict[str, str]:
    """Every point of a layout with its place in words."""
    once = layout.across.points
    notes = {p: layout.notes.get(p, "") for p in layout.known_points() if p != WHEEL_AXIS or p in layout.notes}
    return {p: f"{note} ({ONCE})" if p in once else note for p, note in notes.items()}


def list_layouts(name: str | None = None) -> LayoutList:
    """The built-in layouts, or one of them with its points.

    Parameters
    ----------
    name : str, optional
        One of the built-in layouts.

    Returns
    -------
    LayoutList

    Raises
    ------
    LayoutError
        For a name that is not one, with those that there are.
    """
    if name is None:
        return LayoutList(tuple(builtin(n) for n in builtin_names()))
    return LayoutList((builtin(plain(name)),), one=True)


# cases of a new car, some 3, 1.5, 1.6 and 2 times its load on a wheel at rest: name, force, whether the wheel is braked
TYRE_CASES = (
    ("bump", (0, 0, 8100), False),
    ("braking", (-4200, 0, 4000), True),
    ("outer wheel in a turn", (0, -4300, 4300), False),
    ("kerb", (-1500, -800, 5500), False),
)


def starting_car(name: str) -> dict[str, str]:
    """Files of an invented car with that layout on one axle, by file name: a car file and its table of points.

    Empty where the layout has no invented car of its own.

    Raises
    ------
    LayoutError
        For a name that is none of a built-in layout.
    """
    layout = builtin(plain(name))
    if not layout.demo:
        return {}
    axle: AxleName = "front" if layout.rack or layout.drives else "rear"
    once = layout.across.points
    rows = ["point,x,y,z,sigma,note"]
    for point, (x, y, z) in layout.demo.items():
        note = layout.notes.get(point, "") + (f" ({ONCE})" if point in once else "")
        rows.append(f'{point},{x:g},{y:g},{z:g},1,"{note}"')
    return {"car.toml": _car_file(layout, axle), f"{axle}.csv": "\n".join([*rows, ""])}


def _car_file(layout: Layout, axle: AxleName) -> str:
    springs = [p.spring for p in layout.parts if p.spring and set(p.spring) <= set(layout.demo)]
    lines = [
        f"# An invented car, {layout.name}: put your own figures in the place of these.",
        "# `kin3d guide points` has every key.",
        'title = "My car"',
        "",
        "[car]",
        "wheelbase_mm = 2500",
        "cg_height_mm = 450              # height of the centre of mass over the ground",
        "mass_kg = 1100",
        "front_mass_share = 0.5          # of the static load",
        "front_brake_share = 0.6         # of the braking force",
        f'drive = "{axle}"'.ljust(32) + '# "front", "rear", "all"',
        "",
        f"[{axle}]",
        f'points = "{axle}.csv"',
        'units = "mm"',
        'axes = "x forward, y left, z up"',
        'side = "left"                   # of which the table gives the points',
        f'layout = "{layout.name}"',
        "loaded_radius_mm = 290          # height of the wheel centre over the ground",
        "camber_deg = -1                 # static; top of the wheel outboard is positive",
        "toe_deg = 0.1                   # static, one wheel; toe-in is positive",
    ]
    if layout.name.startswith("live axle") or layout.name == "torque tube axle":
        lines.append('drive_torque = "upright"         # its final drive stands on the axle')
    if springs:
        lines += ["", f"[{axle}.spring]", "rate_n_per_mm = 30", "design_force_n = 2600"]
    if springs and not all(map(layout.across.once, springs[0])):  # one across the car does not hold one tyre
        lines += ["", "# for `kin3d forces`: the road's force on one tyre; usual ones, common practice, no source"]
        lines += [line for case in TYRE_CASES for line in _case_lines(axle, *case)]
    return "\n".join([*lines, ""])


def _case_lines(axle: AxleName, name: str, contact_n: tuple[int, int, int], braked: bool) -> list[str]:
    lines = ["[[cases]]", f'name = "{name}"', f'axle = "{axle}"', 'side = "left"', f"contact_n = {list(contact_n)}"]
    return [*lines, *(['wheel = "braked"'] if braked else []), ""]
