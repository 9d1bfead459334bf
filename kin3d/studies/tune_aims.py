"""Wants of a targets file, made ready for a car; everything in them that does not fit the car is told at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Kin3dError
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName, Side
from kin3d.linkage.record import known_keys
from kin3d.measures.entry import Measure
from kin3d.reading.targets import Stand, TargetsFile, Want
from kin3d.studies.case import DRIVES, Case, CaseModel, case_of
from kin3d.studies.derived import AskedMeasures
from kin3d.studies.loading import load
from kin3d.studies.tune_samples import SampleKey, SampleModel
from kin3d.studies.tune_space import MoveSpace
from kin3d.studies.tune_wants import Aim, WantKind, first_positions

Array = NDArray[np.float64]
OVER_MM = (-25.0, 25.0)
_FORM = {"travel": "travel {:+g} mm", "rack": "rack {:+g} mm", "heave": "heave {:+g} mm", "roll": "roll {:+g} deg",
         "pitch": "pitch {:+g} deg", "lateral": "{:+g} g to the left"}  # fmt: skip


class AimMaker:
    """Makes aims of wants, and the model of which their figures are asked.

    Attributes
    ----------
    model : SampleModel
    findings : list of Finding
    """

    def __init__(self, file: TargetsFile, axle: AxleName, car: Car, space: MoveSpace) -> None:
        self.file, self.axle, self.car = file, axle, car
        self.model = SampleModel(car, space, [], {})
        self.findings: list[Finding] = []
        self._lacks: dict[tuple[object, ...], dict[str, str]] = {}

    def aims(self) -> list[Aim]:
        """An aim for each want that fits the car; what does not is among the findings."""
        out = []
        for k, want in self.file.wants.items():
            try:
                aim = self._aim(k, want)
            except Kin3dError as error:
                place = self.file.place(k)
                self.findings += [replace(f, place=f"{place}, {f.place}" if f.place else place) for f in error.findings]
                continue
            if aim is not None:
                out.append(aim)
        return self._reached(out)

    def _reached(self, aims: list[Aim]) -> list[Aim]:
        """Wants that have a value for the car as it is; all are asked at once, the others are among the findings."""
        keys = [(aim, aim.key(t)) for aim in aims for t in aim.at]
        still = np.zeros((1, self.model.space.count))
        value = self.model.evaluate([key for _, key in keys], still, slopes=False)[0][0]
        beyond = {aim.number for (aim, _), v in zip(keys, value, strict=True) if not np.isfinite(v)}
        for aim in aims:
            if aim.number in beyond:
                name = aim.want.measure
                text = f"{name} has no value there for the car as it is: it does not reach that far, or is infinite"
                self.findings.append(Finding("out-of-reach", text, self.file.place(aim.number)))
        return [aim for aim in aims if aim.number not in beyond]

    def _wrong(self, k: int, key: str, text: str) -> None:
        self.findings.append(Finding("want-drives", text, f"{self.file.place(k)}, {key}"))

    def _aim(self, k: int, want: Want) -> Aim | None:
        at = _given(want.at)
        curve = self.file.curves.get(k)
        if want.curve is not None and curve is None:
            return None
        along = self._along(want, at, curve.along if curve else want.along)
        if want.at is not None and along in at and want.value is None and (want.range or want.curve or want.car):
            self._wrong(k, "at", f"names {along}, over which the want goes; take it out")
            return None
        if "roll" in (along, *(n for n, v in at.items() if v)) and want.side is None:
            self._wrong(k, "side", 'is missing; a want in roll says its side, "left" or "right"')
            return None
        if want.gradient is not None and along == "rack":
            self._wrong(k, "along", "is rack, along which no gradient is told; ask for a change between two places")
            return None
        case = self._case(want, at, along)
        measure = case.chosen([want.measure])[0]
        left_out = self._left_out(case, measure)
        if left_out:
            text = f"{want.measure}: {'; '.join(left_out.values())}"
            self.findings.append(Finding("measure-lacks", text, f"{self.file.place(k)}, measure"))
            return None
        self.model.measures[measure.name] = measure
        return self._made(k, want, at, along, case, measure)

    def _left_out(self, case: Case, measure: Measure) -> dict[str, str]:
        """Why a measure cannot be told in a case; asked once."""
        key = case.drive.name, case.side, case.whole, measure.name
        if key not in self._lacks:
            self._lacks[key] = self._of(case).available([measure])[1]
        return self._lacks[key]

    def _along(self, want: Want, at: dict[str, float], given: str | None) -> str:
        """The drive that a want goes over; of wheels on the ground heave stands for travel."""
        if "lateral" in at:
            return "lateral"
        ground = any(n in at for n in ("heave", "roll", "pitch"))
        if given is not None:
            return given
        if want.range or want.change or want.car or want.over or want.gradient is not None:
            return "heave" if ground else "travel"
        return next((n for n in ("pitch", "roll", "heave") if n in at), "travel")

    def _case(self, want: Want, at: dict[str, float], along: str) -> Case:
        """The case in which a want is asked, at the design position of what it goes over."""
        held = {n: v for n, v in at.items() if n != along and n != "lateral"}
        rack = held.pop("rack", 0.0)
        side: Side | None = want.side
        if along == "lateral":
            return case_of(self.axle, None, [0.0], [want.measure], side, lateral=at["lateral"])
        drives: dict[str, Any] = {n: v for n, v in held.items() if n != "travel"}
        if along in ("heave", "roll", "pitch"):
            drives[along] = 0.0
        if drives and along == "travel" and not held.get("travel"):
            drives["heave"] = 0.0
        travel = None if drives else held.get("travel", 0.0)
        if drives and held.get("travel"):
            travel = held["travel"]
        case = case_of(self.axle, travel, [0.0], [want.measure], side, **drives, rack=rack)
        moved = along if along in DRIVES else "travel"
        if case.on_ground and moved in ("travel", case.drive.name):
            return case
        if case.on_ground:  # of several drives that have one value each, the one that the want goes over is swept
            others = {**case.held, case.drive.name: float(case.at[0])}
            others.pop(moved, None)
            return replace(case, drive=DRIVES[moved], at=np.zeros(1), held=others)
        return case

    def _of(self, case: Case) -> CaseModel:
        return self.model.model(self._number(case))

    def _number(self, case: Case) -> int:
        """The number of a case, which is added when it is new."""
        for k, other in enumerate(self.model.cases):
            if _same(case, other):
                return k
        self.model.cases.append(case)
        return len(self.model.cases) - 1

    def _made(
        self, k: int, want: Want, at: dict[str, float], along: str, case: Case, measure: Measure
    ) -> Aim:
        kind: WantKind = next(
            (n for n in ("gradient", "range", "change") if getattr(want, n) is not None),
            "curve" if want.curve or want.car else "held" if want.over else "value",
        )
        base, here = self._number(case), at.get(along, 0.0)
        rate = kind == "gradient"

        def key(t: float) -> SampleKey:
            if along == "rack":
                number = self._number(replace(case, held={**case.held, "rack": t}))
                return SampleKey(number, float(case.at[0]), measure.name)
            return SampleKey(base, t, measure.name, rate)

        if along == "lateral":
            here = float(case.at[0])
        places = [here] if kind in ("value", "gradient") else []
        interval = None
        if kind == "range":
            interval = want.range
        elif kind in ("held", "curve") and not want.curve:
            interval = want.over or OVER_MM
        if interval:
            places = first_positions(interval)
        if kind == "change":
            places = list(want.change or ())
        target: Callable[[Array], Array] = lambda t: 0.0 * t  # noqa: E731
        if want.curve is not None:
            table = self.file.curves[k]
            inside = np.ones(len(table.at), bool)
            if want.over is not None:
                inside = (table.at >= want.over[0]) & (table.at <= want.over[1])
            places = [float(t) for t in table.at[inside]]
            target = lambda t: np.interp(t, table.at, table.value)  # noqa: E731
        elif want.car is not None:
            target = self._curve_of(want, case, along)
        unit = "deg" if along in ("roll", "pitch") else "g" if along == "lateral" else "mm"
        said = _said(kind, at, along, case, places, interval, want.side)
        return Aim(k, want, measure, kind, along, unit, said, key, interval, places, target)

    def _curve_of(self, want: Want, case: Case, along: str) -> Callable[[Array], Array]:
        """What another car has, by value along the drive."""
        path = self.file.path(str(want.car))
        other = load(path)
        model = SampleModel(other, self.model.space, [case], dict(self.model.measures))
        found = model.model(0)
        asked = AskedMeasures([self.model.measures[want.measure]])
        _, lacks = found.available(asked.measures)
        if lacks:
            raise Kin3dError([Finding("measure-lacks", f"{path}: {'; '.join(lacks.values())}", "car")])
        kept: dict[float, float] = {}

        def target(at: Array) -> Array:
            new = [float(t) for t in at if float(t) not in kept]
            if new and along == "rack":
                for t in new:
                    one = replace(found, case=replace(case, held={**case.held, "rack": t}))  # type: ignore[type-var]
                    got = one.derive(one.design[None], case.at, asked)
                    kept[t] = float(got.value[0, 0])
            elif new:
                got = found.derive(found.design[None], np.array(new), asked)
                kept.update(zip(new, got.value[0].tolist(), strict=True))
            return np.array([kept[float(t)] for t in at])

        low, high = want.over or OVER_MM
        if not np.isfinite(target(np.linspace(low, high, 11))).all():
            text = f"{path} does not reach {low:g} to {high:g}; ask for less with over"
            raise Kin3dError([Finding("out-of-reach", text, "car")])
        return target


def _given(at: Stand | None) -> dict[str, float]:
    """Drives that a want names, by name."""
    found = {} if at is None else {n: getattr(at, n) for n in known_keys(type(at)) if getattr(at, n) is not None}
    return {n.rpartition("_")[0]: float(v) for n, v in found.items()}


def _same(a: Case, b: Case) -> bool:
    if (a.drive, a.held, a.side, a.whole) != (b.drive, b.held, b.side, b.whole):
        return False
    return a.drive.name != "lateral" or np.array_equal(a.at, b.at)


def _said(
    kind: str, at: dict[str, float], along: str, case: Case, places: list[float],
    interval: tuple[float, float] | None, side: Side | None,
) -> str:  # fmt: skip
    """Where it is asked, in words."""
    name = case.drive.name if along == "travel" and case.on_ground else along
    unit = "deg" if name in ("roll", "pitch") else "mm"
    words = []
    if interval or kind in ("change", "curve"):
        low, high = interval or (places[0], places[-1])
        words.append(f"over {name} {low:+g} to {high:+g} {unit}".replace("+0 ", "0 ").replace("-", "−"))
    held = dict(at) if not words else {n: v for n, v in at.items() if n != along}
    words += [_FORM[n].format(v).replace("-", "−") for n, v in held.items() if v]
    words += [side] if side else []
    return ("at " if words and not words[0].startswith(("over", "left", "right")) else "") + ", ".join(words)
