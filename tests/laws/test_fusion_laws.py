"""Laws of the drawing reader: random linkages drawn as views come back within the noise; order does not matter."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kin3d.errors import ReadingError
from kin3d.reading.dxf import read_drawing
from kin3d.reading.dxf.fusion import SheetView, fuse
from tests.unit.drawn import POINTS, draw_space, draw_views, errors_mm, new, plan_of, save

SLOW = settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.too_slow], derandomize=True)
FRONTS = (["y", "z"], ["-y", "z"])
SIDES = (["-x", "z"], ["x", "z"])
PLANS = (["-x", "-y"], ["x", "y"], ["-y", "x"], ["y", "-x"], ["x", "-y"])


def _linkage(rng: np.random.Generator) -> dict[str, tuple[float, ...]]:
    """A linkage of its own: every joint moved by up to 25 mm, which keeps front before rear and upper over lower."""
    return {n: tuple(np.round(np.array(p) + rng.uniform(-25.0, 25.0, 3), 3)) for n, p in POINTS.items()}


def _views(rng: np.random.Generator, count: int, scale: float) -> list[dict[str, Any]]:
    """Views at random places that do not overlap, in random order, of random direction."""
    gap = 1400.0 / scale
    spots = rng.permutation(4)[:3]
    kinds = [("front", FRONTS), ("side", SIDES), ("plan", PLANS)]
    chosen = [kinds[k] for k in rng.permutation(3)[:count]]
    corner = rng.uniform(-300.0, 300.0, 2)
    views = []
    for (name, ways), spot in zip(chosen, spots, strict=False):
        origin = corner + gap * np.array([spot % 2, spot // 2]) * rng.uniform(1.6, 2.0)
        views.append({"name": name, "axes": ways[rng.integers(len(ways))], "origin": np.round(origin, 2), "m": scale})
    return views


def _read(doc: Any, **kwargs: Any) -> Any:
    with tempfile.TemporaryDirectory() as folder:
        return read_drawing(save(doc, Path(folder) / "d.dxf"), **kwargs)


def _read_or_codes(doc: Any, views: list[dict[str, Any]]) -> Any:
    """Read a sheet; where that is refused as a whole, the codes of the findings."""
    try:
        return _read(doc, views=_rounded(plan_of(views)))
    except ReadingError as err:
        return {f.code for f in err.findings}


def _rounded(plan: dict[str, Any]) -> dict[str, Any]:
    for view in plan["views"].values():
        view["origin"] = [float(c) for c in view["origin"]]
    return plan


@SLOW
@given(
    seed=st.integers(0, 2**32 - 1),
    scale=st.sampled_from([1.0, 2.0, 2.5, 5.0, 10.0]),
    count=st.integers(2, 3),
    noise=st.sampled_from([0.0, 0.05, 0.3]),
    leader=st.sampled_from(["LINE", "LEADER", "POLYLINE"]),
)
def test_views_come_back_within_the_noise(seed: int, scale: float, count: int, noise: float, leader: str) -> None:
    """Every point that is given out is right; what is not given out is named; most points are given out."""
    rng = np.random.default_rng(seed)
    points, views = _linkage(rng), _views(rng, count, scale)
    doc = new()
    draw_views(doc, views, points, rng, leader, noise)
    reading = _read_or_codes(doc, views)
    if isinstance(reading, set):  # the only thing that may go wrong as a whole: views that cannot be parted
        assert reading & {"view-regions", "view-ambiguous"}
        return
    off = errors_mm(reading.points, points)
    assert max(off.values(), default=0.0) <= 5.0 * noise + 1e-6
    said = " ".join(str(f) for f in reading.findings)
    assert all(n in reading.points or n in said for n in points)
    assert len(reading.points) >= 0.6 * len(points)


@SLOW
@given(seed=st.integers(0, 2**32 - 1))
def test_order_of_entities_does_not_matter(seed: int) -> None:
    rng = np.random.default_rng(seed)
    points, views = _linkage(rng), _views(rng, 3, 5.0)
    results = []
    for _ in range(2):
        doc = new()
        draw_views(doc, views, points, np.random.default_rng(seed), "LINE", 0.1)
        space = doc.modelspace()
        entities = list(space)
        order = rng.permutation(len(entities))
        for k in order:
            space.unlink_entity(entities[k])
        for k in order:
            space.add_entity(entities[k])
        results.append(_read_or_codes(doc, views))
    first, second = results
    if isinstance(first, set):
        assert first == second
        return
    assert list(first.points) == list(second.points)
    assert {f.code for f in first.findings} == {f.code for f in second.findings}
    for name in first.points:
        np.testing.assert_allclose(first.points[name].xyz_mm, second.points[name].xyz_mm, rtol=0.0, atol=1e-9)


@SLOW
@given(seed=st.integers(0, 2**32 - 1), unit=st.sampled_from([(1, 25.4), (4, 1.0), (5, 10.0), (6, 1000.0)]))
def test_space_comes_back_exactly(seed: int, unit: tuple[int, float]) -> None:
    rng = np.random.default_rng(seed)
    points = _linkage(rng)
    doc = new(unit[0])
    draw_space(doc, points, unit_mm=unit[1], step=rng.uniform(-9.0, 9.0, 3))
    reading = _read(doc)
    assert set(reading.points) == set(points)
    assert max(errors_mm(reading.points, points).values()) <= 1e-9


def _case(seed: int, noise: float, known: int) -> tuple[Any, np.ndarray, list[SheetView]]:
    rng = np.random.default_rng(seed)
    true = rng.uniform(-500.0, 500.0, (40, 3))
    axes = (((1, 1.0), (2, 1.0)), ((0, -1.0), (2, 1.0)), ((0, -1.0), (1, -1.0)))
    views = [SheetView(f"v{k}", a, 5.0, None if k else (40.0, 60.0)) for k, a in enumerate(axes)]
    places = [(40.0, 60.0), (320.0, 71.0), (330.0, 380.0)]
    readings = []
    for v, view in enumerate(views):
        for i, p in enumerate(true):
            uv = [
                o + s * p[k] / 5.0 + rng.normal(0.0, noise / 5.0)
                for o, (k, s) in zip(places[v], view.axes, strict=True)
            ]
            readings.append((i, v, (uv[0], uv[1])))
    datum = {i: tuple(true[i]) for i in range(known)}
    return fuse(40, views, readings, datum, 2.0 + 20.0 * noise), true, views


@settings(deadline=None, max_examples=40, derandomize=True)
@given(seed=st.integers(0, 2**32 - 1))
def test_sigma_says_how_far_the_points_are_off(seed: int) -> None:
    """Standard deviations of the fit against the errors that were put in: chi-square per coordinate near 1."""
    fit, true, _ = _case(seed, 0.2, 1)
    off = (fit.xyz_mm - true)[1:] / fit.sigma_mm[1:]
    assert 0.5 < float(np.sqrt(np.mean(off**2))) < 2.0
    assert 0.13 < fit.scatter_mm < 0.28


def test_one_known_point_and_common_coordinates_tie_all_views() -> None:
    fit, true, _ = _case(7, 0.0, 1)
    np.testing.assert_allclose(fit.xyz_mm, true, rtol=0.0, atol=1e-6)
    np.testing.assert_allclose(fit.views[1].origin, (320.0, 71.0), rtol=0.0, atol=1e-6)
    np.testing.assert_allclose(fit.views[2].origin, (330.0, 380.0), rtol=0.0, atol=1e-6)


def test_without_a_datum_for_x_only_x_is_loose() -> None:
    """The first view gives the datum of y and z; the others agree on x among themselves, but with nothing else."""
    fit, true, _ = _case(7, 0.0, 0)
    assert fit.loose[:, 0].all()
    assert not fit.loose[:, 1:].any()
    assert np.isnan(fit.xyz_mm[:, 0]).all()
    np.testing.assert_allclose(fit.xyz_mm[:, 1:], true[:, 1:], rtol=0.0, atol=1e-6)


def test_fusion_agrees_with_a_dense_least_squares_fit() -> None:
    """The eliminated system against numpy's lstsq on the full one (points and the four free offsets)."""
    rng = np.random.default_rng(3)
    fit, true, views = _case(3, 0.3, 0)
    rng = np.random.default_rng(3)
    true = rng.uniform(-500.0, 500.0, (40, 3))
    places = [(40.0, 60.0), (320.0, 71.0), (330.0, 380.0)]
    rows, right = [], []
    for v, view in enumerate(views):
        for i, p in enumerate(true):
            for d, (k, s) in enumerate(view.axes):
                u = places[v][d] + s * p[k] / 5.0 + rng.normal(0.0, 0.3 / 5.0)
                row = np.zeros(120 + 4)
                row[3 * i + k] = 1.0
                if v:
                    row[120 + 2 * (v - 1) + d] = -1.0
                rows.append(row)
                right.append(s * 5.0 * (u - (places[0][d] if v == 0 else 0.0)))
    full = np.linalg.lstsq(np.array(rows), np.array(right), rcond=None)[0][:120].reshape(40, 3)
    np.testing.assert_allclose(fit.xyz_mm[:, 1:], full[:, 1:], rtol=0.0, atol=1e-7)
    # the scatter, with one point known: by as many readings as there are more than points and offsets to be found
    tied = _case(3, 0.3, 1)[0]
    open_rows, rest = np.array(rows)[:, 3:], np.array(right) - np.array(rows)[:, :3] @ true[0]
    missed = open_rows @ np.linalg.lstsq(open_rows, rest, rcond=None)[0] - rest
    freedom = len(rows) - np.linalg.matrix_rank(open_rows)
    assert freedom == 240 - 117 - 4
    np.testing.assert_allclose(tied.scatter_mm, np.sqrt((missed**2).sum() / freedom), rtol=1e-6, atol=0.0)
