"""Pickup points from photographs for a person: with the measures that they are wanted for, and what would help."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from os import PathLike
from pathlib import Path

import numpy as np

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Axle, Car
from kin3d.linkage.keys import CarData
from kin3d.linkage.record import changed
from kin3d.photographs.located import Located, Wanted
from kin3d.reading.car import read_car
from kin3d.reading.photo_records import CarPhotos, PhotoPoints
from kin3d.reading.photographs import read_photographs
from kin3d.reading.text import FindingLog, read_toml
from kin3d.studies.corner_model import CornerModel, derive
from kin3d.studies.derived import AskedMeasures
from kin3d.studies.photo_points import adjustment
from kin3d.studies.registry import left_out_sentences
from kin3d.studies.sweep import chosen_measures

WANTED = ("roll_centre_height_mm", "caster_deg", "anti_dive_pct", "anti_lift_pct")  # where none are asked for


def locate(path: str | PathLike[str], measures: Sequence[str] | None = None) -> Located:
    """Locate the points of a car from marks in photographs.

    Parameters
    ----------
    path : path-like
        A file of photographs (``x.photos.toml``), or a car file whose points are one: its figures then serve measures
        that need more than points. The car that the photographs share something with is adjusted with it.
    measures : sequence of str, optional
        For which the result says how well they are known and what would help most; default roll centre height, caster
        and, where the car file has what they need, the anti effects.

    Returns
    -------
    Located
        Points with their whole covariance, what rests on assumptions, what cannot be right.

    Raises
    ------
    ReadingError
        With everything that is wrong with the files.
    RequestError
        When there are too few marks, when marks and figures contradict each other, or for an unknown measure.
    """
    car, photographs = _read(Path(path))
    chosen = chosen_measures(photographs.axle, list(measures) if measures else None)
    found = adjustment([photographs])
    found = replace(found, findings=(*photographs.findings, *found.doubts))
    own = found.car
    axle = Axle(
        name=own.axle, points=own.table(found.sources), side=own.side, layout=own.layout,
        layout_keys=dict(photographs.layout_keys),
        loaded_radius_mm=own.figures["loaded_radius_mm"][0],
    )  # fmt: skip
    data = car.data if car is not None else CarData()
    if data.wheelbase_mm is None:
        data = changed(data, wheelbase_mm=own.figures["wheelbase_mm"][0])
    bare = Car(title=own.title, source=own.source, data=data)
    corner = CornerModel.of(changed(bare, **{own.axle: axle}), own.axle)
    wanted = chosen if measures else tuple(m for m in chosen if m.name in WANTED)
    there, left_out = corner.available(wanted)
    figures = {"axle.loaded_radius_mm": "loaded_radius_mm", "car.wheelbase_mm": "wheelbase_mm"}
    if car is not None and car.data.wheelbase_mm is not None:
        figures.pop("car.wheelbase_mm")  # the car file says it
    variants = corner.variants(corner.design)
    points = corner.seeds.reshape(-1, *corner.design.shape)
    none = np.zeros((len(figures), *corner.design.shape))
    rows = {key: np.concatenate([np.zeros(len(points)), np.eye(len(figures))[k]]) for k, key in enumerate(figures)}
    lanes = corner.model.kernel.lanes(variants, np.zeros(1))
    asked = AskedMeasures(there, seeds=np.concatenate([points, none]), figure_seeds=rows)
    derived = derive(corner, variants, lanes, asked)
    order = [corner.names.index(n) for n in own.names]
    out = []
    for k, m in enumerate(there):
        slope = derived.slope[k, :, 0]
        along = slope[: len(points)].reshape(-1, 3)[order]
        of_figures = dict(zip(figures.values(), slope[len(points) :].tolist(), strict=True))
        sigma, helps = found.helps(along, of_figures)
        out.append(Wanted(m.name, m.label, m.unit, float(derived.value[k, 0]), sigma, helps))
    said = left_out_sentences(left_out) if measures else ()
    return replace(found, wanted=tuple(out), left_out=tuple(said))


def _read(path: Path) -> tuple[Car | None, CarPhotos]:
    """The car file, where it is one, and its photographs."""
    data = read_toml(path, FindingLog(str(path)), "")
    if data is None or not ({"front", "rear"} & set(data)) or "photos" in data:
        return None, read_photographs(path)
    car = read_car(path)
    for axle in car.axles():
        if isinstance(axle.points, PhotoPoints):
            return car, axle.points.photographs
    text = "no axle has points from photographs; name a file of photographs, or a car file whose points are one"
    raise RequestError(Finding("photographs-none", text, str(path)))
