"""Forces of the settled car as measures: against the study of one car, settled from rest and by itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

import kin3d
from kin3d.errors import RequestError
from kin3d.linkage.car import Car
from kin3d.linkage.keys import LoadCase
from kin3d.linkage.names import AxleName
from kin3d.linkage.record import changed
from kin3d.solve.lanes import Status
from kin3d.studies.case import case_of
from kin3d.studies.derived import AskedMeasures
from kin3d.studies.settled_case import SettledCase
from tests.laws.axles import CORNER, one_axle
from tests.laws.cars import car
from tests.laws.test_elements import T_BAR
from tests.laws.test_joined_axles import whole_car
from tests.laws.test_joined_loads import PANHARD

Array = NDArray[np.float64]
CASES: list[dict[str, Any]] = [
    {"name": "braking", "braking_g": 1.2},
    {"name": "left turn", "lateral_g": 1.1, "vertical_g": 1.2},
    {"name": "kerb", "axle": "front", "side": "left", "contact_n": [-1500.0, -800.0, 4500.0]},
]
NAMES = (
    "force_braking_tie_link_n",
    "force_braking_lower_rear_x_n",
    "force_braking_upper_outer_n",
    "force_left_turn_spring_n",
    "force_left_turn_bar_link_n",
)


def loaded(name: str = "dunlin", **figures: Any) -> Car:
    return car(name).with_figures({"cases": CASES, **figures})


def by_the_study(read: Car, names: Sequence[str] = NAMES, side: str = "left") -> Array:
    """The same forces from `kin3d.forces`, which settles one car from rest; found by what their names are made of."""
    told: dict[str, float] = {}
    for part in kin3d.forces(read, axle="front").parts:
        if part.side != side:
            continue
        for force in part.forces():
            stem = f"force_{part.case}_{force.name}".replace(" ", "_")
            if force.axial is not None:
                told.setdefault(f"{stem}_n", float(force.axial[0]))
                continue
            told.setdefault(f"{stem}_n", float(np.sqrt((force.force[:, 0] ** 2).sum())))
            if force.kind == "pickup":
                told.update({f"{stem}_{axis}_n": float(v) for axis, v in zip("xyz", force.force[:, 0], strict=True)})
    return np.array([told[n] for n in names])


def difference(way: Mapping[float, Car], h: float) -> Array:
    """Derivative from cars at −2h, −h, h and 2h along a way."""
    at = {k: by_the_study(c) for k, c in way.items()}
    return (8.0 * (at[1.0] - at[-1.0]) - (at[2.0] - at[-2.0])) / (12.0 * h)


def test_values_are_the_forces_of_the_study_on_both_sides() -> None:
    read = loaded()
    for side in ("left", "right"):
        found = kin3d.sensitivity(read, "front", NAMES, side=side)  # type: ignore[arg-type]
        assert [m.name for m in found.measures] == list(NAMES)
        assert_allclose(found.value, by_the_study(read, side=side), rtol=1e-9, atol=1e-6)


@pytest.mark.slow
def test_sensitivities_are_those_of_cars_that_are_settled_anew() -> None:
    read, h = loaded(), 0.05
    found = kin3d.sensitivity(read, "front", NAMES)
    ways: tuple[tuple[AxleName, str, int], ...] = (
        ("front", "lower_outer", 1), ("rear", "wheel_centre", 2)
    )  # fmt: skip
    for axle, name, axis in ways:
        there, step = read.axle(axle).points[name], h * np.eye(3)[axis]
        cars = {k: read.with_points({name: there + k * step}, axle) for k in (-2.0, -1.0, 1.0, 2.0)}
        slope = found.slope[:, found.points.index(f"{axle} {name}"), axis]
        assert_allclose(slope, difference(cars, h), rtol=1e-6, atol=1e-5)


@pytest.mark.slow
def test_figures_of_the_car_file_are_sources_settled_anew() -> None:
    sigmas = {
        "car.mass_kg": ("mass_kg", 470.0, 6.0),
        "front.spring.rate_n_per_mm": ("front spring.rate_n_per_mm", 38.0, 1.0),
    }
    read = loaded(**{key: [value, sigma] for key, (_, value, sigma) in sigmas.items()})
    found = kin3d.tolerance(read, "front", measures=NAMES, samples=0)
    sources = [s.name for s in found.uncertainty.sources]
    for key, (name, value, sigma) in sigmas.items():
        h = 0.02
        cars = {k: read.with_figures({key: value + k * h * sigma}) for k in (-2.0, -1.0, 1.0, 2.0)}
        assert_allclose(found.first.slope[:, sources.index(name), 0], difference(cars, h), rtol=1e-6, atol=1e-5)


def test_sampled_cars_spread_as_first_order_says() -> None:
    found = kin3d.tolerance(loaded(), "front", measures=NAMES, samples=1500)
    assert found.spread is not None
    assert_allclose(found.spread.sigma, found.first.sigma, rtol=0.06)
    assert not found.spread.failed.any()
    assert_allclose(found.first.share.sum(axis=1), 1.0, rtol=1e-9)


def test_many_cars_at_once_are_what_each_is_by_itself() -> None:
    read = loaded()
    case = case_of("front", None, [0.0], NAMES, cases=read.cases)
    asked = SettledCase.of(case, read)
    rng = np.random.default_rng(16)
    # a wheel centre that moves in x makes another wheelbase than that of the file, and the axles are set apart by that
    moves = {n: 2.0 * rng.normal(size=3) * [n != "wheel_centre", 1.0, 1.0] for n in ("lower_outer", "wheel_centre")}
    cars, designs = [read], [asked.design]
    for name, move in moves.items():
        cars.append(read.with_points({name: read.axle("front").points[name] + move}))
        designs.append(SettledCase.of(case, cars[-1]).design)
    found = asked.derive(np.stack(designs), np.ones(1), AskedMeasures(case.measures))
    assert (found.status == Status.OK).all()
    for k, one in enumerate(cars):
        assert_allclose(found.value[:, k], by_the_study(one), rtol=1e-8, atol=1e-5)


def test_a_wheel_that_lifts_in_some_of_the_cars_is_settled_there_in_the_air() -> None:
    read = loaded()
    turn = [{"name": "left turn", "lateral_g": 1.8}]
    light, heavy = (read.with_figures({"cases": turn, "car.cg_height_mm": h}) for h in (330.0, 380.0))
    name = ("force_left_turn_spring_n",)
    lifted = [any(w.lifted for w in kin3d.settle(c, lateral=1.8).wheels) for c in (light, heavy)]
    assert lifted == [False, True]
    case = case_of("front", None, [0.0], name, cases=light.cases)
    asked = SettledCase.of(case, light)
    heights = {"car.cg_height_mm": np.array([330.0, 380.0])}
    two = np.repeat(asked.design[None], 2, axis=0)
    found = asked.derive(two, np.ones(1), AskedMeasures(case.measures, figures=heights))
    assert_allclose(found.value[0], [by_the_study(c, name)[0] for c in (light, heavy)], rtol=1e-8)


def test_figures_that_are_not_carried_are_told() -> None:
    stop = {"name": "bump stop", "on": "spring", "sense": "bump", "gap_mm": [12.0, 1.0], "rate_n_per_mm": 300.0}
    read = loaded().with_figures({"front.stops": [stop]})
    found = kin3d.tolerance(read, "front", measures=[NAMES[0]], samples=0)
    told = [f.text for f in found.findings if f.code == "not-carried"]
    assert len(told) == 1
    assert "the deviation of front.stops" in told[0]
    other = kin3d.tolerance(read, "front", 0.0, ["camber_deg"], samples=0)
    assert all(f.code != "not-carried" for f in other.findings)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("axle", "name", "point"),
    [("rear", "force_turn_panhard_rod_n", "panhard_chassis"), ("front", "force_turn_bar_n", "tbar_end")],
)
def test_one_system_and_a_t_bar_are_settled_anew(tmp_path: Path, axle: AxleName, name: str, point: str) -> None:
    read = whole_car(tmp_path, PANHARD)
    if axle == "front":
        keys = {"bar": {"rate_n_m_per_deg": 30.0}, "spring": {"rate_n_per_mm": 80.0}}
        read = changed(read, front=one_axle(tmp_path / "t", CORNER | T_BAR, **keys).front)
    read = changed(read, cases=(LoadCase(name="turn", lateral_g=0.5),))
    found, h = kin3d.sensitivity(read, axle, [name]), 0.05
    there = read.axle(axle).points[point]

    def at(mm: float) -> float:
        car_ = read.with_points({point: there + np.array([0.0, 0.0, mm])}, axle)
        part = next(p for p in kin3d.forces(car_, axle=axle).parts if p.side in ("left", "both"))
        named = {f.name.lower().replace(" ", "_"): f for f in part.forces() if f.axial is not None}
        axial = named[name.removeprefix("force_turn_").removesuffix("_n")].axial
        assert axial is not None
        return float(axial[0])

    slope = (8.0 * (at(h) - at(-h)) - at(2.0 * h) + at(-2.0 * h)) / (12.0 * h)
    assert abs(slope) > 0.05
    assert_allclose(found.slope[0, found.points.index(f"{axle} {point}"), 2], slope, rtol=1e-6)


def test_two_cars_are_compared_in_forces_of_the_settled_car() -> None:
    a = loaded()
    b = a.with_points({"tie_outer": a.axle("front").points["tie_outer"] + [3.0, 0.0, 0.0]})
    found = kin3d.compare([a, b], "front", measures=NAMES, samples=0)
    pair = found.pairs[0]
    expected = by_the_study(b) - by_the_study(a)
    assert_allclose([d.difference for d in pair.differences], expected, rtol=1e-7, atol=1e-6)
    parts = pair.attribution
    assert_allclose(parts.start_parts.sum(axis=1), expected, rtol=1e-6, atol=1e-6)
    assert {str(c) for c in parts.causes} == {"front tie_outer x"}


def test_what_does_not_go_with_a_settled_car_is_refused_with_a_way_out() -> None:
    read = loaded()
    with pytest.raises(RequestError, match="is of the car as it settles; give it without travel"):
        kin3d.tolerance(read, "front", [0.0, 10.0], [NAMES[0]], samples=0)
    with pytest.raises(RequestError, match="ask for camber_deg, force_kerb_tie_link_n by themselves"):
        kin3d.sensitivity(read, "front", [NAMES[0], "camber_deg", "force_kerb_tie_link_n"])
    with pytest.raises(RequestError, match="in one position: kin3d forces, tolerance, sensitivity and compare tell it"):
        kin3d.sweep(read, measures=[NAMES[0]])
    with pytest.raises(RequestError, match='"force_braking_tie_lnk_n"; did you mean "force_braking_tie_link_n"'):
        kin3d.tolerance(read, "front", measures=["force_braking_tie_lnk_n"], samples=0)
    tips = read.with_figures({"cases": [{"name": "turn", "lateral_g": 4.0}]})
    with pytest.raises(RequestError, match="no attitude carries these loads"):
        kin3d.tolerance(tips, "front", measures=["force_turn_tie_link_n"], samples=0)
