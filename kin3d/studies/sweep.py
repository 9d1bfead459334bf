"""The one sweep: a corner over travel and rack, an axle over heave and roll, the car over pitch too.

Which it is follows from the drives that are given. Travel and rack move both corners in the chassis frame; heave and
roll stand both wheels of the axle on one ground; pitch stands all four wheels of the car on it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName
from kin3d.loads.force_measures import is_force
from kin3d.measures.car import MEASURES as OF_THE_CAR
from kin3d.measures.car import WholeCar
from kin3d.measures.corner import Corner
from kin3d.measures.corner_pair import CornerPair
from kin3d.measures.entry import Measure, available, values
from kin3d.measures.two_travels import Pair
from kin3d.solve.lanes import Lanes, Status
from kin3d.solve.model import AxleModel
from kin3d.studies.car import CarModel
from kin3d.studies.drive_values import Given, drive_values, finite_values, refuse_travel
from kin3d.studies.ground_contact import Stance, Standing, need_radius, put_on_ground
from kin3d.studies.registry import asked, axle_measures, corner_measures, is_made, pick, unnamed
from kin3d.studies.result import SweepResult
from kin3d.studies.slack import slack_told
from kin3d.studies.sweep_findings import limits_met, lines_alike, steering_axis_told, without_value

Array = NDArray[np.float64]
Progress = Callable[[int, int], None] | None
Found = tuple[tuple[Measure, ...], dict[str, str], dict[str, Array]]  # measures, those left out and why, values (2n,)
BATCH = 4096  # positions whose derivatives and measures are held at once


def sweep(
    car: Car,
    axle: AxleName = "front",
    travel: Given | None = None,
    rack: Given = 0.0,
    *,
    heave: Given | None = None,
    roll: Given | None = None,
    pitch: Given | None = None,
    drives: Mapping[str, Given] | None = None,
    measures: Sequence[str] | None = None,
    progress: Progress = None,
) -> SweepResult:
    """Solve every combination of the drives that are given and compute the measures.

    Parameters
    ----------
    car : Car
    axle : {"front", "rear"}
        Whose measures are wanted.
    travel : float or array-like, mm
        Height of each wheel's centre over its design height in the chassis frame, bump positive; default 0.
    rack : float or array-like, mm
        To the left positive; of the front axle where the whole car stands on the ground.
    heave : float or array-like, mm
        Mean travel of the wheels that stand on the ground; bump positive.
    roll, pitch : float or array-like, deg
        Of the body over the ground; left side up and nose down positive. Pitch counts from the design position and
        needs both axles.
    drives : mapping of str to float or array-like, optional
        Drives of the axle's own layout by name, deg for those that turn a body, mm for the others; 0 where not named.
    measures : sequence of str, optional
        Names, one may stand alone; default all that there is data for.
    progress : callable, optional
        Called with positions done and in all.

    Returns
    -------
    SweepResult
        Drives travel_mm and rack_mm, or heave_mm (pitch_deg,) roll_deg and rack_mm. Figures of the whole axle and of
        the car stand in the rows of both wheels.

    Raises
    ------
    RequestError
        An unknown axle or measure, an empty or non-finite drive, travel together with heave, roll or pitch, a rack
        where the layout has none, a drive that it does not have; on the ground a
        missing loaded radius, and with pitch a missing axle or wheelbase.
    """
    own = _own_drives(car, axle, drives or {})
    if any(is_force(n) for n in ([measures] if isinstance(measures, str) else measures or ())):
        from kin3d.studies.force_names import refuse_unknown_forces  # it can settle cars, and few ask for forces

        refuse_unknown_forces([car], axle, measures, over_drives=True)
    if heave is None and roll is None and pitch is None:
        return _in_chassis(car, axle, 0.0 if travel is None else travel, rack, own, measures, progress)
    refuse_travel(travel, (heave, roll, pitch))
    given: dict[str, Given] = {"heave": 0.0 if heave is None else heave}
    if pitch is not None:
        given["pitch"] = pitch
    found = drive_values({**given, "roll": 0.0 if roll is None else roll, "rack": rack})
    asked_for = {f"{n}_{'deg' if n in ('roll', 'pitch') else 'mm'}": x for n, x in found.items()}
    if pitch is None:
        _rack_there(car, axle, asked_for["rack_mm"])
        return _axle_on_ground(car, axle, asked_for | own, measures, progress)
    return _car_on_ground(car, axle, asked_for | own, measures, progress)


def _own_drives(car: Car, axle: AxleName, given: Mapping[str, Given]) -> dict[str, Array]:
    """Values of the drives of the axle's layout, by column; refuses drives that it does not have."""
    if not given:
        return {}
    found = car.axle(axle)
    driven = found.linkage.driven
    unknown = [name for name in given if name not in driven]
    if unknown:
        there = f"it has: {', '.join(driven)}" if driven else "it has none ([drives.NAME] in the layout)"
        text = 'layout "{}" has no drive "{}"; {}'
        place = f"{car.source}, [{axle}]"
        raise RequestError([Finding("drive-unknown", text.format(found.layout.name, n, there), place) for n in unknown])
    return {f"{n}_{driven[n]}": finite_values(n, x, driven[n]) for n, x in given.items()}


