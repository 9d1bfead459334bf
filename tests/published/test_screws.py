"""Finite screw between two poses: worked example of a textbook (title not established; it prints 3.37).

T1 = Rz(30 deg) with (1, 2, 0), T2 = Rz(60 deg) with (2, 1, 0): T2 T1^-1 turns by 30 deg about the z
direction through (3.3660254, 3.3660254) without pitch. Recomputed with two general libraries.
"""

from __future__ import annotations

import numpy as np
from pytransform3d.transformations import (
    exponential_coordinates_from_transform,
    screw_axis_from_exponential_coordinates,
    screw_parameters_from_screw_axis,
)
from scipy.spatial.transform import RigidTransform, Rotation

from kin3d.spatial.screws import angular_velocity, axis_point, pitch

PLACE = (3.3660254, 3.3660254, 0.0)
ORIGIN = (0.0, 0.0, 0.0)


def pose(turn_deg: float, place: tuple[float, float, float]) -> RigidTransform:
    return RigidTransform.from_components(place, Rotation.from_euler("z", turn_deg, degrees=True))


def displacement() -> RigidTransform:
    return pose(60.0, (2.0, 1.0, 0.0)) * pose(30.0, (1.0, 2.0, 0.0)).inv()


def test_screw_of_the_logarithm() -> None:
    """The constant twist that makes the displacement has the displacement's screw."""
    twist = displacement().as_exp_coords()
    turn, shift = tuple(twist[:3]), tuple(twist[3:])
    np.testing.assert_allclose(turn, (0.0, 0.0, np.radians(30.0)), rtol=0, atol=1e-14)
    np.testing.assert_allclose(axis_point(ORIGIN, shift, turn), PLACE, rtol=0, atol=5e-8)
    np.testing.assert_allclose(pitch(shift, turn), 0.0, rtol=0, atol=1e-14)


def test_a_second_library_has_the_same_screw() -> None:
    coordinates = exponential_coordinates_from_transform(displacement().as_matrix())
    screw, angle = screw_axis_from_exponential_coordinates(coordinates)
    q, s, h = screw_parameters_from_screw_axis(screw)
    np.testing.assert_allclose(np.degrees(angle), 30.0, rtol=0, atol=1e-12)
    np.testing.assert_allclose(s, (0.0, 0.0, 1.0), rtol=0, atol=1e-14)
    np.testing.assert_allclose(h, 0.0, rtol=0, atol=1e-14)
    twist = displacement().as_exp_coords()
    np.testing.assert_allclose(axis_point(ORIGIN, tuple(twist[3:]), tuple(twist[:3])), q, rtol=0, atol=1e-13)


def test_finite_and_instant_screw_differ() -> None:
    """Trap: a body that moves straight on while it turns has another screw at first than for the whole way.

    From T1 to T2 with constant rates of shift and turn, the instant axis at T1 is where w x (x - x1) = -v.
    """
    shift, turn = np.array([1.0, -1.0, 0.0]), np.array([0.0, 0.0, np.radians(30.0)])
    corners = np.array([[1.0, 2.0, 0.0], [2.0, 2.0, 0.0], [1.0, 3.0, 0.5]])
    velocities = shift + np.cross(turn, corners - corners[0])
    omega = angular_velocity(tuple(map(tuple, corners)), tuple(map(tuple, velocities)))
    np.testing.assert_allclose(omega, turn, rtol=0, atol=1e-14)
    instant = axis_point(tuple(corners[0]), tuple(shift), omega)
    by_hand = corners[0] + np.array([1.0, 1.0, 0.0]) / np.radians(30.0)
    np.testing.assert_allclose(instant, by_hand, rtol=0, atol=1e-13)
    assert np.linalg.norm(np.array(instant) - PLACE) > 0.5
