"""The cars and axles that every law is tried on."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import kin3d
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName
from kin3d.solve.model import AxleModel

MODELS = Path(__file__).parents[2] / "models"
CORNERS: tuple[tuple[str, AxleName], ...] = (
    ("dunlin", "front"),
    ("dunlin", "rear"),
    ("plover", "front"),
    ("plover", "rear"),
    ("siskin", "front"),
)


@cache
def car(name: str) -> Car:
    return kin3d.load(MODELS / name / "car.toml")


@cache
def model(name: str, axle: AxleName) -> AxleModel:
    return AxleModel.of(car(name), axle)
