"""How often the truth, drawn into a photograph, lies inside the 95 % bands of the construction that was found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kin3d.photographs.adjust import adjust, spread
from kin3d.photographs.located import result_of
from kin3d.photographs.snooping import Checked
from kin3d.studies.photo_draw import on_photograph
from tests.photo_scenes import FRONT, LOW, QUARTER, axle_of, scene


def located_of(made, fit):
    """A result without tests of its marks: the scene has no wrong ones."""
    none, some = np.zeros(len(made.model.marks)), np.zeros(len(made.parameters.listed))
    checked = Checked(
        fit=fit, spread=spread(fit), model=made.model, out=(), figures_out=(), w=none, redundancy=none,
        miss_px=np.zeros((len(none), 2)), figure_w=some, figure_redundancy=some,
    )  # fmt: skip
    return result_of(checked)


def drawn(name, seed, shots=(FRONT, QUARTER, LOW)):
    """Construction found and true construction on every photograph of one scene."""
    made = scene((name,), shots, seed)
    fit = adjust(made.model, made.truth)
    assert fit.settled
    true = replace(fit, equations=replace(fit.equations, state=made.model.state(made.truth.numbers, made.truth.turns)))
    found, truth = located_of(made, fit), located_of(made, true)
    source = made.car.source
    for shot in shots:
        pair = [on_photograph(r, source, shot.name, axle_of(name), plain=True) for r in (found, truth)]
        yield shot.name, *pair


def inside(found, truth):
    """Places of the true lines over the half width of the band there: at both ends and halfway, shape (lines, 3)."""
    out = []
    for a, b in zip(found.own.bands, truth.own.bands, strict=True):
        off = ((b.places - a.places) * a.across).sum(axis=-1) / a.half
        out.append(off[[0, len(off) // 2, -1]])
    return np.abs(np.array(out))


def run(name, seeds, shots=(FRONT, QUARTER, LOW)):
    """Share of places inside, share of roll centres inside their ellipse, share of heights inside their interval."""
    places, centres, heights = [], [], []
    for seed in seeds:
        for _, found, truth in drawn(name, seed, shots):
            places.append(inside(found, truth).ravel() <= 1.0)
            off = truth.own.roll_centre - found.own.roll_centre
            centres.append(off @ np.linalg.solve(found.own.roll_centre_cov, off) <= 5.991)
        figures = [f.own.figures[0] for f in (found, truth)]
        heights.append(abs(figures[0].value - figures[1].value) <= figures[0].width)
    return float(np.concatenate(places).mean()), float(np.mean(centres)), float(np.mean(heights))
