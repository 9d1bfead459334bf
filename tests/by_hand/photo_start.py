"""The start without help over many scenes: ``python -m tests.by_hand.photo_start 500 [first seed]``.

Scenes of two or three photographs, with focal length known or not, cropped or not, the template up to 40 mm off; seed k
makes scene k. The optimum is where an adjustment from the truth ends, or better.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace

from kin3d.errors import RequestError
from kin3d.photographs.adjust import adjust
from kin3d.photographs.located import solved
from kin3d.photographs.refusal import refuse_misfit
from tests import photo_scenes as scenes
from tests.photo_scenes import FRONT, LOW, QUARTER


def scene_of(seed):
    """Scene of a seed: pictures, lens and cropping by its bits, the car by its remainder of 3."""
    shots = [FRONT, QUARTER, LOW][: 2 + seed % 2]
    shots = [replace(s, focal_known=(seed // 2) % 2 == 0, cropped=(seed // 4) % 2 == 1) for s in shots]
    return scenes.scene(["dunlin" if seed % 3 else "plover"], shots, seed, template_off=40.0)


def outcome(seed):
    """``"optimum"``, ``"refused"`` or ``"other"``, the cost over the optimum's, and the time taken, s."""
    scene = scene_of(seed)
    begun = time.process_time()
    checked = solved(scene.model)
    taken = time.process_time() - begun
    inner = checked.fit.model
    best = adjust(inner, inner.state(scene.truth.numbers, scene.truth.turns), checked.fit.known)
    over = checked.fit.cost - best.cost
    if over < 1e-3:
        return "optimum", over, taken, checked
    try:
        refuse_misfit(checked)
    except RequestError:
        return "refused", over, taken, checked
    return "other", over, taken, checked


def main(count, first=0):
    """Run scenes and print what does not reach the optimum."""
    counts = {"optimum": 0, "refused": 0, "other": 0}
    total, lost = 0.0, 0
    for seed in range(first, first + count):
        kind, over, taken, checked = outcome(seed)
        counts[kind] += 1
        total += taken
        lost += len(checked.out)
        if kind != "optimum":
            print(seed, kind, f"cost {over:+.3f}, {len(checked.out)} marks out, {taken:.2f} s", flush=True)
    print(f"{count} scenes: {counts}, {lost} marks out, {total / count:.2f} s of processor each")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
