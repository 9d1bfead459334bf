"""The adjustment of photographs a second time, with nothing of kin3d's own: CasADi's derivatives, IPOPT's optimum.

What is different here: cameras by Euler angles and a translation; the upright's points in every picture are unknowns,
held by lengths; the place of a mark along a leg or a rim is an unknown, and its miss has two components; covariance
from the whole system with its constraints.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import casadi as ca
import numpy as np

from kin3d.photographs.model import Model, State

UP = ca.DM([0.0, 0.0, 1.0])
MOVING = ("lower_outer", "upper_outer", "tie_outer", "wheel_centre", "axis")
LINKS = (
    ("lower_front", "lower_outer"), ("lower_rear", "lower_outer"), ("upper_front", "upper_outer"),
    ("upper_rear", "upper_outer"), ("tie_inner", "tie_outer"),
)  # fmt: skip
AXIS_MM = 150.0


@dataclass
class Twin:
    """Unknowns, misses and constraints as they are collected; `numbers` are kin3d's parameters."""

    numbers: ca.SX
    unknowns: list = field(default_factory=list)
    start: list = field(default_factory=list)
    misses: list = field(default_factory=list)
    held: list = field(default_factory=list)

    def unknown(self, name, value):
        value = np.atleast_1d(np.asarray(value, dtype=float))
        symbol = ca.SX.sym(name, len(value))
        self.unknowns.append(symbol)
        self.start += value.tolist()
        return symbol


def solve(model: Model, near: State):
    """Optimum and covariance of all parameters but cameras' turns and places, from a state near by.

    Returns
    -------
    index : ndarray of int
        The parameters compared.
    value : ndarray
    covariance : ndarray
    """
    parameters = model.parameters
    count = len(parameters.listed)
    places = set(parameters.pictures[:, :6].ravel().tolist())
    held = {k for k, p in enumerate(parameters.listed) if p.sigma == 0.0}
    index = np.array([k for k in range(count) if k not in places | held])
    own = ca.SX.sym("numbers", len(index))
    numbers = ca.SX(near.numbers)
    for row, k in enumerate(index):
        numbers[int(k)] = own[row]
    twin = Twin(numbers, [own], near.numbers[index].tolist())
    for k in index:
        p = parameters.listed[k]
        if np.isfinite(p.sigma):
            twin.misses.append((numbers[int(k)] - p.value) / p.sigma)
    for number, car in enumerate(model.cars):
        seen = model.seen(near, number)
        cameras = {photo: _camera(twin, model, near, photo) for photo in sorted({p for p, _ in car.lanes})}
        lanes = [_lane(twin, model, car, number, k, seen) for k in range(len(car.lanes))]
        marks = [m for c, m in model.marks if c == number]
        feet = model.evaluate(near).state.feet[number]
        for k, mark in enumerate(marks):
            _mark(twin, cameras[int(car.photo[k])], lanes[int(car.lane[k])], car, mark, float(feet[k]))
    return index, *_optimum(twin, len(index))


def _optimum(twin, wanted):
    x = ca.vertcat(*twin.unknowns)
    misses, held = ca.vertcat(*twin.misses), ca.vertcat(*twin.held)
    problem = {"x": x, "f": 0.5 * ca.sumsqr(misses), "g": held}
    options = {"ipopt.tol": 1e-13, "ipopt.print_level": 0, "print_time": 0, "ipopt.sb": "yes", "ipopt.max_iter": 200}
    solver = ca.nlpsol("twin", "ipopt", problem, options | {"ipopt.acceptable_tol": 1e-12, "ipopt.mu_target": 0.0})
    found = solver(x0=twin.start, lbg=0.0, ubg=0.0)
    at = np.array(found["x"]).ravel()
    jacobian = np.array(ca.Function("J", [x], [ca.jacobian(misses, x)])(at))
    gradients = np.array(ca.Function("A", [x], [ca.jacobian(held, x)])(at))
    scale = 1.0 / np.maximum(np.sqrt((jacobian**2).sum(axis=0)), 1e-3)
    jacobian, gradients = jacobian * scale, gradients * scale
    gradients /= np.linalg.norm(gradients, axis=1, keepdims=True)
    _, _, rows = np.linalg.svd(gradients)
    free = rows[len(gradients) :].T  # directions along which the constraints stay
    upper = np.linalg.qr(jacobian @ free, mode="r")
    factor = scale[:, None] * (free @ np.linalg.inv(upper))
    covariance = factor[:wanted] @ factor[:wanted].T
    return at[:wanted], covariance


def _euler(a):
    def turn(k, angle):
        c, s = ca.cos(angle), ca.sin(angle)
        i, j = (k + 1) % 3, (k + 2) % 3
        m = ca.SX.eye(3)
        m[i, i], m[j, j], m[i, j], m[j, i] = c, c, -s, s
        return m

    return turn(2, a[2]) @ turn(1, a[1]) @ turn(0, a[0])


