"""Distances of bars and surfaces of revolution: closed cases, a search over places, derivatives against differences."""

from __future__ import annotations

from math import cos, hypot, radians, sin, sqrt

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import minimize_scalar

from kin3d.spatial.distances import Profile, ball_to_plane, bar_to_bar, bar_to_revolution
from kin3d.spatial.jets import sqrt as root
from kin3d.spatial.jets import total_degree
from kin3d.spatial.vectors import dot, scale

EXACT = {"rtol": 0.0, "atol": 1e-9}
ORIGIN, Z = (0.0, 0.0, 0.0), (0.0, 0.0, 1.0)


def lanes(*points):
    return [tuple(np.atleast_1d(np.asarray(c, float)) for c in p) for p in points]


@pytest.mark.parametrize(
    ("a", "b", "c", "d", "expected"),
    [
        # crossed square to each other; end to end; parallel beside; parallel behind; end to the other's middle; points
        ((-1, 0, 0), (1, 0, 0), (0, -1, 5), (0, 1, 5), 5.0),
        ((0, 0, 0), (1, 0, 0), (4, 4, 0), (9, 4, 0), 5.0),
        ((0, 0, 0), (10, 0, 0), (2, 3, 4), (8, 3, 4), 5.0),
        ((0, 0, 0), (1, 0, 0), (4, 0, 4), (9, 0, 4), 5.0),
        ((0, 0, 2), (0, 0, 9), (-3, 0, 0), (3, 0, 0), 2.0),
        ((0, 0, 0), (0, 0, 0), (3, 0, 4), (3, 0, 4), 5.0),
    ],
)
def test_bars_by_hand(a, b, c, d, expected):
    found = bar_to_bar(*lanes(a, b, c, d))
    assert_allclose(found.distance, expected, **EXACT)
    assert_allclose(np.linalg.norm(found.first - found.second, axis=0), expected, **EXACT)


def test_a_ball_over_a_plane():
    tilt = radians(30.0)
    assert_allclose(ball_to_plane((0, 0, 10), ORIGIN, (0.0, sin(tilt), cos(tilt)), 4.0), 10 * cos(tilt) - 4.0, **EXACT)


@pytest.mark.parametrize(
    ("a", "b", "corners", "expected"),
    [
        # cylinder of radius 50: beside it along its axis, square past it, across its end, inside it on a chord
        ((80, 0, -5), (80, 0, 5), [(-20, 50), (20, 50)], 30.0),
        ((80, -40, 0), (80, 40, 0), [(-20, 50), (20, 50)], 30.0),
        ((0, 0, 60), (3, 4, 90), [(-20, 50), (20, 50)], hypot(50, 40)),
        ((30, -10, 0), (30, 10, 0), [(-20, 50), (20, 50)], 50 - hypot(30, 10)),
        # a ring (circle) of radius 50: far above its middle; through its middle askew
        ((0, 0, 120), (0, 0, 150), [(0, 50), (0, 50 + 1e-9)], 130.0),
        # a cone 45°: the bar's end under its side
        ((0, 0, 10), (1, 0, 10), [(0, 0), (100, 100)], 9 / sqrt(2)),
        # a bar through the cylinder's side crosses it
        ((0, 0, 0), (80, 0, 0), [(-20, 50), (20, 50)], 0.0),
    ],
)
def test_revolution_by_hand(a, b, corners, expected):
    found = bar_to_revolution(*lanes(a, b, ORIGIN, Z), Profile(np.array(corners, float)))
    assert_allclose(found.distance, expected, rtol=0.0, atol=2e-9)


def test_a_capsule_and_a_torus():
    """A torus is a ring with a radius: nearest along the line from the axis's point in the ring's half plane."""
    ring = Profile(np.array([(0.0, 50.0), (1e-12, 50.0)]))
    for angle in (0.0, 0.7, 2.0):
        p = (80 * cos(angle), 80 * sin(angle), 40.0)
        far = (90 * cos(angle), 90 * sin(angle), 60.0)
        found = bar_to_revolution(*lanes(p, far, ORIGIN, Z), ring)
        assert_allclose(found.distance[0] - 5.0 - 8.0, 50.0 - 13.0, **EXACT)  # 3-4-5; radii of torus and bar


