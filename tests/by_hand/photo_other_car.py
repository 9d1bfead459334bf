"""A picture of another car among the photographs: ``python -m tests.by_hand.photo_other_car KIND 60 [first seed]``.

Kinds: ``alike``, one photograph of three is of the other demo car, whose points are some 15 mm away; ``clean``, nothing
wrong; ``wrong``, one mark in twenty 30 to 90 px off; ``few``, one mark in seventy. Seed k makes scene k.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace

from kin3d.errors import RequestError
from kin3d.photographs.located import solved
from kin3d.photographs.model import Model
from kin3d.photographs.other_car import others, refuse_another
from kin3d.photographs.parameters import parameters_of
from kin3d.photographs.refusal import doubtful_photos, refuse_misfit
from tests import photo_scenes as scenes
from tests.by_hand.photo_wrong_marks import spoiled
from tests.photo_scenes import FRONT, LOW, QUARTER

SHOTS = [FRONT, QUARTER, LOW]
SHARE = {"wrong": 0.05, "few": 0.015}


def model_of(kind, seed):
    """The marks of a scene."""
    if kind in SHARE:
        return spoiled(seed, SHARE[kind])[0]
    names = ["dunlin", "plover"] if seed % 2 else ["plover", "dunlin"]
    scene = scenes.scene(names[:1], SHOTS, seed, template_off=40.0)
    if kind == "clean":
        return scene.model
    theirs = scenes.scene(names[1:], SHOTS, seed + 5000).car
    odd = SHOTS[seed % 3].name
    marks = [m for m in scene.car.marks if m.photo != odd] + [m for m in theirs.marks if m.photo == odd]
    return Model(parameters_of(replace(scene.car, marks=tuple(replace(m, row=k) for k, m in enumerate(marks, 2)))))


def outcome(kind, seed):
    """What is said: a code, or ``"silent"``; and what each photograph gains with a car of its own."""
    checked = solved(model_of(kind, seed))
    gains = [(round(o.gain, 1), o.still_wrong) for o in others(checked)]
    try:
        refuse_misfit(checked)
        told = [*doubtful_photos(checked), *refuse_another(checked)]
    except RequestError as error:
        return error.findings[0].code, gains
    return told[0].code if told else "silent", gains


def main(kind, count, first="0"):
    """Count what is said."""
    counts = Counter()
    for seed in range(int(first), int(first) + int(count)):
        code, gains = outcome(kind, seed)
        counts[code] += 1
        print(seed, code, SHOTS[seed % 3].name if kind == "alike" else "", gains, flush=True)
    print(f"{count} scenes, {kind}: {dict(counts)}")


if __name__ == "__main__":
    main(*sys.argv[1:])