def _camera(twin, model, near, photo):
    """A function from places in the car's frame to pixels."""
    pictures = model.parameters.pictures[photo]
    u0, v0, scale, log_f, cx, cy, _ = near.numbers[pictures[3:10]]
    shift = np.exp(scale) * np.array([u0 - cx, v0 - cy, np.exp(log_f)]) - near.turns[photo] @ model.reference[photo]
    angles = twin.unknown(f"angles{photo}", np.zeros(3))
    place = twin.unknown(f"place{photo}", shift / 100.0) * 100.0
    turn = _euler(angles) @ ca.DM(near.turns[photo])
    f = ca.exp(twin.numbers[int(pictures[6])])
    centre = twin.numbers[pictures[7:9].tolist()]
    k1, half = twin.numbers[int(pictures[9])], model.half_px[photo]

    def pixels(x):
        seen = turn @ x + place
        flat = f * seen[:2] / seen[2]
        return centre + flat * (1.0 + k1 * ca.sumsqr(flat) / half**2)

    return pixels


def _lane(twin, model, car, number, lane, seen):
    """Places of all points and the wheels of one side in one photograph, the upright's as unknowns held by lengths."""
    parameters, n = model.parameters, twin.numbers
    block, upright = parameters.blocks[number], parameters.uprights[number]
    photo, side = car.lanes[lane]
    left = side == "left"
    sign = 1.0 if left else -1.0
    mirror = ca.DM([1.0, sign, 1.0])
    wheel = [n[int(k)] for k in block.wheel]
    camber, toe = wheel[0], wheel[1]
    design = {}
    for i, name in enumerate(upright.points):
        rows = [n[int(k)] if k >= 0 else 0.0 for k in block.points[i]]
        if name == "wheel_centre":
            rows[2] = wheel[2] * ca.cos(camber)
        place = ca.vertcat(*rows)
        if not left:
            place = place + n[block.right[i].tolist()]
        design[name] = mirror * place
    if not left:
        camber, toe = camber + n[int(block.right_angles[0])], toe + n[int(block.right_angles[1])]
    spin = ca.vertcat(ca.sin(toe) * ca.cos(camber), sign * ca.cos(toe) * ca.cos(camber), -ca.sin(camber))
    design["axis"] = design["wheel_centre"] + AXIS_MM * spin
    travel, apart, rack, rear, rear_apart, _ = (n[int(k)] for k in parameters.pictures[photo, 10:])
    at = dict(design)
    at["tie_inner"] = design["tie_inner"] + ca.vertcat(0.0, rack, 0.0)
    flip = np.array([1.0, sign, 1.0])
    near = {p: seen.points[lane, upright.index(p)] * flip for p in MOVING[:4]}
    near["axis"] = near["wheel_centre"] + AXIS_MM * seen.wheels[0].axis[lane] * flip
    for name in MOVING:
        at[name] = twin.unknown(f"{name} {lane}", near[name])
    pairs = [(a, b) for i, a in enumerate(MOVING[:4]) for b in MOVING[i + 1 : 4]]
    pairs += [("axis", p) for p in MOVING[:3]]
    for a, b in pairs + list(LINKS):
        twin.held.append((ca.sumsqr(at[a] - at[b]) - ca.sumsqr(design[a] - design[b])) / 200.0)
    twin.held.append(at["wheel_centre"][2] - design["wheel_centre"][2] - (travel + sign * apart))
    frames = [ca.horzcat(p[MOVING[1]] - p[MOVING[0]], p[MOVING[2]] - p[MOVING[0]]) for p in (design, at)]
    frames = [ca.horzcat(f, ca.cross(f[:, 0], f[:, 1])) for f in frames]
    turn = frames[1] @ ca.inv(frames[0])
    other = [n[int(k)] for k in block.other_wheel]
    centre = ca.vertcat(-n[int(block.other_centre[0])], n[int(block.other_centre[1])], other[2] * ca.cos(other[0]))
    if not left:
        centre = centre + n[block.right_other.tolist()]
    centre = mirror * centre + (rear + sign * rear_apart) * UP
    lean, turned = other[0], other[1]
    axis = ca.vertcat(ca.sin(turned) * ca.cos(lean), sign * ca.cos(turned) * ca.cos(lean), -ca.sin(lean))
    wheels = {
        "front": (at["wheel_centre"], (at["axis"] - at["wheel_centre"]) / AXIS_MM, *wheel[2:]),
        "rear": (centre, axis, *other[2:]),
    }
    return at, turn, wheels, mirror, block, upright


def _mark(twin, camera, lane, car, mark, foot):
    at, turn, wheels, mirror, block, upright = lane
    if mark.kind == "point":
        shift = mirror * twin.numbers[block.joints[upright.index(mark.name)].tolist()]
        place = at[mark.name] + (turn @ shift if mark.name in MOVING else shift)
    elif mark.kind == "leg":
        part = twin.unknown("part", foot)
        place = at[mark.name] + part * (at[upright.far_end(mark.name)] - at[mark.name])
    else:
        centre, axis, radius, rim, offset = wheels[mark.name]
        if mark.kind == "contact":
            down = UP - axis[2] * axis
            place = centre - radius * down / ca.norm_2(down)
        else:
            across = ca.cross(UP, axis) / ca.norm_2(ca.cross(UP, axis))
            angle = twin.unknown("angle", _angle(foot, mirror))
            place = centre + offset * axis + rim * (ca.cos(angle) * across + ca.sin(angle) * ca.cross(axis, across))
    twin.misses += [(camera(place) - ca.DM([mark.u, mark.v])) / mark.sigma_px]


def _angle(foot, mirror):
    """A start for the angle in this file's plane: forward is against UP × axis on the left, along it on the right."""
    return np.pi - foot if float(mirror[1]) > 0 else -foot