def _more(drives: Sequence[str], values: Sequence[Array]) -> dict[str, Array]:
    """Drives of the layout by name, inside units, from columns: angles in rad."""
    out = {}
    for column, x in zip(drives, values, strict=True):
        name, _, unit = column.rpartition("_")
        out[name] = np.radians(x) if unit == "deg" else x
    return out


def _rack_there(car: Car, axle: AxleName, rack: Array) -> None:
    """Refuse a rack that is driven where the layout has none."""
    linkage = car.axle(axle).linkage
    if rack.any() and not linkage.rack:
        own = f"; it has --drive {next(iter(linkage.driven))}" if linkage.driven else ""
        text = f'layout "{linkage.layout}" has no points on a rack, so that no rack can be driven; leave it at 0{own}'
        raise RequestError(Finding("rack-missing", text, f"{car.source}, [{axle}]"))


def chosen_measures(axle: AxleName, names: Sequence[str] | None) -> tuple[Measure, ...]:
    """Corner measures of the given names (one name may stand alone) in table order; all for None."""
    return pick(corner_measures(axle), axle, names)


def _in_chassis(
    car: Car,
    axle: AxleName,
    travel: Given,
    rack: Given,
    own: dict[str, Array],
    names: Sequence[str] | None,
    progress: Progress,
) -> SweepResult:
    """Both corners over travel and rack in the chassis frame."""
    drives = {f"{n}_mm": x for n, x in drive_values({"travel": travel, "rack": rack}).items()} | own
    model = AxleModel.of(car, axle)
    wanted = chosen_measures(axle, names)
    _rack_there(car, axle, drives["rack_mm"])
    grid = np.meshgrid(*drives.values(), indexing="ij")
    lanes = model.kernel.lanes(model.variants, grid[0], grid[1], _more(tuple(own), grid[2:]))
    solved = model.kernel.solve(model.variants, lanes)
    order = max([1, *(m.order for m in wanted)])

    def corner(which: NDArray[np.intp], _part: slice) -> Corner:
        return Corner.of(model, lanes.take(which), solved.take(which), order)

    found = _measure(corner, grid[0].size, wanted, progress)
    ok = solved.status == Status.OK
    length = None if own else found[2].get("spring_length_mm")
    middle = np.abs(lanes.rack) == np.abs(lanes.rack).min()
    reached = np.where(solved.status == Status.OK, lanes.travel, np.nan)[middle]
    slack = slack_told(model, reached, found[2], None if length is None else length[middle])
    notes = (*limits_met(lanes, solved), *without_value(found[2], ok), *slack)
    closure = float(solved.error_mm[ok].max()) if ok.any() else float("nan")
    return _result(car, axle, drives, found, solved.status, notes, solved.stepped, closure, names)


def _axle_on_ground(
    car: Car, axle: AxleName, drives: dict[str, Array], names: Sequence[str] | None, progress: Progress
) -> SweepResult:
    """Both wheels of an axle on one ground."""
    wanted = pick(axle_measures(axle), axle, names)
    model = AxleModel.of(car, axle)
    need_radius([model])
    heave, roll, rack, *more = (g.ravel() for g in np.meshgrid(*drives.values(), indexing="ij"))
    stance = Stance(heave, np.radians(roll), rack, np.zeros_like(heave), _more(tuple(drives)[3:], more))
    standing = put_on_ground([model], stance)
    found = measure_on_ground(model, stance, standing, 0, wanted, progress)
    return _standing_result(car, axle, drives, found, standing, 0, names)


def _car_on_ground(
    car: Car, axle: AxleName, drives: dict[str, Array], names: Sequence[str] | None, progress: Progress
) -> SweepResult:
    """All four wheels of the car on one ground; the measures of one axle and of the car."""
    model = CarModel.of(car)
    chosen = None if names is None else asked(names)
    whole = [m for m in OF_THE_CAR if chosen is None or m.name in chosen]
    wanted = _of_the_axle(axle, chosen)
    heave, pitch, roll, rack, *more = (g.ravel() for g in np.meshgrid(*drives.values(), indexing="ij"))
    stance = model.stance(heave, np.radians(pitch), np.radians(roll), rack)
    stance = replace(stance, more=_more(tuple(drives)[4:], more))
    standing = model.stand(stance)
    number = [m.axle.name for m in model.axles].index(axle)
    there, left_out, found = measure_on_ground(model.axles[number], stance, standing, number, wanted, progress)
    front, rear = (
        CornerPair.on_ground(m, *s, stance.roll_rad, stance.pitch_rad)
        for m, s in zip(model.axles, standing.axles, strict=True)
    )
    both = WholeCar(front, rear, model.shift_mm, car.data)
    own, lacking = available(both, whole)
    ok = standing.status == Status.OK
    found |= {n: np.where(np.tile(ok, 2), v, np.nan) for n, v in values(both, own, (2 * stance.count,)).items()}
    there, left_out = (*there, *own), left_out | lacking
    return _standing_result(car, axle, drives, (there, left_out, found), standing, number, names, model.findings)


