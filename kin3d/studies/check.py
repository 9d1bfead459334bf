"""Check a car: the design position, mobility, reach, and what an engineer would want to be warned of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Severity
from kin3d.linkage.car import AxleName, Car
from kin3d.measures.corner import Corner
from kin3d.measures.springs import rocker_rate
from kin3d.solve.limits import limit_sentence
from kin3d.solve.mobility import Mobility
from kin3d.solve.status import Status
from kin3d.spatial.jets import value
from kin3d.studies.model import AxleModel
from kin3d.studies.result import SweepResult
from kin3d.studies.sweep import sweep_corner

Array = NDArray[np.float64]
REACH_MM = 150.0  # travel up to which the limits are looked for
SHORT_REACH_MM = 40.0  # a corner that ends sooner than this is worth a warning (common practice, no source)
ROD_ANGLE_DEG = 20.0  # a rod nearer than this to its rocker arm's line is near dead centre (common practice, no source)


@dataclass(frozen=True, slots=True)
class AxleCheck:
    """What was found of one axle.

    Attributes
    ----------
    axle : {"front", "rear"}
    layout : str
    mobility : Mobility
    parts : tuple of str
        Parts of the layout that are there.
    design : SweepResult
        The design position alone.
    reach : tuple of str
        A sentence each for droop and bump: how far the travel goes.
    findings : tuple of Finding
        Warnings about the geometry.
    """

    axle: AxleName
    layout: str
    mobility: Mobility
    parts: tuple[str, ...]
    design: SweepResult
    reach: tuple[str, ...]
    findings: tuple[Finding, ...]


def check_axle(car: Car, axle: AxleName) -> AxleCheck:
    """Solve the design position of an axle and look for what is not as it should be."""
    model = AxleModel.of(car, axle)
    design = sweep_corner(car, axle, [0.0])
    reach, short = _reach(model)
    findings = [*short, *_spring(model, design), *_rod(model), *_wheel(model)]
    return AxleCheck(axle, model.linkage.layout, model.kernel.system.mobility, model.linkage.parts, design, reach,
    tuple(findings))


def _warn(model: AxleModel, code: str, text: str) -> Finding:
    return Finding(code, text, f"{model.axle.points.source.name}, {model.axle.name} axle", Severity.WARNING)


def _reach(model: AxleModel) -> tuple[tuple[str, ...], list[Finding]]:
    lanes = model.kernel.lanes(model.variants, np.array([-REACH_MM, REACH_MM]))
    solved = model.kernel.solve(model.variants, lanes)
    said, findings = [], []
    for lane, name in enumerate(("droop", "bump")):
        if solved.status[lane] == Status.OK:
            said.append(f"{name}: {REACH_MM:g} mm and more")
            continue
        sentence = limit_sentence(lanes, solved, lane)
        said.append(f"{name}: {sentence.text}")
        if abs(solved.limits.get(lane, (0.0, 0.0))[0]) < SHORT_REACH_MM:
            findings.append(_warn(model, "short-reach", f"{name} ends early: {sentence.text}"))
    return tuple(said), findings


def _spring(model: AxleModel, design: SweepResult) -> list[Finding]:
    ratio = design.values.get("motion_ratio")
    if ratio is None or ratio.flat[0] > 0.0:
        return []
    text = (
        f"the spring gets longer in bump (motion ratio {ratio.flat[0]:+.3f}): "
        "look at spring_outer, the side of the rocker's pivot that it is on, and spring_inner"
    )
    return [_warn(model, "spring-lengthens", text)]


def _rod(model: AxleModel) -> list[Finding]:
    """Warn of a rod nearly in line with its rocker arm: their angle, seen along the pivot line."""
    rocker = model.linkage.rocker
    if rocker is None:
        return []
    at: dict[str, Array] = dict(zip(model.linkage.points, model.variants.design[0], strict=True))
    axis = at[rocker.axis[1]] - at[rocker.axis[0]]
    axis /= np.linalg.norm(axis)
    inner = at[rocker.rod[1]]
    arm, rod = inner - at[rocker.axis[0]], at[rocker.rod[0]] - inner
    arm, rod = (v - axis * (axis @ v) for v in (arm, rod))
    sine = float(np.linalg.norm(np.cross(arm, rod)) / (np.linalg.norm(arm) * np.linalg.norm(rod)))
    angle = float(np.degrees(np.arcsin(min(sine, 1.0))))
    if angle >= ROD_ANGLE_DEG:
        return []
    rate = float(np.ravel(np.degrees(value(rocker_rate(_design_corner(model)))))[0])
    text = (
        f"the rod is nearly in line with its rocker arm ({angle:.1f}° between them, rocker rate {rate:+.3f} deg/mm): "
        f"the rocker is near its dead centre; {ROD_ANGLE_DEG:g}° or more is usual"
    )
    return [_warn(model, "rod-in-line", text)]


def _design_corner(model: AxleModel) -> Corner:
    lanes = model.kernel.lanes(model.variants, np.zeros(1))
    return model.corner(lanes, model.kernel.solve(model.variants, lanes))


def _wheel(model: AxleModel) -> list[Finding]:
    """Warn of a wheel centre that is not at a plausible height over the lowest point of its linkage."""
    radius = model.axle.loaded_radius_mm
    if radius is None:
        return []
    height = dict(zip(model.linkage.points, model.variants.design[0, :, 2], strict=True))
    centre = height["wheel_centre"]
    pickups = {n: float(z) for n, z in height.items() if n not in ("wheel_centre", "wheel_axis")}
    lowest = min(pickups, key=lambda n: pickups[n])
    over = pickups[lowest] - (centre - radius)
    look = "look at loaded_radius_mm, the units and the height of wheel_centre"
    if over < 0.0:
        text = f"{lowest} is {-over:.0f} mm below the ground that the loaded radius ({radius:g} mm) gives: {look}"
        return [_warn(model, "below-ground", text)]
    if pickups[lowest] > centre:
        text = f"every pickup point is above the wheel centre, {lowest} as the lowest by {over - radius:.0f} mm: {look}"
        return [_warn(model, "above-wheel", text)]
    return []
