"""Rigid motion of a body from three of its points: angular velocity, instant screw axis."""

from __future__ import annotations

from kin3d.spatial.jets import atan2
from kin3d.spatial.vectors import Number, Vec, add, cross, dot, scale, sub


def angular_velocity(points: tuple[Vec, Vec, Vec], velocities: tuple[Vec, Vec, Vec]) -> Vec:
    """Angular velocity of the rigid body that carries three points not in line.

    ω = ½ Σ eⁱ × ėᵢ over the frame e₁, e₂, e₃ = e₁ × e₂ and its reciprocal eⁱ, which needs no division that can fail
    while the points are not in line.

    Parameters
    ----------
    points, velocities : three vectors each
        Positions and velocities in one frame; components may be arrays or jets.

    Returns
    -------
    vector
        rad per unit of whatever the velocities are taken along, in the frame of the points.
    """
    e1, e2 = sub(points[1], points[0]), sub(points[2], points[0])
    d1, d2 = sub(velocities[1], velocities[0]), sub(velocities[2], velocities[0])
    e3 = cross(e1, e2)
    d3 = add(cross(d1, e2), cross(e1, d2))
    volume = dot(e3, e3)
    total = add(add(cross(cross(e2, e3), d1), cross(cross(e3, e1), d2)), cross(e3, d3))
    return scale(0.5 / volume, total)


def turn_about(axis: Vec, then: Vec, now: Vec) -> Number:
    """Turn about an axis (right hand), rad, of an arm from it; parts along the axis drop out of the cross products."""
    return atan2(dot(axis, cross(then, now)), dot(cross(axis, then), cross(axis, now)))


def axis_point(centre: Vec, velocity: Vec, omega: Vec) -> Vec:
    """Point of the instant screw axis nearest to `centre`, which moves with `velocity`: c + ω × v / ω·ω."""
    return add(centre, scale(1.0 / dot(omega, omega), cross(omega, velocity)))


def pitch(velocity: Vec, omega: Vec) -> Number:
    """Pitch of the instant screw, length per rad: ω·v / ω·ω for the velocity of any point of the body."""
    return dot(omega, velocity) / dot(omega, omega)
