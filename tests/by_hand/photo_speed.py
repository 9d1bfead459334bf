"""How long an adjustment of two cars in four photographs takes: ``python -m tests.by_hand.photo_speed``.

Near: from points 5 mm and cameras a few pixels off. Without a start: everything, with the tests of all marks. Seconds
of processor, the median of five scenes.
"""

from __future__ import annotations

import time
from statistics import median

import numpy as np

from kin3d.photographs.adjust import adjust
from kin3d.photographs.located import solved
from kin3d.photographs.start import start
from tests import photo_scenes as scenes
from tests.photo_scenes import FRONT, QUARTER


def taken(work):
    """Processor seconds of a call."""
    begun = time.process_time()
    work()
    return time.process_time() - begun


def main():
    """Print the medians."""
    near, begun, whole = [], [], []
    for seed in range(5):
        scene = scenes.scene(("dunlin", "plover"), (FRONT, QUARTER), seed, template_off=20.0)
        rng = np.random.default_rng(seed)
        numbers = scene.truth.numbers.copy()
        for block in scene.parameters.blocks:
            numbers[block.points[block.points >= 0]] += rng.normal(0.0, 5.0, (block.points >= 0).sum())
        numbers[scene.parameters.pictures[:, 3:5]] += rng.normal(0.0, 5.0, (len(scene.parameters.photos), 2))
        model = scene.model
        near.append(taken(lambda m=model, n=numbers, t=scene.truth.turns: adjust(m, m.state(n, t))))
        begun.append(taken(lambda m=model: start(m)))
        whole.append(taken(lambda m=model: solved(m)))
    print(f"near {median(near):.3f} s, start {median(begun):.2f} s, without a start and tested {median(whole):.2f} s")


if __name__ == "__main__":
    main()
