"""The demo cars are believable: every figure within the band that a small single-seater has in practice.

The bands are common practice, no source; those of the front axle are the ones that the models were ordered with.
"""

from __future__ import annotations

from functools import cache
from math import pi, sqrt
from pathlib import Path

import numpy as np
import pytest
import xarray
from numpy.typing import NDArray

import kin3d
from kin3d.linkage.car import Axle, Car
from kin3d.linkage.names import AxleName

MODELS = Path(__file__).parents[2] / "models"
CARS = ("dunlin", "plover")
CORNERS = [(car, axle) for car in CARS for axle in ("front", "rear")]
UNSPRUNG_KG = {("dunlin", "front"): 15.0, ("plover", "front"): 14.5, ("dunlin", "rear"): 18.0, ("plover", "rear"): 18.0}
GRAVITY = 9.81
# low and high at the design position, per axle or per car and axle; the first that fits is used
BANDS = {
    ("front", "kingpin_deg"): (5, 10),
    ("front", "caster_deg"): (4, 8),
    ("front", "caster_trail_mm"): (10, 30),
    ("dunlin", "front", "roll_centre_height_mm"): (15, 35),
    ("dunlin", "front", "anti_dive_pct"): (5, 15),
    ("plover", "front", "anti_dive_pct"): (18, 30),
    ("rear", "kingpin_deg"): (4, 10),
    ("rear", "caster_deg"): (0, 8),
    ("rear", "caster_trail_mm"): (-10, 30),
    ("rear", "roll_centre_height_mm"): (30, 60),
    ("rear", "anti_squat_pct"): (10, 40),
    ("rear", "anti_lift_pct"): (10, 50),
    ("both", "scrub_radius_mm"): (5, 45),
    ("both", "camber_deg"): (-3.5, -1),
    ("both", "spring_length_mm"): (200, 350),
    ("both", "contact_z_mm"): (-1, 1),
}


@cache
def car_of(name: str) -> Car:
    return kin3d.load(MODELS / name / "car.toml")


@cache
def curves(name: str, axle: AxleName) -> xarray.Dataset:
    swept = kin3d.sweep(car_of(name), axle, travel=np.arange(-60.0, 61.0, 5.0)).dataset()
    return swept.isel(rack_mm=0).sel(side="left")


def axle_of(name: str, axle: str) -> Axle:
    found = getattr(car_of(name), axle)
    assert isinstance(found, Axle)
    return found


def left(name: str, axle: str, point: str) -> NDArray[np.float64]:
    """Return a point of the left corner, whichever side the file gives."""
    of = axle_of(name, axle)
    return of.points[point] * ([1, 1, 1] if of.side == "left" else [1, -1, 1])


def band_cases() -> list[tuple[str, AxleName, str]]:
    cases = []
    for name, axle in CORNERS:
        for key in BANDS:
            if key[0] in (name, axle, "both") and (len(key) == 2 or key[1] == axle):
                cases.append((name, axle, key[-1]))
    return cases


