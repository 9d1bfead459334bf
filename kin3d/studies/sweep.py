"""Sweep one corner of an axle over travel and rack: every measure in every position, both sides."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.linkage.car import Car
from kin3d.linkage.design import SIDES
from kin3d.linkage.names import AxleName
from kin3d.measures.corner import Corner
from kin3d.measures.entry import Measure, available, values
from kin3d.solve.kernel import Solved
from kin3d.solve.lanes import Lanes
from kin3d.solve.limits import limit_sentence
from kin3d.solve.model import AxleModel
from kin3d.solve.status import Status
from kin3d.studies.registry import corner_measures, pick
from kin3d.studies.result import SweepResult

Array = NDArray[np.float64]
BATCH = 8192  # lanes whose derivatives and measures are held at once


def sweep_corner(
    car: Car,
    axle: AxleName,
    travel_mm: Sequence[float] | Array,
    rack_mm: Sequence[float] | Array | float = 0.0,
    measures: Sequence[str] | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> SweepResult:
    """Solve every combination of travel and rack and compute the measures.

    Parameters
    ----------
    car : Car
    axle : {"front", "rear"}
    travel_mm, rack_mm : array-like
        Values of the drives; the result has their outer product.
    measures : sequence of str, optional
        Names; default all.
    progress : callable, optional
        Called with positions done and in all.

    Raises
    ------
    RequestError
        An unknown axle or measure, an empty or non-finite drive, a rack where the layout has none.
    """
    travel, rack = _drive("travel", travel_mm), _drive("rack", rack_mm)
    model = AxleModel.of(car, axle)
    wanted = chosen_measures(axle, measures)
    if rack.any() and not model.linkage.rack:
        text = f'layout "{model.linkage.layout}" has no points on a rack, so that no rack can be driven; leave it at 0'
        raise RequestError(Finding("rack-missing", text, f"{car.source}, [{axle}]"))
    grid = np.meshgrid(travel, rack, indexing="ij")
    lanes = model.kernel.lanes(model.variants, grid[0], grid[1])
    solved = model.kernel.solve(model.variants, lanes)
    there, left_out, found = _measure(model, lanes, solved, wanted, progress)
    shape = (2, len(travel), len(rack))
    status = np.moveaxis(solved.status.reshape(shape), 0, -1)
    arranged = {n: np.moveaxis(v.reshape(shape), 0, -1) for n, v in found.items()}
    ok = solved.status == Status.OK
    return SweepResult(
        title=car.title,
        axle=axle,
        drives={"travel_mm": travel, "rack_mm": rack},
        values=arranged,
        status=status,
        measures=there,
        left_out=left_out,
        findings=(*_limits(lanes, solved), *_without_value(found, ok)),
        stepped=solved.stepped,
        closure_mm=float(solved.error_mm[ok].max()) if ok.any() else float("nan"),
    )


def _drive(name: str, given: Sequence[float] | Array | float) -> Array:
    try:
        array = np.atleast_1d(np.asarray(given, dtype=float))
    except (TypeError, ValueError):
        array = np.empty(0)
    if array.ndim != 1 or not array.size or not np.isfinite(array).all():
        text = f"{name}: expected one or more finite numbers in mm, found {given!r}"
        raise RequestError(Finding("drive-empty", text))
    return array


def chosen_measures(axle: AxleName, names: Sequence[str] | None) -> tuple[Measure, ...]:
    """Corner measures of the given names (one name may stand alone) in table order; all for None."""
    return pick(corner_measures(axle), axle, names)


def _measure(
    model: AxleModel,
    lanes: Lanes,
    solved: Solved,
    wanted: Sequence[Measure],
    progress: Callable[[int, int], None] | None,
) -> tuple[tuple[Measure, ...], dict[str, str], dict[str, Array]]:
    """Values of all measures that there is data for, batch by batch."""
    found: dict[str, list[Array]] = {}
    there: tuple[Measure, ...] = ()
    left_out: dict[str, str] = {}
    order = max((m.order for m in wanted), default=0)
    for first in range(0, lanes.count, BATCH):
        part = slice(first, min(first + BATCH, lanes.count))
        corner = Corner.of(model, lanes.take(part), solved.take(part), max(order, 1))
        there, left_out = available(corner, wanted)
        for name, v in values(corner, there, (part.stop - part.start,)).items():
            found.setdefault(name, []).append(v)
        if progress:
            progress(part.stop, lanes.count)
    return there, left_out, {n: np.concatenate(v) for n, v in found.items()}


def _limits(lanes: Lanes, solved: Solved) -> list[Finding]:
    """One finding for each direction and cause for which positions were out of reach, sides and racks together."""
    first: dict[tuple[int, bool, float, int], int] = {}
    counts: dict[int, int] = {}
    for lane in map(int, np.flatnonzero(solved.status != Status.OK)):
        side, status = int(lanes.variant[lane]), int(solved.status[lane])
        key = (side, bool(lanes.travel[lane] > 0), float(lanes.rack[lane]), status)
        told = first.setdefault(key, lane)
        counts[told] = counts.get(told, 0) + 1
    groups: dict[tuple[bool, str], list[int]] = {}
    for lane in counts:
        cause = limit_sentence(lanes, solved, lane).cause
        groups.setdefault((bool(lanes.travel[lane] > 0), cause), []).append(lane)
    return [_limit(lanes, solved, told, sum(counts[k] for k in told)) for told in groups.values()]


def _limit(lanes: Lanes, solved: Solved, told: Sequence[int], count: int) -> Finding:
    """The finding of lanes that ended for the same cause; where they ended is a range if it differs."""
    sentences = {limit_sentence(lanes, solved, k).text: k for k in told}
    text = next(iter(sentences))
    if len(sentences) > 1:
        travel, rack = zip(*(solved.limits[k] for k in told), strict=True)
        where = f"travel {_span(travel)} mm is the limit, with rack {_span(rack)} mm"
        text = f"{where}: {limit_sentence(lanes, solved, told[0]).cause}"
    sides = dict.fromkeys(SIDES[int(lanes.variant[k])] for k in told)
    wheels = f"{' and '.join(sides)} wheel{'s' if len(sides) > 1 else ''}"
    missed = f"{count} position{'s' if count > 1 else ''} asked for {'are' if count > 1 else 'is'} beyond it"
    return Finding("out-of-reach", f"{wheels}: {text}; {missed}", severity=Severity.WARNING)


def _span(values: Sequence[float]) -> str:
    low, high = f"{min(values):+.2f}", f"{max(values):+.2f}"
    return low if low == high else f"{low} to {high}"


def _without_value(found: dict[str, Array], ok: NDArray[np.bool_]) -> list[Finding]:
    out = []
    for name, v in found.items():
        count = int((~np.isfinite(v) & ok).sum())
        if count:
            text = f"{name} has no finite value in {count} solved position(s): its axis or centre is at infinity there"
            out.append(Finding("no-value", text, severity=Severity.NOTE))
    return out
