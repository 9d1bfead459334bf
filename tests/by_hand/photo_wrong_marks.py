"""Wrong marks among right ones: ``python -m tests.by_hand.photo_wrong_marks 60 [first seed]``.

One mark in twenty is 30 to 90 px off in any direction. A leg's mark that is off along its leg is right; so counted as
wrong is what misses by more than 10 of its deviations.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np

from kin3d.errors import RequestError
from kin3d.photographs.adjust import sizes
from kin3d.photographs.located import solved
from kin3d.photographs.model import Model
from kin3d.photographs.parameters import parameters_of
from kin3d.photographs.refusal import refuse_misfit
from tests import photo_scenes as scenes
from tests.photo_scenes import FRONT, LOW, QUARTER


def spoiled(seed, share=0.05, cars=("dunlin",)):
    """A scene with wrong marks: model, scene, the marks that miss by far, and all marks that were moved."""
    scene = scenes.scene(list(cars), [FRONT, QUARTER, LOW], seed, template_off=25.0)
    rng = np.random.default_rng(77_000 + seed)
    out, moved = None, set()
    for number, car in enumerate(scene.car.cars()):
        marks = []
        for mark in car.marks:
            if rng.random() < share:
                size, angle = rng.uniform(30.0, 90.0), rng.uniform(0.0, 2.0 * np.pi)
                moved.add((number, mark.row))
                mark = replace(mark, u=mark.u + size * np.cos(angle), v=mark.v + size * np.sin(angle))
            marks.append(mark)
        out = replace(car, marks=tuple(marks), same_as=out)
    model = Model(parameters_of(out))
    model.reference = scene.model.reference
    far = sizes(model, model.evaluate(model.state(scene.truth.numbers, scene.truth.turns)).residual) > 10.0
    return (
        model,
        scene,
        set(np.flatnonzero(far).tolist()),
        {k for k, (c, m) in enumerate(model.marks) if (c, m.row) in moved},
    )


def main(count, first=0):
    """Count wrong marks found and right ones lost."""
    found = wrong = lost = right = refused = 0
    for seed in range(first, first + count):
        model, _, off, moved = spoiled(seed)
        checked = solved(model)
        try:
            refuse_misfit(checked)
        except RequestError:
            refused += 1
            continue
        out = set(checked.out)
        if off - out or out - moved:
            print(
                seed,
                "missed",
                [str(model.marks[k][1]) for k in off - out],
                "lost",
                [str(model.marks[k][1]) for k in out - moved],
                flush=True,
            )
        found, wrong = found + len(off & out), wrong + len(off)
        lost, right = lost + len(out - moved), right + len(model.marks) - len(moved)
    print(f"{count} scenes, {refused} refused: found {found} of {wrong} ({found / wrong:.4f}), "
          f"lost {lost} of {right} ({lost / right:.5f})")  # fmt: skip


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
