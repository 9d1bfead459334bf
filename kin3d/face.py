"""The functions of the face that open the viewer: the report with its moving linkage, the view, the marking window."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from importlib import import_module
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName, did_you_mean
from kin3d.report.result import Report
from kin3d.studies.compare import SAMPLES
from kin3d.studies.fit import Scale
from kin3d.studies.report_data import collect
from kin3d.studies.significance import THRESHOLD
from kin3d.studies.tolerance import SEED

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from kin3d.studies.report_data import ReportData

TRAVEL = tuple(2.5 * k for k in range(-16, 17))
# what is asked of a linkage first: the curves beside the moving one, so many of them as there are
ASKED = ("roll_centre_height_mm", "camber_deg", "anti_dive_pct", "anti_squat_pct", "motion_ratio", "toe_deg")
MOST_CURVES = 4
_VIEWER = ("model", "page", "pictures", "session")
_DRIVES = {"travel": "travel_mm", "rack": "rack_mm", "roll": "roll_deg"}


def report(
    cars: Car | Sequence[Car],
    axle: AxleName | None = None,
    travel: Sequence[float] | NDArray[np.float64] = TRAVEL,
    *,
    sigma: float | None = None,
    samples: int = SAMPLES,
    seed: int = SEED,
    threshold: float = THRESHOLD,
    scale: Scale = "none",
    align: bool = False,
    scene: bool = True,
    case: str = "",
    command: str = "",
    workers: int = 1,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
    doing: Callable[[str], None] | None = None,
) -> Report:
    """Gather what can be said of one car, or of several set against the first, for one page to hand on.

    Parameters
    ----------
    cars : Car or sequence of Car
    axle : {"front", "rear"}, optional
        Default: all axles that the cars share.
    travel : sequence of float, mm
        Wheel travel of curves and bands; bump positive.
    sigma : float, mm, optional
        Standard deviation of every coordinate to which the file gives none.
    samples : int
        Sampled cars for bands and probabilities; 0: first order alone.
    seed : int
        The same seed gives the same figures.
    threshold : float
        A difference can be said when doubt alone stays under it in this part of cars that do not differ; over 0.5 and
        under 1.
    scale : {"none", "track", "wheelbase"}
        Scale the other cars to the first one's.
    align : bool
        Set the other cars' wheel centres on the first one's, along x and z.
    scene : bool
        With the linkage in motion in the page, where the viewer is installed.
    case : str
        Name of a load case of the first car, whose forces the linkage in motion shows on the axles that it loads.
    command : str
        What stands in the page as the way to make it again.
    workers : int
        Processes for big studies.
    executor : concurrent.futures.Executor, optional
        Who works on the samples instead; see `kin3d.tolerance`.
    progress : callable, optional
        Called with axles done and in all.
    doing : callable, optional
        Called with what is done next, in words.

    Returns
    -------
    Report
        ``save("report.html")`` writes the page: one file that opens offline.

    Raises
    ------
    RequestError
        When the cars have no axle in common, and whatever the studies refuse.
    """
    given = [cars] if isinstance(cars, Car) else list(cars)
    _case_there(given[:1], case)
    data = collect(
        given,
        [axle] if axle else None,
        travel,
        sigma_mm=sigma,
        samples=samples,
        seed=seed,
        threshold=threshold,
        scale=scale,
        align=align,
        workers=workers,
        executor=executor,
        progress=progress,
        doing=doing,
    )
    if doing and scene:
        doing("the linkage in motion")
    return Report(data, command or "kin3d.report(cars).save(path)", _scenes(data, case) if scene else {})


def _case_there(cars: Sequence[Car], case: str) -> None:
    """Refuse a load case that the car has not."""
    there = [c.name for car in cars for c in car.cases]
    if case and case not in there:
        hint = did_you_mean(case, there) if there else "the car file has no [[cases]]"
        raise RequestError(Finding("case-unknown", f'--case "{case}": there is no such load case; {hint}'))


def _scenes(data: ReportData, case: str) -> dict[str, str]:
    """A page with the moving linkage for each axle, by the viewer; none where the viewer is not installed."""
    try:
        model, page, pictures, session = (import_module(f"kin3d_viewer.{n}") for n in _VIEWER)
    except ImportError:
        return {}
    out: dict[str, str] = {}
    for part in data.axles:
        first, *others = (c.fitted.car for c in part.comparison.cars)
        shown = session.Session.of(first, part.axle, model.Drives(), others[0] if others else None)
        layers = (*pictures.PictureOptions().layers, "front centres", *(["forces"] if case else []))
        shown.load.name = case
        asked = tuple(n for n in ASKED if n in shown.view.now.values)[:MOST_CURVES]
        out[part.axle] = page.page(shown, pictures.PictureOptions(layers=layers, curves=asked))
    return out


def view(
    car: Car,
    other: Car | None = None,
    axle: AxleName = "front",
    *,
    travel: float = 0.0,
    rack: float = 0.0,
    roll: float = 0.0,
    over: Literal["travel", "rack", "roll"] = "travel",
    values: Sequence[float] = (),
    screenshot: Path | str | None = None,
    animation: Path | str | None = None,
    scene: Path | str | None = None,
    becoming: str = "",
    case: str = "",
    view: Literal["", "perspective", "front", "side", "plan"] = "",
    focus: Literal["axle", "left", "right"] = "axle",
    show: Sequence[str] = (),
    hide: Sequence[str] = (),
    curves: Sequence[str] | None = None,
    size: tuple[int, int] = (1280, 800),
) -> tuple[str, ...]:
    """See the linkage move in 3D: open the window, or write a picture, a film or a scene without one.

    Parameters
    ----------
    car : Car
    other : Car, optional
        Drawn pale in its own colour, with its lines and centres.
    axle : {"front", "rear"}
    travel : float, mm
        Of the wheel, bump positive; in roll the mean of both wheels.
    rack : float, mm
        To the left positive.
    roll : float, deg
        Of the body over the ground; left side up positive.
    over : {"travel", "rack", "roll"}
        What curves and the film run over.
    values : sequence of float
        Values of that, in mm or deg; empty: the usual ones.
    screenshot, animation, scene : path-like, optional
        Files to write: ``.png`` or ``.jpg``; ``.gif`` or ``.mp4``; ``.glb`` or ``.html``. Without any the window opens.
    becoming : str
        A measure: the animation shows the car becoming the other one in its design position, group of points by group
        in the order of their parts in `compare`, with the measure counting along.
    case : str
        Name of a load case of the car file: its forces in links and springs are shown, as width, sign and figure.
    view : {"", "perspective", "front", "side", "plan"}
        From where; empty: the usual one, which is from ahead for films in roll and of a car that becomes another.
    focus : {"axle", "left", "right"}
        What fills the picture.
    show, hide : sequence of str
        Layers to add to and to take from the usual ones.
    curves : sequence of str, optional
        Measures drawn beside the picture.
    size : (int, int)
        Width and height of pictures, px.

    Returns
    -------
    tuple of str
        A sentence for every file that was written.

    Raises
    ------
    Kin3dError
        With everything that is wrong with what was asked for, or what stands in the way of drawing.
    """
    command, model = import_module("kin3d_viewer.command"), import_module("kin3d_viewer.model")
    files = {"screenshot": screenshot, "animation": animation, "scene": scene}
    request = command.Request(
        axle=axle,
        drives=model.Drives(travel, rack, roll),
        over=_DRIVES[over],
        sweep=tuple(values),
        **{name: None if file is None else Path(file) for name, file in files.items()},
        becoming=becoming,
        case=case,
        view=view,
        focus=focus,
        show=tuple(show),
        hide=tuple(hide),
        curves=None if curves is None else tuple(curves),
        size=size,
    )
    return tuple(command.run(car, other, request))


def mark(photographs: str | PathLike[str]) -> None:
    """Open a window to set the marks of photographs; it returns when the window is closed.

    Parameters
    ----------
    photographs : path-like
        A file of photographs (``NAME.photos.toml``). Its table of marks may still be empty or missing; every change is
        saved into it.

    Returns
    -------
    None
        The marks are in their table.

    Raises
    ------
    Kin3dError
        With everything that is wrong with the files, or what stands in the way of a window.
    """
    import_module("kin3d_viewer.probe").need_window("kin3d locate and kin3d draw --photo work without a window")
    import_module("kin3d_viewer.mark_window").open_window(Path(photographs))
