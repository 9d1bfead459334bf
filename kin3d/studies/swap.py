"""Turn a push-rod corner into a pull-rod corner or back, motion ratios kept: the wheel's own links are not touched.

Push and pull are said to be equivalent. This study finds the points of the other kind inside boxes, so that every
element on the rocker keeps its ratio over the travel, proves that no measure of the wheel has changed, and lists what
does differ.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from os import PathLike
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import AssemblyError, Finding, LayoutError, RequestError, raise_errors
from kin3d.linkage.car import Axle, Car
from kin3d.linkage.names import AxleName, did_you_mean
from kin3d.linkage.record import changed
from kin3d.reading.boxes import read_boxes
from kin3d.solve.lanes import Lanes
from kin3d.solve.model import AxleModel
from kin3d.studies.corner_model import CornerModel
from kin3d.studies.inboard import InboardCurves, inboard_curves, need_rocker
from kin3d.studies.swap_fit import Fitter, SwapFit, targets
from kin3d.studies.swap_result import SwapResult, prove_wheel
from kin3d.studies.swap_space import Boxes, PointPlaces, StartLayout, movable_points, start_layouts

Array = NDArray[np.float64]
RodKind = Literal["push", "pull"]
WITHIN_PCT = 0.5
STARTS = 10
LOADS_N = (1000.0, 3000.0)
ENOUGH = 3  # good fits to choose from
OUTLINE_MM = 100.0  # standing this far outside of the car's outline counts as much as all points a half box off
FIT_POINTS = 21


def swap(
    car: Car,
    axle: AxleName,
    to: RodKind,
    mount: str | None = None,
    box: str | PathLike[str] | Mapping[str, tuple[Array, Array]] | None = None,
    travel: Sequence[float] | Array | None = None,
    within: float = WITHIN_PCT,
    progress: Callable[[int, int], None] | None = None,
    starts: int | None = None,
    load: Sequence[float] = LOADS_N,
) -> SwapResult:
    """Find rod and rocker of the other kind.

    Parameters
    ----------
    car : Car
    axle : {"front", "rear"}
    to : {"push", "pull"}
    mount : str, optional
        Body that is to carry the rod; default the highest arm for a pull-rod, the lowest for a push-rod.
    box : path-like, or mapping of point to (lower, upper), optional
        Corners of the box for a point, mm, vehicle frame, side of the point table; or a CSV file of them
        (``point,x_min,x_max,y_min,...``). Other points have a default space about a starting layout.
    travel : array-like, mm, optional
        Travel over which the motion ratio is matched; its ends count. Default −30 to 30.
    within : float, %
        Deviation that still counts as a match.
    progress : callable, optional
        Called with starts done and in all.
    starts : int
        Starts to try at most, default STARTS; a few good fits end the search sooner.
    load : sequence of float, N
        Wheel loads for which the tables show rod force and buckling.

    Returns
    -------
    SwapResult
        The new car, both rods' curves, what differs, and whether it fits within the deviation allowed.

    Raises
    ------
    RequestError
        No rod and rocker, an unknown mount or point, a box upside down, a travel that the original does not reach.
    """
    model = AxleModel.of(car, axle)
    need_rocker(model.axle, str(car.source))
    span = np.asarray([-30.0, 30.0] if travel is None else travel, dtype=float)
    at = np.linspace(span.min(), span.max(), FIT_POINTS)
    before = inboard_curves(car, axle, np.linspace(span.min(), span.max(), 4 * FIT_POINTS - 3))
    chosen = mount or _default_mount(model, to)
    given = read_boxes(Path(box)) if isinstance(box, str | PathLike) else dict(box or {})
    problems = _problems(model, before, chosen, given, str(car.source))
    if before.kind == to:
        text = f"the {axle} axle has a {to}-rod already; ask for the other kind"
        problems.append(Finding("swap-same", text, str(car.source)))
    raise_errors(problems, RequestError)
    layouts = start_layouts(model.axle, model.linkage, (_kind(before), to), chosen, given)
    wanted = _ratios(model, at)
    best, layout, tried = _best_of_starts(car, model, chosen, layouts, wanted, at, progress, starts or STARTS)
    new = _with_axle(car, with_places(model.axle, chosen, best.places))
    after = inboard_curves(new, axle, before.travel_mm)
    worst = float(np.max(np.abs(after.motion_ratio / before.motion_ratio - 1.0))) * 100.0
    worst = worst if np.isfinite(worst) else float("inf")
    obstacles = [text for _, text in best.at_bounds]
    if after.kind != to:
        obstacles.insert(0, f"the rod that fits the boxes best is a {after.kind}-rod")
    return SwapResult(
        car=new,
        axle=axle,
        fits=worst <= within and after.kind == to,
        within_pct=within,
        worst_pct=worst,
        worst_by_element={n: 100.0 * v for n, v in best.worst.items()},
        before=before,
        after=after,
        wheel=prove_wheel(car, new, axle, before.travel_mm),
        moved={p: (model.axle.points[p], best.places[p]) for p in best.places},
        boxes=layout.boxes,
        stated=layout.stated,
        obstacles=tuple(obstacles),
        starts=tried,
        loads_n=tuple(float(v) for v in load),
    )


def _kind(curves: InboardCurves) -> RodKind:
    return "pull" if curves.kind == "pull" else "push"


def _default_mount(model: AxleModel, to: RodKind) -> str:
    """The highest or lowest of the bodies that may carry the rod and turn on the chassis."""
    choices = model.axle.layout.keys().get("rod_on", ())
    linkage, design = model.linkage, model.variants.design[0]

    def height(body: str) -> float:
        return float(np.mean([design[linkage.index(p), 2] for p in linkage.bodies[body] if p in linkage.fixed]))

    arms = [b for b in choices if sum(p in linkage.fixed for p in linkage.bodies.get(b, ())) >= 2]
    if not arms:
        return choices[0] if choices else ""
    return max(arms, key=height) if to == "pull" else min(arms, key=height)


def _problems(model: AxleModel, before: InboardCurves, mount: str, boxes: Boxes, source: str) -> list[Finding]:
    out = []
    axle, choices = model.axle, model.axle.layout.keys().get("rod_on", ())
    if mount not in choices:
        hint = did_you_mean(mount, choices, "", "; ")
        names = ", ".join(f'"{c}"' for c in choices) or "none"
        out.append(Finding("mount-unknown", f'no rod can stand on "{mount}"; layout allows: {names}{hint}', source))
    if axle.other_points is not None:
        text = "the two sides have points of their own; a swap needs an axle whose other side is the mirror image"
        out.append(Finding("swap-two-sides", text, f"[{axle.name}] other_points"))
    lost = before.travel_mm[~np.isfinite(before.motion_ratio)]
    if lost.size:
        text = f"the car does not reach travel {lost[0]:+g} mm, so there is no ratio to keep; ask for less travel"
        out.append(Finding("out-of-reach", text, source))
    for point, (low, high) in boxes.items():
        if point not in model.axle.points.names:
            hint = did_you_mean(point, model.axle.points.names, "", "; ")
            out.append(Finding("box-unknown", f'there is no point "{point}"{hint}', "boxes"))
        elif point not in _movable(model):
            text = f'"{point}" is not moved by a swap: boxes are for {", ".join(_movable(model))}'
            out.append(Finding("box-of-wheel", text, "boxes"))
        elif (np.asarray(low) > np.asarray(high)).any():
            text = f'the box of "{point}" is upside down: a lower end is over its upper end'
            out.append(Finding("box-upside-down", text, "boxes"))
    return out


def _movable(model: AxleModel) -> tuple[str, ...]:
    return movable_points(model.axle, model.linkage)


def _ratios(model: AxleModel, travel: Array) -> dict[str, Array]:
    """Ratios of every element of the corner that the point table gives."""
    side = CornerModel.from_model(model, model.axle.side)
    variants = side.variants(side.design[None])
    lanes = Lanes(np.zeros(len(travel), dtype=np.intp), travel, np.zeros(len(travel)))
    corner = side.corner(lanes, model.kernel.solve(variants, lanes), 1, variants)
    out = {}
    for name, function in targets(model.axle, model.linkage).items():
        rate: Any = function(corner).rate(corner.travel)
        out[name] = np.array(np.broadcast_to(rate.value, travel.shape), dtype=float)
    return out


def with_places(axle: Axle, mount: str, places: PointPlaces) -> Axle:
    """The axle with its rod on another body and points in other places."""
    layout_keys = {**axle.layout_keys, "rod_on": mount}
    return changed(axle, points=axle.points.with_places(places), layout_keys=layout_keys)


def _with_axle(car: Car, axle: Axle) -> Car:
    return changed(car, **{axle.name: axle})


def _best_of_starts(
    car: Car,
    model: AxleModel,
    mount: str,
    layouts: Sequence[StartLayout],
    wanted: dict[str, Array],
    travel: Array,
    progress: Callable[[int, int], None] | None,
    starts: int,
) -> tuple[SwapFit, StartLayout, int]:
    """Fit from several starts; the best one, its starting layout and how many were tried."""
    rng = np.random.default_rng(7)
    fitters = [f for f in (_fitter(car, model, mount, s, wanted, travel) for s in layouts) if f is not None]
    if not fitters:
        text = "no starting layout inside the boxes makes a linkage that moves; give wider boxes or another mount"
        raise RequestError(Finding("swap-no-start", text, "boxes"))
    found: list[tuple[SwapFit, StartLayout, Fitter]] = []
    for k in range(starts):
        fitter, layout = fitters[k % len(fitters)]
        spread = 0.0 if k < len(fitters) else 0.6
        first = spread * rng.uniform(-1.0, 1.0, len(fitter.low)) * fitter.half
        found.append((fitter.fit(np.clip(first, fitter.low, fitter.high)), layout, fitter))
        if progress:
            progress(k + 1, starts)
        if sum(f.good for f, _, _ in found) >= ENOUGH:
            break
    best, layout, fitter = min(found, key=lambda one: _rank(one[0], model.axle))
    return fitter.finish(best), layout, len(found)


def _rank(fit: SwapFit, axle: Axle) -> tuple[int, float]:
    """Good fits first, of these the tidiest: near to the start's shape, inside the outline that the car has now."""
    if not fit.good:
        return 1, fit.cost
    low, high = axle.points.xyz_mm.min(axis=0), axle.points.xyz_mm.max(axis=0)
    outside = sum(float(np.linalg.norm(p - np.clip(p, low, high))) for p in fit.places.values())
    return 0, fit.way + outside / OUTLINE_MM


def _fitter(
    car: Car, model: AxleModel, mount: str, layout: StartLayout, wanted: dict[str, Array], travel: Array
) -> tuple[Fitter, StartLayout] | None:
    """A fitter whose kernel is compiled in the starting layout, or None where that is a dead centre."""
    try:
        new = _with_axle(car, with_places(model.axle, mount, layout.start))
        side = CornerModel.of(new, model.axle.name)
    except (LayoutError, AssemblyError):
        return None
    return Fitter(side, wanted, travel, layout.start, layout.boxes), layout