def test_inside_of_a_closed_profile_is_negative():
    tyre = Profile(np.array([(-50, 200), (50, 200), (50, 300), (-50, 300), (-50, 200)], float))
    found = bar_to_revolution(*lanes((240, 0, 0), (250, 0, 0), ORIGIN, Z), tyre)
    assert found.distance[0] < 0.0
    assert_allclose(abs(found.distance[0]), 40.0, **EXACT)


def scene(seed, count):
    rng = np.random.default_rng(seed)
    corners = np.cumsum(rng.normal(size=(7, 2)) * 30, axis=0) + np.array([0.0, 200.0])
    corners[:, 1] = np.abs(corners[:, 1])
    a, b = rng.normal(size=(2, count, 3)) * 200
    axis = rng.normal(size=(count, 3))
    return a, b, 20 * rng.normal(size=(count, 3)), axis / np.linalg.norm(axis, axis=1)[:, None], Profile(corners)


def searched(a, b, c, axis, profile):
    """The least over 2000 places along the bar, each place's distance from every edge; then a search about the best."""

    def distance(t):
        p = a + np.atleast_1d(t)[:, None] * (b - a) - c
        w = p @ axis
        r = np.linalg.norm(p - w[:, None] * axis, axis=1)
        every = []
        for s, e in zip(profile.corners[:-1], profile.corners[1:], strict=True):
            v = e - s
            k = np.clip(((w - s[0]) * v[0] + (r - s[1]) * v[1]) / (v @ v), 0, 1)
            every.append(np.hypot(w - s[0] - k * v[0], r - s[1] - k * v[1]))
        return np.min(every, axis=0)

    t = np.linspace(0, 1, 2001)
    best = t[distance(t).argmin()]
    ends = (max(0.0, best - 5e-4), min(1.0, best + 5e-4))
    found = minimize_scalar(lambda x: distance(x)[0], bounds=ends, method="bounded", options={"xatol": 1e-12})
    return min(found.fun, distance(t).min())


def test_revolution_against_a_search():
    a, b, c, axis, profile = scene(5, 150)
    found = bar_to_revolution(tuple(a.T), tuple(b.T), tuple(c.T), tuple(axis.T), profile)
    expected = np.array([searched(a[k], b[k], c[k], axis[k], profile) for k in range(len(a))])
    apart = expected > 0.5  # a search does not find a crossing to the last digit
    assert apart.sum() > 80
    assert_allclose(found.distance[apart], expected[apart], rtol=0.0, atol=1e-7)
    assert (found.distance <= expected + 1e-9).all()
    assert_allclose(np.linalg.norm(found.first - found.second, axis=0), found.distance, **EXACT)


def test_derivatives_against_differences():
    a, b, c, axis, profile = scene(8, 120)
    moving = np.random.default_rng(3).normal(size=(2, 4, 120, 3)) * np.array([3, 3, 3, 0.02])[:, None, None]
    algebra = total_degree(2, 2)

    def at(x, y):
        out = [p + x * moving[0, k] + y * moving[1, k] for k, p in enumerate((a, b, c, axis))]
        out[3] = out[3] / np.linalg.norm(out[3], axis=1)[:, None]
        return [tuple(p.T) for p in out]

    def jet(p, k):
        one = [algebra.variable(p[:, i], 0, moving[0, k, :, i]) for i in range(3)]
        return tuple(j + algebra.variable(0.0 * p[:, i], 1, moving[1, k, :, i]) for i, j in enumerate(one))

    jets = [jet(p, k) for k, p in enumerate((a, b, c, axis))]
    jets[3] = scale(1.0 / root(dot(jets[3], jets[3])), jets[3])
    for gap, what in (
        (lambda q: bar_to_revolution(*q, profile).distance, jets),
        (lambda q: bar_to_bar(*q).distance, jets),
    ):
        found = gap(what)
        h = 1e-4
        slope = (gap(at(h, 0.0)) - gap(at(-h, 0.0))) / (2 * h)
        there = np.isfinite(found[(1, 0)])
        miss = np.sort(np.abs(slope - found[(1, 0)])[there])
        assert there.sum() > 60
        assert miss[:-2].max() < 1e-6  # at a ridge between two edges a difference takes both
        h = 2e-3
        mixed = (gap(at(h, h)) - gap(at(h, -h)) - gap(at(-h, h)) + gap(at(-h, -h))) / (4 * h * h)
        assert np.sort(np.abs(mixed - found[(1, 1)])[there])[:-4].max() < 1e-5
