"""Links as tubes and joints in their own frames, against formulas and rigid motions of their own."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

import kin3d
from kin3d.errors import RequestError
from kin3d.linkage.car import Car
from kin3d.writing.tables import Table
from tests.laws.cars import car

Array = NDArray[np.float64]
TRAVEL = [-25.0, 0.0, 30.0]
AXIS = np.array([0.1, -0.2, 1.0])
TUBE = {"diameter_mm": 14.0, "wall_mm": 1.2, "modulus_n_per_mm2": 205000.0, "yield_n_per_mm2": 460.0}
BALL = {"radial_n": 9000.0, "axial_n": 4000.0, "axis": AXIS.tolist(), "limit_deg": 15.0}


def with_parts(side: str = "left") -> Car:
    across = -1.0 if side == "right" else 1.0
    case = {"name": "kerb", "axle": "front", "side": side, "contact_n": [-500.0, across * 300.0, 6000.0]}
    figures: dict[str, Any] = {"front.links": {"tie link": TUBE}, "front.joints": {"lower_outer": BALL}}
    return car("dunlin").with_figures({**figures, "cases": [case]})


def rows(table: Table, **which: str) -> dict[str, Array]:
    names = [c.name for c in table.columns]
    found = [r for r in table.rows if all(r[names.index(k)] == v for k, v in which.items())]
    return {n: np.array([r[k] for r in found]) for k, n in enumerate(names)}


def rotation(then: Array, now: Array) -> Array:
    """Rotation that carries points (rows) to where they are now (Kabsch)."""
    u, _, v = np.linalg.svd((then - then.mean(axis=0)).T @ (now - now.mean(axis=0)))
    return np.asarray((u @ np.diag([1.0, 1.0, np.linalg.det(u @ v)]) @ v).T)


def test_a_link_bears_what_a_straight_tube_bears() -> None:
    found = kin3d.forces(with_parts(), TRAVEL)
    table = {t.key: t for t in found.records()}["link_margins"]
    tie, rod = (rows(table, link=name) for name in ("tie link", "rod"))
    part = found.parts[0]
    length = np.linalg.norm(part.joints.at["tie_inner"] - part.joints.at["tie_outer"], axis=0)
    # a ring of outer radius 7 and inner radius 5.8: area and second moment from the radii
    area, second = np.pi * (7.0**2 - 5.8**2), np.pi / 4.0 * (7.0**4 - 5.8**4)
    assert_allclose(tie["stress_n_per_mm2"].astype(float), part.joints.axial["tie link"] / area, rtol=1e-12)
    # Euler's second case, F = π²·E·I/l² (K.-H. Grote and J. Feldhusen, Dubbel: Taschenbuch für den Maschinenbau, part
    # C, buckling of bars; from memory)
    assert_allclose(tie["buckling_n"].astype(float), np.pi**2 * 205000.0 * second / length**2, rtol=1e-12)
    assert_allclose(
        tie["yield_factor"].astype(float), 460.0 * area / np.abs(part.joints.axial["tie link"]), rtol=1e-12
    )
    assert (part.joints.axial["rod"] < 0.0).all()
    assert_allclose(
        rod["buckling_factor"].astype(float) * -part.joints.axial["rod"], rod["buckling_n"].astype(float), rtol=1e-12
    )


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_joint_is_looked_at_along_its_stud(side: str) -> None:
    """The stud goes with the upright; the arm is out of line by what it and the upright have turned apart."""
    found = kin3d.forces(with_parts(side), TRAVEL)
    mine = rows({t.key: t for t in found.records()}["joint_frames"], name="lower_outer")
    at = found.parts[0].joints.at
    mirror = np.array([1.0, 1.0 if side == "left" else -1.0, 1.0])
    table = {p: np.asarray(xyz) * mirror for p, xyz in zip(*_table(), strict=True)}
    force = found.parts[0].joints.on_body["lower arm", "lower_outer"]
    for k in range(len(TRAVEL)):
        turns = []
        for names in (("lower_outer", "upper_outer", "tie_outer"), ("lower_front", "lower_rear", "lower_outer")):
            then, now = np.stack([table[n] for n in names]), np.stack([at[n][:, k] for n in names])
            turns.append(rotation(then, now))
        stud, own = (turn @ (AXIS * mirror / np.linalg.norm(AXIS)) for turn in turns)
        angle = np.degrees(np.arccos(np.clip(stud @ own, -1.0, 1.0)))
        assert_allclose(float(mine["misalignment_deg"][k]), angle, rtol=1e-7, atol=2e-6)
        axial = force[:, k] @ stud
        assert_allclose(float(mine["axial_n"][k]), axial, rtol=1e-9)
        across = np.linalg.norm(np.cross(force[:, k], stud))
        assert_allclose(float(mine["radial_n"][k]), across, rtol=1e-9)
        assert_allclose(float(mine["radial_factor"][k]), 9000.0 / across, rtol=1e-9)
        assert_allclose(float(mine["axial_factor"][k]), 4000.0 / abs(axial), rtol=1e-9)


def _table() -> tuple[tuple[str, ...], Array]:
    points = car("dunlin").axle("front").points
    return points.names, points.xyz_mm


def test_rod_ends_are_as_far_out_of_line_as_their_measures_say() -> None:
    read = with_parts()
    frames = {t.key: t for t in kin3d.forces(read, TRAVEL).records()}["joint_frames"]
    curves = kin3d.sweep(read, "front", TRAVEL).dataset().sel(side="left", rack_mm=0.0)
    for point in ("rod_outer", "rod_inner"):
        mine = rows(frames, name=point)["misalignment_deg"].astype(float)
        assert_allclose(mine, curves[f"rod_end_{point[4:]}_deg"].values, rtol=1e-9, atol=1e-9)
    assert "tie_outer" not in set(rows(frames)["name"])  # without an axis there is no frame


def test_what_is_shown_is_the_least_of_all_cases() -> None:
    read = with_parts().with_figures({"cases": [_tyre("small", 3000.0), _tyre("large", 9000.0)]})
    tables = {t.key: t for t in kin3d.forces(read, TRAVEL).tables()}
    every = {t.key: t for t in kin3d.forces(read, TRAVEL).records()}
    rod = rows(tables["front_link_margins"], link="rod")
    least = rows(every["link_margins"], link="rod")["buckling_factor"].astype(float).min()
    assert_allclose(float(rod["euler"][0]), least, rtol=1e-12)
    assert rod["where"][0] == "large"
    rated = rows(tables["front_joint_margins"])
    assert [n for n, v in zip(rated["joint"], rated["of_axial"], strict=True) if v is not None] == [
        "lower_outer (lower arm)"
    ]


def _tyre(name: str, load: float) -> dict[str, Any]:
    return {"name": name, "axle": "front", "side": "left", "contact_n": [0.0, 0.0, load]}


def test_parts_that_do_not_fit_are_told_at_once() -> None:
    wrong = {
        "front.links": {"tie lnk": {"diameter_mm": 14.0, "wall_mm": 8.0}, "rod": {"wall_mm": 1.0}},
        "front.joints": {"lower outer": {"axial_n": 3.0}, "Lower-outer": {}, "rod_outer": {"axis": [1.0, 0.0, 0.0]}},
    }
    with pytest.raises(RequestError) as told:
        car("dunlin").with_figures(wrong)
    text = str(told.value)
    for sentence in (
        '[front.links."tie lnk"] wall_mm: is 8; at most half the diameter of 14 mm is expected',
        '[front.links."tie lnk"]: is no link, a body of two points, of this layout with the keys given; did you mean '
        '"tie link"?',
        "[front.links.rod]: is the rod, whose tube stands in [front.rod_part]; give it there",
        "[front.joints.lower_outer] axis: is missing; it is needed for axial_n: the direction of the stud or bolt",
        "[front.joints.lower_outer]: stands twice under names that read the same",
        "[front.joints.rod_outer] axis: is an end of the rod, for which it stands in [front.rod_part] as bolt_outer",
    ):
        assert sentence in text
