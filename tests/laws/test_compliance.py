"""Linear compliance against an exact elastic solve, Maxwell's reciprocity, a tie link and a tripod by hand."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

import kin3d
from kin3d.errors import RequestError
from kin3d.linkage.car import Car
from kin3d.loads.elastic import DISPLACEMENTS
from kin3d.loads.flexibility import Flexible, given_way
from kin3d.studies.compliance_result import AxleCompliance
from tests.car_files import write_car
from tests.laws.cars import car
from tests.oracles.corners import scattered
from tests.oracles.elastic_corner import ElasticCorner

Array = NDArray[np.float64]
RADIUS = 240.0
SPIN = np.array([0.02, 1.0, 0.03]) / np.linalg.norm([0.02, 1.0, 0.03])
STUDS = {
    "lower_outer": (0.1, 0.0, 1.0),
    "upper_outer": (0.0, -0.2, 1.0),
    "tie_outer": (0.1, 0.1, 1.0),
    "tie_inner": (1.0, 0.0, 0.3),
}
TUBE = {"diameter_mm": 14.0, "wall_mm": 1.5, "modulus_n_per_mm2": 205000.0}
AREA = np.pi * (7.0**2 - 5.5**2)
HINGES = {"lower arm": ("lower_front", "lower_rear"), "upper arm": ("upper_front", "upper_rear")}
HINGES["rocker"] = ("rocker_axis_1", "rocker_axis_2")


def stiffness(point: str) -> tuple[float, float]:
    """Radial and axial, another for every point."""
    n = sum(map(ord, point)) % 17
    return 50000.0 + 1500.0 * n, 20000.0 + 700.0 * n


@cache
def elastic() -> tuple[dict[str, Array], ElasticCorner]:
    points = scattered("lower arm", np.random.default_rng(8))
    joints: list[Any] = []
    for arm, hinge in HINGES.items():
        axis = points[hinge[1]] - points[hinge[0]]
        joints += [(p, arm, "chassis", axis, *stiffness(p)) for p in hinge]
    bolts = [("rod_outer", "lower arm", HINGES["lower arm"]), ("rod_inner", "rocker", HINGES["rocker"])]
    joints += [(p, "rod", at, points[h[1]] - points[h[0]], *stiffness(p)) for p, at, h in bolts]
    studs = [("lower_outer", "lower arm", "upright"), ("upper_outer", "upper arm", "upright")]
    studs += [("tie_outer", "tie link", "upright"), ("tie_inner", "tie link", "chassis")]
    joints += [(p, b, at, np.array(STUDS[p]), *stiffness(p)) for p, b, at in studs]
    ends = {"tie link": ("tie_inner", "tie_outer"), "rod": ("rod_outer", "rod_inner")}
    links = {
        name: (a, b, 205000.0 * AREA / float(np.linalg.norm(points[a] - points[b]))) for name, (a, b) in ends.items()
    }
    return points, ElasticCorner(points, joints, links)


def same_car(folder: Path) -> Car:
    points, exact = elastic()
    table = points | {"wheel_axis": points["wheel_centre"] + 100.0 * SPIN}
    read = kin3d.load(write_car(folder, table, rod_on="lower arm", loaded_radius_mm=RADIUS))
    parts: dict[str, Any] = {}
    for point, *_ in exact.joints:
        radial, axial = stiffness(point)
        parts[point] = {"radial_n_per_mm": radial, "axial_n_per_mm": axial}
        parts[point] |= {"axis": list(STUDS[point])} if point in STUDS else {}
    return read.with_figures({"front.joints": parts, "front.links": {"tie link": TUBE}, "front.rod_part": TUBE})


def totals(part: AxleCompliance) -> dict[tuple[str, str], Array]:
    """Displacements per kN or N·m at the first position."""
    return dict(zip(part.loads, part.per_unit()[..., 0].sum(axis=0), strict=True))


def angles(turned: Any, points: dict[str, Array]) -> Array:
    a, k = turned(SPIN), turned(points["upper_outer"] - points["lower_outer"])
    return np.degrees([np.arctan2(a[0], a[1]), -np.arcsin(a[2]), np.arctan2(-k[0], k[2])])


def test_a_tenth_of_the_load_bends_as_the_exact_elastic_corner(tmp_path: Path) -> None:
    """50 N, or 5 N·m, bend to 1e-4 as the linear figures say, and what is off is the corner's own curvature.

    It goes with the load: twice the displacements of 50 N less those of 100 N are linear to 1e-6.
    """
    points, exact = elastic()
    found = totals(kin3d.compliance(same_car(tmp_path)).parts[0])
    down = np.array([0.0, 0.0, 1.0]) - SPIN[2] * SPIN
    centre = points["wheel_centre"]
    foot = centre - RADIUS * down / np.linalg.norm(down)
    x, y, _ = np.eye(3)
    loads = {("contact point", f"F{'xyz'[k]}"): [(foot, 100.0 * e)] for k, e in enumerate(np.eye(3))}
    loads |= {("wheel centre", f"F{'xyz'[k]}"): [(centre, 100.0 * e)] for k, e in enumerate(np.eye(3))}
    loads["wheel centre", "Mz"] = [(centre + 50.0 * x, 100.0 * y), (centre - 50.0 * x, -100.0 * y)]  # 10 N·m
    still = angles(lambda v: v, points)
    for load, forces in loads.items():
        bent = []
        for size in (1.0, 0.5):
            moved, turned = exact.under([(place, size * force) for place, force in forces])
            bent.append(np.r_[angles(turned, points) - still, moved] / size)
        mine = found[load] * (10.0 if load[1] == "Mz" else 0.1)
        for expected, tolerance in ((bent[1], 1e-4), (2.0 * bent[1] - bent[0], 1e-6)):
            for few in (slice(0, 3), slice(3, 6)):  # degrees, mm
                error = np.abs(mine[few] - expected[few]).max() / np.abs(expected[few]).max()
                assert error < tolerance, (load, mine[few], expected[few])


def test_what_a_force_does_to_another_is_what_that_does_to_it(tmp_path: Path) -> None:
    """Maxwell: the way along j under a force along i is the way along i under one along j."""
    found = totals(kin3d.compliance(same_car(tmp_path), [12.0]).parts[0])
    ways = np.stack([found["wheel centre", f"F{k}"][3:] for k in "xyz"])
    assert_allclose(ways, ways.T, rtol=1e-9, atol=1e-12)
    assert (np.linalg.eigvalsh(ways) > 0.0).all()


def test_parts_add_up_and_a_rigid_one_adds_nothing(tmp_path: Path) -> None:
    read = same_car(tmp_path)
    whole = kin3d.compliance(read)
    records = {t.key: t for t in whole.records()}
    added = np.array([list(row[-len(DISPLACEMENTS) :]) for row in records["contributions"].rows], dtype=float)
    sums = np.array([list(row[-len(DISPLACEMENTS) :]) for row in records["compliance"].rows], dtype=float)
    count = len(whole.parts[0].parts)
    assert_allclose(added.reshape(-1, count, len(DISPLACEMENTS)).sum(axis=1), sums, rtol=1e-12, atol=1e-15)
    stiff = read.with_figures({"front.joints.tie_outer": {"radial_n_per_mm": 1e15, "axis": [0.0, 0.0, 1.0]}})
    without = read.with_figures({"front.joints.tie_outer": None})
    one, other = (totals(kin3d.compliance(c).parts[0])["wheel centre", "Mz"] for c in (stiff, without))
    assert_allclose(one, other, rtol=1e-6)


def test_a_link_alone_gives_way_by_its_force_times_what_it_shortens() -> None:
    """By hand: toe per N·m is the tie link's, from the ball joints' line, its lever and L/(E·A)."""
    read = car("dunlin").with_figures({"front.links": {"tie link": TUBE}, "front.rod_part": None})
    found = kin3d.compliance(read).parts[0]
    table = car("dunlin").axle("front").points
    low, top, outer, inner = (table[p] for p in ("lower_outer", "upper_outer", "tie_outer", "tie_inner"))
    line = (inner - outer) / np.linalg.norm(inner - outer)
    k = (top - low) / np.linalg.norm(top - low)
    lever = k @ np.cross(outer - low, line)  # of the tie link about the kingpin, which all else leaves free to turn
    give = np.linalg.norm(inner - outer) / (205000.0 * AREA)
    turn = k[2] / lever * give / lever * k  # rad per N·mm about z: moment about the kingpin over the lever, and so back
    toe, camber = np.radians(-0.1), np.radians(-2.5)
    a = np.array([np.sin(toe) * np.cos(camber), np.cos(toe) * np.cos(camber), -np.sin(camber)])
    da = np.cross(turn, a)
    expected = (a[1] * da[0] - a[0] * da[1]) / (a[0] ** 2 + a[1] ** 2)
    assert_allclose(totals(found)["wheel centre", "Mz"][0], np.degrees(expected) * 1000.0, rtol=1e-9)


def test_a_tripod_sinks_as_by_hand() -> None:
    """Three legs of length L, each c = cos of its angle to the load: F/(3c) in a leg, F·L/(3·E·A·c²) at the top."""
    turns = 2.0 * np.pi / 3.0 * np.arange(3)
    legs = np.stack([300.0 * np.cos(turns), 300.0 * np.sin(turns), np.full(3, -400.0)], axis=1)  # L = 500, c = 0.8
    lines = legs / 500.0
    give = 500.0 / (205000.0 * AREA)
    parts = [Flexible("link", f"leg {k}", f"leg {k}", give * np.outer(u, u)[..., None]) for k, u in enumerate(lines)]
    under = [1000.0 / (3.0 * 0.8) * u[:, None] for u in lines]
    unit = [1.0 / (3.0 * 0.8) * u[:, None] for u in lines]
    added = given_way(parts, under, unit)
    assert_allclose(added.sum(), 1000.0 * 500.0 / (3.0 * 205000.0 * AREA * 0.8**2), rtol=1e-12)
    assert_allclose(added[:, 0], added.sum() / 3.0, rtol=1e-12)


def test_what_is_too_soft_or_not_given_is_refused(tmp_path: Path) -> None:
    read = same_car(tmp_path)
    with pytest.raises(RequestError, match=r"front left: .* changes .* linear figures hold to 1°"):
        kin3d.compliance(read.with_figures({"front.joints.lower_outer.radial_n_per_mm": 20.0}))
    bare = read.with_figures({"front.joints": None, "front.links": None, "front.rod_part": None})
    with pytest.raises(RequestError, match=r"nothing is elastic; give radial_n_per_mm"):
        kin3d.compliance(bare)


def test_a_case_bends_by_its_loads_times_what_a_unit_does(tmp_path: Path) -> None:
    """A braked wheel takes force and moment whole, so that its deflection is the sum over the unit loads."""
    force, moment = [-600.0, 400.0, 900.0], 15.0
    case = {"name": "kerb", "axle": "front", "side": "left", "contact_n": force, "wheel": "braked"}
    read = same_car(tmp_path).with_figures({"cases": [case | {"contact_moment_n_m": [0.0, 0.0, moment]}]})
    found = kin3d.compliance(read, [-5.0, 5.0])
    unit = dict(zip(found.parts[0].loads, found.parts[0].per_unit().sum(axis=0), strict=True))
    expected = sum(unit["contact point", f"F{axis}"] * f / 1000.0 for axis, f in zip("xyz", force, strict=True))
    expected = expected + unit["contact point", "Mz"] * moment
    assert_allclose(found.cases[0].bent, expected, rtol=1e-9, atol=1e-12)
    rows = {t.key: t.rows for t in found.records()}["deflections"]
    assert_allclose([row[5:] for row in rows], expected.T, rtol=1e-12)
    assert "deflections" in [t.key for t in found.tables()]


def test_a_case_that_bends_over_a_degree_is_refused_by_name(tmp_path: Path) -> None:
    case = {"name": "wall", "axle": "front", "side": "left", "contact_n": [-90000.0, 0.0, 900.0], "wheel": "braked"}
    read = same_car(tmp_path).with_figures({"cases": [case]})
    text = r'case "wall", front left: compliance changes \w+ by .*°; linear figures hold to 1°'
    with pytest.raises(RequestError, match=text):
        kin3d.compliance(read)
    assert kin3d.forces(read).parts[0].bends_too_far()
