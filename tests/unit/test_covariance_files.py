"""The covariance beside a point table: what it becomes, the way back, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.errors import ReadingError
from kin3d.linkage.record import changed
from kin3d.reading.points import read_points_csv, write_points_csv
from kin3d.studies.corner_model import AXES, CornerModel
from kin3d.studies.uncertainty import uncertainty_of
from tests.laws.cars import car

POINTS = "point,x,y,z,sigma\na,0,1,2,\nb,3,4,5,\n"
ISO = "x forward, y left, z up"


def write(folder, covariance, points=POINTS, labels=None):
    labels = labels or [f"{p}.{a}" for p in "ab" for a in "xyz"]
    (folder / "t.csv").write_text(points, "utf-8")
    rows = ["coordinate," + ",".join(labels)]
    rows += [f"{n}," + ",".join(repr(float(v)) for v in row) for n, row in zip(labels, covariance, strict=True)]
    (folder / "t.covariance.csv").write_text("\n".join(rows) + "\n", "utf-8")
    return folder / "t.csv"


def some(seed=3, size=6):
    part = np.random.default_rng(seed).normal(size=(size, size))
    return part @ part.T


def flat(table):
    effect = table.errors.effect_mm.reshape(len(table.errors.names), -1)
    return effect.T @ effect


NO_SIGMA = "point,x,y,z\na,0,1,2\nb,3,4,5\n"


def test_independent_errors_have_the_covariance_of_the_file(tmp_path):
    covariance = some()
    table = read_points_csv(write(tmp_path, covariance, NO_SIGMA), units="mm", axes=ISO)
    assert_allclose(flat(table), covariance, rtol=1e-12, atol=1e-12)
    assert_allclose(table.sigma_mm.ravel() ** 2, covariance.diagonal(), rtol=1e-12)
    assert len(table.errors.names) == 6
    assert table.errors.names[0].startswith("covariance 1, mostly ")


def test_unit_and_axes_of_the_table_are_those_of_its_covariance(tmp_path):
    """x of the file is y of the car, y is −x, and cm² are 100 mm²; the expected is made place by place."""
    covariance = some()
    table = read_points_csv(write(tmp_path, covariance, NO_SIGMA), units="cm", axes="x left, y rearward, z up")
    turn = {0: (1, -1.0), 1: (0, 1.0), 2: (2, 1.0)}  # car axis: file axis and sign
    for i in range(6):
        for j in range(6):
            (a, s), (b, t) = turn[i % 3], turn[j % 3]
            expected = 100.0 * s * t * covariance[3 * (i // 3) + a, 3 * (j // 3) + b]
            assert_allclose(flat(table)[i, j], expected, rtol=1e-12, atol=1e-12)


def test_the_way_back(tmp_path):
    table = read_points_csv(write(tmp_path, some(), NO_SIGMA), units="mm", axes=ISO)
    axes = "x rearward, y right, z up"
    write_points_csv(table, tmp_path / "out.csv", units="cm", axes=axes)
    again = read_points_csv(tmp_path / "out.csv", units="cm", axes=axes)
    assert_allclose(flat(again), flat(table), rtol=1e-10, atol=1e-12)
    assert_allclose(again.sigma_mm, table.sigma_mm, rtol=1e-12)


def test_a_coordinate_outside_of_the_covariance_errs_by_itself(tmp_path):
    labels = ["b.x", "b.z"]
    points = "point,x,y,z,sigma_x,sigma_y,sigma_z\na,0,1,2,1,1,1\nb,3,4,5,2,0.5,3\n"
    path = write(tmp_path, [[4.0, 5.0], [5.0, 9.0]], points, labels)
    table = read_points_csv(path, units="mm", axes=ISO)
    assert table.errors.reached.tolist() == [[False] * 3, [True, False, True]]
    assert_allclose(table.sigma_mm, [[1, 1, 1], [2, 0.5, 3]], rtol=1e-12)


@pytest.mark.parametrize(
    ("spoil", "code", "words"),
    [
        (lambda c: c - 1e3 * np.eye(6), "variance-negative", "a.x"),
        (lambda c: c + np.triu(np.full((6, 6), 0.5), 1), "covariance-asymmetric", "the other way round"),
        (lambda c: np.diag(np.full(6, 0.1)) + 1.0 - np.eye(6), "covariance-indefinite", "negative variance"),
    ],
)
def test_what_no_errors_can_have_is_refused(tmp_path, spoil, code, words):
    with pytest.raises(ReadingError) as caught:
        read_points_csv(write(tmp_path, spoil(some()), NO_SIGMA), units="mm", axes=ISO)
    found = next(f for f in caught.value.findings if f.code == code)
    assert words in found.text
    assert "t.covariance.csv" in found.place


def test_names_squareness_and_deviations_are_checked(tmp_path):
    good = [[1.0, 0.5], [0.5, 4.0]]
    for labels, points, code in (
        (["a.x", "c.x"], NO_SIGMA, "point-unknown"),
        (["a.x", "a.w"], NO_SIGMA, "coordinate-unknown"),
        (["a.x", "a.x"], NO_SIGMA, "coordinate-twice"),
        (["a.x", "a.y"], "point,x,y,z,sigma\na,0,1,2,1\nb,3,4,5,0\n", "sigma-differs"),
    ):
        with pytest.raises(ReadingError) as caught:
            read_points_csv(write(tmp_path, good, points, labels), units="mm", axes=ISO)
        assert next(f.code for f in caught.value.findings) == code
    write(tmp_path, good, NO_SIGMA, ["a.x", "a.y"])
    file = tmp_path / "t.covariance.csv"
    for old, new, code in (
        ("a.y,0.5,4.0\n", "", "covariance-square"), (",4.0", ",x", "number-text"), (",4.0", "", "cells-count"),
    ):  # fmt: skip
        text = file.read_text("utf-8")
        file.write_text(text.replace(old, new), "utf-8")
        with pytest.raises(ReadingError) as caught:
            read_points_csv(tmp_path / "t.csv", units="mm", axes=ISO)
        assert code in {f.code for f in caught.value.findings}, [str(f) for f in caught.value.findings]
        file.write_text(text, "utf-8")


def with_errors(read, covariance, names):
    """A car whose front table has a covariance of the given points."""
    from dataclasses import replace

    from kin3d.linkage.car import TableErrors

    table = read.front.points
    root = np.linalg.cholesky(covariance).T
    effect = np.zeros((len(root), len(table.names), 3))
    effect[:, [table.names.index(n) for n in names]] = root.reshape(len(root), -1, 3)
    errors = TableErrors(effect, tuple(f"e{k}" for k in range(len(root))), ("",) * len(root))
    sigma = np.sqrt((effect**2).sum(axis=0))
    return changed(read, front=changed(read.front, points=replace(table, errors=errors, sigma_mm=sigma)))


def test_the_variance_of_every_measure_is_gradient_covariance_gradient():
    """σ² = g·C·g with the derivatives of `sensitivity`, whatever independent errors stand for C."""
    names = ["upper_outer", "lower_outer", "upper_front"]
    covariance = some(5, 9)
    read = with_errors(car("dunlin"), covariance, names)
    measures = ["roll_centre_height_mm", "caster_deg", "camber_deg"]
    slope = kin3d.sensitivity(read, "front", measures)
    rows = [slope.points.index(n) for n in names]
    gradient = slope.slope[:, rows].reshape(len(measures), 9)
    expected = np.sqrt(np.einsum("mi,ij,mj->m", gradient, covariance, gradient))
    found = kin3d.tolerance(read, "front", [0.0], measures, samples=20_000)
    assert_allclose(found.first.sigma[:, 0], expected, rtol=1e-9, atol=1e-9)
    assert_allclose(found.spread.sigma[:, 0], expected, rtol=0.03, atol=1e-9)


def test_many_sources_are_derived_along_coordinates():
    """A thousand errors of a hundredth of the variance each are the same doubt as ten."""
    from dataclasses import replace

    read = with_errors(car("dunlin"), some(5, 9), ["upper_outer", "lower_outer", "upper_front"])
    few = read.front.points.errors
    many = replace(
        few, effect_mm=np.repeat(few.effect_mm, 100, axis=0) / 10.0,
        names=tuple(f"m{k}" for k in range(900)), groups=("marks",) * 900,
    )  # fmt: skip
    again = changed(read, front=changed(read.front, points=replace(read.front.points, errors=many)))
    measures = ["roll_centre_height_mm", "anti_dive_pct"]
    a, b = (kin3d.tolerance(c, "front", [-20.0, 20.0], measures, samples=0) for c in (read, again))
    assert_allclose(b.first.sigma, a.first.sigma, rtol=1e-10)
    causes = next(t for t in b.tables() if t.key == "causes").rows[0][1]
    assert causes.startswith("marks 100 % (most: m")


def test_the_mirror_image_errs_in_the_mirror_image():
    read = with_errors(car("dunlin"), some(5, 3), ["upper_outer"])
    left, right = (uncertainty_of(CornerModel.of(read, "front", s)) for s in ("left", "right"))
    assert_allclose(right.seeds, left.seeds * [1.0, -1.0, 1.0], atol=0.0)
    assert len(AXES) == len(left.sources)


def test_a_scaled_car_errs_in_the_same_measure():
    """σ of an angle does not change with the car's size."""
    read = with_errors(car("dunlin"), some(5, 3), ["upper_outer"])
    table = read.front.points.scaled(2.0)
    assert_allclose(table.errors.effect_mm, 2.0 * read.front.points.errors.effect_mm, rtol=1e-15)
    assert_allclose(table.only(["wheel_centre", "upper_outer"]).errors.effect_mm.shape, (3, 2, 3))
