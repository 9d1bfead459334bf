"""Forces under load cases as measures: values of the free bodies' study, derivatives against cars solved anew."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

import kin3d
from kin3d.errors import RequestError
from kin3d.linkage.car import Car
from kin3d.studies.corner_model import CornerModel, derive
from kin3d.studies.derived import AskedMeasures
from kin3d.studies.registry import corner_measures, pick
from tests.laws.cars import car

Array = NDArray[np.float64]
KERB = {"name": "kerb", "axle": "front", "side": "left", "contact_n": [-1500.0, -800.0, 4500.0]}
TWIST = KERB | {"name": "kerb twist", "contact_moment_n_m": [10.0, 20.0, -30.0], "wheel": "braked"}
NAMES = ("force_kerb_tie_link_n", "force_kerb_spring_n", "force_kerb_lower_outer_n", "force_kerb_twist_lower_rear_x_n")


def loaded(name: str = "dunlin") -> Car:
    return car(name).with_figures({"cases": [KERB, TWIST]})


def test_a_measure_is_the_force_of_the_study_and_its_mirror_image() -> None:
    read = loaded()
    study = {(p.case, f.name, f.kind): f for p in kin3d.forces(read, [-15.0, 10.0]).parts for f in p.forces()}
    swept = kin3d.sweep(read, travel=[-15.0, 10.0], measures=[*NAMES, "force_kerb_twist_lower_rear_y_n"]).values
    expected = [
        study["kerb", "tie link", "link"].axial,
        study["kerb", "spring", "spring"].axial,
        study["kerb", "lower_outer", "joint"].size,
        study["kerb twist", "lower_rear", "pickup"].force[0],
    ]
    for name, force in zip(NAMES, expected, strict=True):
        assert force is not None
        for side in (0, 1):
            assert_allclose(swept[name][:, 0, side], force, rtol=1e-12)
    aside = swept["force_kerb_twist_lower_rear_y_n"][:, 0]
    assert_allclose(aside[:, 0], study["kerb twist", "lower_rear", "pickup"].force[1], rtol=1e-12)
    assert_allclose(aside[:, 1], -aside[:, 0], rtol=1e-12)


def test_sensitivities_are_those_of_cars_that_are_solved_anew() -> None:
    read = loaded()
    found = kin3d.sensitivity(read, "front", NAMES, travel=8.0)
    corner = CornerModel.of(read, "front")
    wanted = pick(corner_measures("front"), "front", NAMES)

    def at(travel: float, row: int, axis: int, mm: float) -> Array:
        variants = corner.variants(corner.design + mm * corner.seeds[row, axis])
        lanes = corner.model.kernel.lanes(variants, np.array([travel]))
        return derive(corner, variants, lanes, AskedMeasures(wanted)).value[:, 0]

    for point, axis in (("tie_outer", 2), ("rod_inner", 1), ("wheel_centre", 0), ("upper_front", 2)):
        row, k = corner.names.index(point), found.points.index(point)
        h = 0.02
        slope = (at(8.0, row, axis, h) - at(8.0, row, axis, -h)) / (2.0 * h)
        assert_allclose(found.slope[:, k, axis], slope, rtol=2e-6, atol=1e-6)
        h = 0.4
        mixed = sum(s * t * at(8.0 + s * h, row, axis, t * h) for s in (1, -1) for t in (1, -1)) / (4.0 * h * h)
        assert_allclose(found.rate_slope[:, k, axis], mixed, rtol=1e-3, atol=1e-5)
    rate = (at(8.02, 0, 0, 0.0) - at(7.98, 0, 0, 0.0)) / 0.04
    assert_allclose(found.rate, rate, rtol=1e-6, atol=1e-6)


@pytest.mark.parametrize("drive", [{"travel": [0.0, 10.0]}, {"roll": [0.0, 1.0]}])
def test_first_order_and_sampled_cars_agree(drive: dict[str, list[float]]) -> None:
    names = ["force_kerb_tie_link_n", "force_kerb_upper_front_n"]
    found = kin3d.tolerance(loaded(), "front", measures=names, samples=1000, **drive)  # type: ignore[arg-type]
    assert found.spread is not None
    assert_allclose(found.spread.sigma, found.first.sigma, rtol=0.08)
    assert_allclose(found.first.share.sum(axis=1), 1.0, rtol=1e-9)


def test_figures_of_the_car_file_have_their_part_in_doubt() -> None:
    read = loaded().with_figures({"front.loaded_radius_mm": [250.0, 3.0]})
    found = kin3d.tolerance(read, "front", 0.0, ["force_kerb_tie_link_n"], samples=0)
    k = [s.name for s in found.uncertainty.sources].index("loaded_radius_mm")
    more, less = (
        kin3d.forces(read.with_figures({"front.loaded_radius_mm": 250.0 + d}), cases=["kerb"]).parts[0] for d in (3, -3)
    )
    expected = 0.5 * (more.joints.axial["tie link"] - less.joints.axial["tie link"])
    assert_allclose(found.first.slope[0, k], expected, rtol=1e-6, atol=1e-6)


def test_a_difference_of_forces_adds_up_from_the_points_that_moved() -> None:
    read = loaded()
    other = read.with_points({"tie_outer": read.axle("front").points["tie_outer"] + [0.0, 5.0, -3.0]})
    pair = kin3d.compare([read, other], "front", [-10.0, 10.0], ["force_kerb_tie_link_n"], samples=0).pairs[0]
    found = pair.attribution
    assert found.adds_up().all()
    assert {c.name for c in found.causes} == {"tie_outer"}
    one, two = (kin3d.forces(c, cases=["kerb"]).parts[0].joints.axial["tie link"][0] for c in (read, other))
    assert_allclose(found.start_parts.sum(), two - one, rtol=1e-9)


def test_cars_are_compared_under_the_first_ones_cases() -> None:
    read, double = loaded("dunlin"), [KERB | {"contact_n": [-3000.0, -1600.0, 9000.0]}]
    found = kin3d.compare(
        [read, read.with_figures({"cases": double})], "front", 0.0, ["force_kerb_tie_link_n"], samples=0
    )
    assert_allclose([d.difference for p in found.pairs for d in p.differences], 0.0, atol=1e-9)
    assert [f.code for f in found.findings] == ["cases-differ"]
    bare = kin3d.compare(
        [read, car("plover").with_figures({"cases": []})], "front", 0.0, ["force_kerb_rod_n"], samples=0
    )
    assert bare.pairs[0].differences[0].b > 0.0  # a pull-rod


@pytest.mark.parametrize(
    ("axle", "name", "text"),
    [
        ("front", "force_kerb_tie_lnk_n", r'no measure "force_kerb_tie_lnk_n"; did you mean "force_kerb_tie_link_n"\?'),
        ("rear", "force_kerb_tie_link_n", r'on the rear axle: case "kerb" is on the front axle'),
        ("front", "force_curb_tie_link_n", r'did you mean "force_kerb_tie_link_n"\?'),
    ],
)
def test_a_name_that_is_not_there_is_refused(axle: str, name: str, text: str) -> None:
    for ask in (kin3d.tolerance, kin3d.sensitivity, kin3d.sweep):
        with pytest.raises(RequestError, match=text):
            ask(loaded(), axle=axle, measures=[name])  # type: ignore[operator]
    with pytest.raises(RequestError, match=text):
        kin3d.compare([loaded(), loaded("plover")], axle, measures=[name])  # type: ignore[arg-type]


def test_what_stands_in_the_way_is_told() -> None:
    settled = car("dunlin").with_figures({"cases": [{"name": "braking", "braking_g": 1.0}]})
    with pytest.raises(RequestError, match=r"tie_link_n: it is of the car as it settles, in one position"):
        kin3d.sweep(settled, measures="force_braking_tie_link_n")
    bare = loaded().with_figures({"front.loaded_radius_mm": None})
    with pytest.raises(RequestError, match=r"needs a case on the front axle .*loaded_radius_mm"):
        kin3d.sweep(bare, measures="force_kerb_tie_link_n")


def test_measures_of_a_car_name_its_forces(tmp_path: Path) -> None:
    names = [m.name for m in kin3d.measures("front", loaded()).measures]
    assert set(NAMES) <= set(names)
    forces = [n for n in names if n.startswith("force_")]
    assert len(forces) == len(set(forces)) > 40
    kin3d.measures(None, loaded()).save(tmp_path / "measures.csv")
    assert "force_kerb_tie_link_n" in (tmp_path / "measures.csv").read_text(encoding="utf-8")