def angle_deg(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    return float(np.degrees(np.arccos(a @ b / np.linalg.norm(a) / np.linalg.norm(b))))


@pytest.mark.parametrize(("name", "axle", "measure"), band_cases())
def test_design_figure_is_in_its_band(name: str, axle: AxleName, measure: str) -> None:
    keys = [(name, axle, measure), (axle, measure), ("both", measure)]
    low, high = next(BANDS[k] for k in keys if k in BANDS)
    assert low <= float(curves(name, axle)[measure].sel(travel_mm=0)) <= high


@pytest.mark.parametrize(("name", "axle"), CORNERS)
def test_track_and_radius(name: str, axle: AxleName) -> None:
    at = curves(name, axle).sel(travel_mm=0)
    assert 730 <= float(at.wheel_y_mm) <= 790
    assert 730 <= float(at.contact_y_mm) <= 790
    assert 255 <= (axle_of(name, axle).loaded_radius_mm or 0) <= 275


@pytest.mark.parametrize(("name", "axle"), CORNERS)
def test_swing_arm_and_the_camber_that_it_gives(name: str, axle: AxleName) -> None:
    swept = curves(name, axle)
    arm = float((swept.contact_y_mm - swept.front_ic_y_mm).sel(travel_mm=0))
    assert 1300 <= arm <= 2600
    gained = float(swept.camber_deg.sel(travel_mm=5) - swept.camber_deg.sel(travel_mm=-5))
    np.testing.assert_allclose(gained, -np.degrees(10 / arm), rtol=0.02, atol=0)


def test_the_new_car_has_the_higher_front_roll_centre() -> None:
    old, new = (float(curves(c, "front").roll_centre_height_mm.sel(travel_mm=0)) for c in CARS)
    assert 10 <= new - old <= 15


@pytest.mark.parametrize(("name", "axle"), CORNERS)
def test_toe_hardly_changes(name: str, axle: AxleName) -> None:
    toe = curves(name, axle).toe_deg.sel(travel_mm=slice(-25, 25))
    assert float(toe.max() - toe.min()) < (0.06 if axle == "front" else 0.1)


@pytest.mark.parametrize(("name", "axle"), CORNERS)
def test_motion_ratio_rises(name: str, axle: AxleName) -> None:
    ratio = curves(name, axle).motion_ratio.sel(travel_mm=slice(-25, 25)).values
    assert ratio.min() >= 0.65
    assert ratio.max() <= 1.05
    assert np.all(np.diff(ratio) > 0)
    assert 1.03 <= ratio[-1] / ratio[0] <= 1.20


@pytest.mark.parametrize(("name", "axle"), CORNERS)
def test_sixty_millimetres_either_way_are_clear_of_any_limit(name: str, axle: AxleName) -> None:
    swept = curves(name, axle)
    assert np.all(swept.status == 0)
    assert np.all(np.abs(swept.rocker_deg) < 45)


@pytest.mark.parametrize(("name", "axle"), CORNERS)
def test_travel_beyond_the_limit_leaves_the_other_positions_alone(name: str, axle: AxleName) -> None:
    found = kin3d.sweep(car_of(name), axle, travel=[-140.0, 0.0], measures=["camber_deg"])
    swept = found.dataset().sel(side="left", rack_mm=0)
    assert int(swept.status.sel(travel_mm=-140)) != 0
    assert np.isnan(swept.camber_deg.sel(travel_mm=-140))
    design = float(swept.camber_deg.sel(travel_mm=0))
    np.testing.assert_allclose(design, axle_of(name, axle).camber_deg, rtol=0, atol=1e-9)


@pytest.mark.parametrize(("name", "axle"), CORNERS)
def test_spring_carries_the_static_load(name: str, axle: AxleName) -> None:
    data, of, at = car_of(name).data, axle_of(name, axle), curves(name, axle).sel(travel_mm=0)
    share = data.front_mass_share if axle == "front" else 1 - (data.front_mass_share or 0)
    sprung_kg = (data.mass_kg or 0) * (share or 0) / 2 - UNSPRUNG_KG[name, axle]
    assert of.spring is not None
    carried = (of.spring.design_force_n or 0) * float(at.motion_ratio)
    np.testing.assert_allclose(carried, sprung_kg * GRAVITY, rtol=0.005, atol=0)
    ride_hz = sqrt(1000 * float(at.wheel_rate_n_per_mm) / sprung_kg) / (2 * pi)
    assert 2.2 <= ride_hz <= 3.5


@pytest.mark.parametrize("name", CARS)
def test_rack_steers_twenty_degrees_with_some_ackermann(name: str) -> None:
    steer = kin3d.sweep(car_of(name), "front", rack=[-25.0, 0.0, 25.0], measures=["steer_deg"]).dataset().steer_deg
    inner, outer = (float(steer.sel(rack_mm=25, side=s, travel_mm=0)) for s in ("left", "right"))
    np.testing.assert_allclose((inner + outer) / 2, 20, rtol=0, atol=1)
    assert 0.5 < inner - outer < 5.0


@pytest.mark.parametrize(("name", "axle"), CORNERS)
def test_rod_rocker_and_spring_lie_in_one_plane(name: str, axle: str) -> None:
    first, second = (left(name, axle, f"rocker_axis_{i}") for i in (1, 2))
    line, centre = second - first, (first + second) / 2
    rod = left(name, axle, "rod_inner") - left(name, axle, "rod_outer")
    spring = left(name, axle, "spring_inner") - left(name, axle, "spring_outer")
    assert abs(angle_deg(rod, line) - 90) < 15
    assert abs(angle_deg(spring, line) - 90) < 15
    assert 35 <= np.degrees(np.arctan2(abs(rod[2]), abs(rod[1]))) <= 60
    for point, pushed in (("rod_inner", rod), ("spring_outer", spring)):
        assert abs(angle_deg(left(name, axle, point) - centre, pushed) - 90) < 25


@pytest.mark.parametrize(("name", "axle"), CORNERS)
def test_inboard_points_fit_a_narrow_tub(name: str, axle: str) -> None:
    for point in ("rod_inner", "rocker_axis_1", "rocker_axis_2", "spring_outer", "spring_inner", "bar_link_rocker"):
        _, y, z = left(name, axle, point)
        assert 50 < y < 330  # left and right springs do not meet
        assert 60 < z < 560
    for arm in ("lower", "upper"):
        span = left(name, axle, f"{arm}_front") - left(name, axle, f"{arm}_rear")
        assert 240 <= np.linalg.norm(span) <= 420


@pytest.mark.parametrize(("name", "axle"), CORNERS)
def test_bar_link_stands_upright_and_square_to_its_arm(name: str, axle: str) -> None:
    top, end = (left(name, axle, f"bar_link_{p}") for p in ("rocker", "arm"))
    a, b = (left(name, axle, f"bar_axis_{i}") for i in (1, 2))
    line = (b - a) / np.linalg.norm(b - a)
    arm = (end - a) - line * float((end - a) @ line)
    assert 80 < float(np.linalg.norm(arm)) < 180
    assert abs(angle_deg(top - end, arm) - 90) < 5
    assert angle_deg(np.abs(top - end), np.array([0.0, 0.0, 1.0])) < 20
    assert axle_of(name, axle).bar is not None


def test_the_new_car_is_a_revision_of_the_old_one() -> None:
    for point in ("lower_front", "lower_rear", "upper_front", "upper_rear", "tie_inner"):
        assert 10 <= (left("plover", "front", point) - left("dunlin", "front", point))[2] <= 25
    for axle in ("front", "rear"):
        for point in ("lower_outer", "upper_outer", "tie_outer", "wheel_centre"):
            assert np.linalg.norm(left("plover", axle, point) - left("dunlin", axle, point)) < 12
    assert [axle_of(c, "front").rod_on for c in CARS] == ["lower arm", "upper arm"]
    for name in CARS:
        base = left(name, "front", "wheel_centre") - left(name, "rear", "wheel_centre")
        np.testing.assert_allclose(base[0], car_of(name).data.wheelbase_mm, rtol=0, atol=1e-9)


@pytest.mark.parametrize(("name", "axle"), CORNERS)
def test_points_stand_on_a_half_millimetre_grid_with_a_sigma(name: str, axle: str) -> None:
    table = axle_of(name, axle).points
    np.testing.assert_allclose(2 * table.xyz_mm, np.round(2 * table.xyz_mm), rtol=0, atol=1e-9)
    assert np.all((table.sigma_mm >= 0.5 - 1e-9) & (table.sigma_mm <= 3.0 + 1e-9))
    assert not car_of(name).findings