def _of_the_axle(axle: AxleName, names: Sequence[str] | None) -> tuple[Measure, ...]:
    """An axle's measures of the given names; those that only the other axle or the car has are left out here."""
    if names is None:
        return unnamed(axle_measures(axle))
    own = axle_measures(axle)  # last: some names are other figures at the other axle
    every = (*axle_measures("rear" if axle == "front" else "front"), *OF_THE_CAR, *own)
    there = {m.name for m in own}
    chosen = pick(tuple({m.name: m for m in every}.values()), axle, names)
    return tuple(m for m in chosen if m.name in there or is_made(m.name))


def measure_on_ground(
    model: AxleModel,
    stance: Stance,
    standing: Standing,
    number: int,
    wanted: Sequence[Measure],
    progress: Progress = None,
) -> Found:
    """Measures of one axle, `number` among those that were stood on the ground.

    Returns
    -------
    tuple of Measure
        Those that there is data for.
    dict of str to str
        The others, and what is missing.
    dict of str to ndarray, shape (2n,)
        Values on the left, then on the right; NaN where the position is not reached.
    """
    lanes, solved = standing.axles[number]
    straight = _straight(model, stance, lanes, wanted)

    def corner(which: NDArray[np.intp], part: slice) -> CornerPair:
        here = stance.take(part)
        ahead = None if straight is None else (straight[0][part], straight[1][part])
        return CornerPair.on_ground(model, lanes.take(which), solved.take(which), here.roll_rad, here.pitch_rad, ahead)

    there, left_out, found = _measure(corner, stance.count, wanted, progress)
    for v in found.values():
        v[np.tile(standing.status != Status.OK, 2)] = np.nan
    return there, left_out, found


def _straight(model: AxleModel, stance: Stance, lanes: Lanes, wanted: Sequence[Measure]) -> Pair | None:
    """Steers with the rack in the middle at the same travels, where a measure asks for them."""
    if not lanes.rack.any() or not any(m.name == "ackermann_pct" for m in wanted):
        return None
    middle = replace(lanes, rack=np.zeros(lanes.count))
    solved = model.kernel.solve(model.variants, middle)
    corner = CornerPair.on_ground(model, middle, solved, stance.roll_rad, stance.pitch_rad)
    return corner.both(corner.steer)


def _measure(
    corner_of: Callable[[NDArray[np.intp], slice], Corner], count: int, wanted: Sequence[Measure], progress: Progress
) -> Found:
    """Values of all measures that there is data for over `count` positions of both sides, batch by batch."""
    found: dict[str, list[Array]] = {}
    there: tuple[Measure, ...] = ()
    left_out: dict[str, str] = {}
    for first in range(0, count, BATCH):
        part = slice(first, min(first + BATCH, count))
        size = part.stop - part.start
        which = np.concatenate([np.arange(part.start, part.stop) + k * count for k in (0, 1)])
        corner = corner_of(which, part)
        there, left_out = available(corner, wanted)
        for name, v in values(corner, there, (2 * size,)).items():
            found.setdefault(name, []).append(v.reshape(2, size))
        if progress:
            progress(part.stop, count)
    return there, left_out, {n: np.concatenate(v, axis=1).reshape(-1) for n, v in found.items()}


def _standing_result(
    car: Car,
    axle: AxleName,
    drives: dict[str, Array],
    found: Found,
    standing: Standing,
    number: int,
    names: Sequence[str] | None,
    assumed: Sequence[Finding] = (),
) -> SweepResult:
    ok = standing.status == Status.OK
    own = {m.name for m in OF_THE_CAR}
    of_axle = {n: v for n, v in found[2].items() if n not in own}
    lanes, solved = standing.axles[number]
    reached = np.where(solved.status == Status.OK, lanes.travel, np.nan)
    slack = slack_told(AxleModel.of(car, axle), reached, of_axle, of_axle.get("spring_length_mm"))
    notes = (*assumed, *standing.findings, *without_value(of_axle, np.tile(ok, 2)), *lines_alike(of_axle, ok), *slack)
    closure = float(solved.error_mm[np.tile(ok, 2)].max()) if ok.any() else float("nan")
    return _result(car, axle, drives, found, np.tile(standing.status, 2), notes, solved.stepped, closure, names)


def _result(
    car: Car,
    axle: AxleName,
    drives: dict[str, Array],
    found: Found,
    status: NDArray[np.int8],
    findings: tuple[Finding, ...],
    stepped: int,
    closure_mm: float,
    names: Sequence[str] | None,
) -> SweepResult:
    """The result, its arrays with the drives first and the side last."""
    shape = (2, *(len(v) for v in drives.values()))
    return SweepResult(
        title=car.title,
        axle=axle,
        drives=drives,
        values={n: np.moveaxis(v.reshape(shape), 0, -1) for n, v in found[2].items()},
        status=np.moveaxis(status.reshape(shape), 0, -1),
        measures=found[0],
        left_out=found[1],
        findings=(*findings, *steering_axis_told(AxleModel.of(car, axle), found[2])),
        stepped=stepped,
        closure_mm=closure_mm,
        chosen=names is not None,
    )
