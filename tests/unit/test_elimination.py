"""The elimination plan and the tape against numpy on random sparse systems."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from kin3d.solve.blocks import split
from kin3d.solve.elimination import Elimination
from kin3d.solve.program import Program, evaluate, lane_nodes
from kin3d.solve.tape import Tape


def sparse(rng, size):
    """A random sparse matrix that is not singular."""
    dense = np.where(rng.random((size, size)) < 0.3, rng.normal(size=(size, size)), 0.0)
    dense[np.arange(size), rng.permutation(size)] += 3.0
    return dense


@pytest.mark.parametrize("seed", range(12))
def test_solve_against_numpy(seed):
    rng = np.random.default_rng(seed)
    size = int(rng.integers(2, 13))
    dense = sparse(rng, size)
    entries = {(int(i), int(j)): dense[i, j] for i, j in zip(*np.nonzero(dense), strict=True)}
    plan = Elimination(entries, size)
    factors = plan.factor(entries)
    rhs = rng.normal(size=size)
    assert_allclose(plan.solve(factors, list(rhs)), np.linalg.solve(dense, rhs), rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("seed", range(12))
def test_blocks_are_in_order_and_complete(seed):
    rng = np.random.default_rng(100 + seed)
    size = int(rng.integers(2, 14))
    dense = sparse(rng, size)
    blocks = split(zip(*(map(int, x) for x in np.nonzero(dense)), strict=True), size)
    rows = [r for b in blocks for r in b.rows]
    columns = [c for b in blocks for c in b.columns]
    assert sorted(rows) == sorted(columns) == list(range(size))
    assert all(len(b.rows) == len(b.columns) for b in blocks)
    ordered = dense[np.ix_(rows, columns)]
    start = 0
    for b in blocks:
        assert not ordered[start : start + len(b.rows), start + len(b.columns) :].any()
        start += len(b.rows)


def test_blocks_against_scipy():
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import connected_components, maximum_bipartite_matching

    for seed in range(20):
        dense = sparse(np.random.default_rng(200 + seed), 10)
        matched = maximum_bipartite_matching(csr_array(dense), perm_type="column")
        needs = np.zeros((10, 10))
        for row in range(10):
            needs[matched[row]] = dense[row] != 0
        count, _ = connected_components(csr_array(needs), directed=True, connection="strong")
        assert len(split(zip(*(map(int, x) for x in np.nonzero(dense)), strict=True), 10)) == count


def test_tape_program_runs_what_was_recorded():
    tape = Tape()
    x, y, k = tape.input("x", 1.0), tape.input("y", 2.0), tape.input("k", 3.0)
    f = (x * y - k * x) / (y + 2.0) - 0.0 * x + 1.0 * y
    outputs = [f, tape.slope(f, x), tape.slope(f, y), y, f]
    program = Program(outputs, ["x", "y"], lane_nodes(tape, frozenset({"x", "y"})))
    xs, ys = np.linspace(0.5, 2.0, 7), np.linspace(-1.0, 3.0, 7)
    out = np.empty((5, 7))
    program.run(evaluate(program.uniforms, {"k": 3.0}), [xs, ys], out)
    assert_allclose(out[0], (xs * ys - 3 * xs) / (ys + 2) + ys, rtol=1e-14)
    assert_allclose(out[1], (ys - 3) / (ys + 2), rtol=1e-13, atol=1e-15)
    assert_allclose(out[2], xs / (ys + 2) - (xs * ys - 3 * xs) / (ys + 2) ** 2 + 1, rtol=1e-13)
    assert_allclose(out[3], ys)
    assert_allclose(out[4], out[0])


def test_equal_steps_are_recorded_once():
    tape = Tape()
    x, y = tape.input("x", 1.0), tape.input("y", 2.0)
    assert x * y is y * x
    assert (x - x).is_constant(0.0)
    count = len(tape.nodes)
    _ = (x * y) + (y * x)
    assert len(tape.nodes) == count + 1
