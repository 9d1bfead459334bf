"""When no figures may be given: too few marks, or a contradiction among marks and figures; and what misfits most."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from kin3d.errors import Finding, RequestError, Severity
from kin3d.photographs.marked import rows_of
from kin3d.photographs.model import Model
from kin3d.photographs.snooping import BEYOND, Checked
from kin3d.photographs.start import candidates

LEAST_NUMBERS = 8  # a camera has six numbers, and must be checked by something
LEAST_CHANCE = 1e-3
SELDOM = 0.05  # of right marks one set in twenty misses by more, which is worth a word and no more
FAR_BETTER = 0.5  # of the cost of a pose
# marks beside a wrong focal length, rack or travel of the same photograph: a camera bends to another car, not quite
WITH_FIGURE = 2
MOST_OUT = 0.25  # part of a photograph's marks that may be wrong
DOUBTFUL, DOUBTFUL_PART = 4, 0.1  # marks left out, and part of all, from which on a photograph is doubtful


def refuse_few(model: Model) -> None:
    """Refuse photographs with too few marks, and cars whose linkage is not seen at all; all at once."""
    findings = []
    for car, photo in model.parameters.photos:
        marks = [m for c, m in model.marks if c == car and m.photo == photo.name]
        file = model.parameters.cars[car]
        numbers = sum(map(rows_of, marks))
        if numbers < LEAST_NUMBERS:
            kinds = Counter(m.kind for m in marks)
            found = ", ".join(f"{n} of kind {k}" for k, n in kinds.items()) or "none"
            text = (
                f'photograph "{photo.name}" has too few marks ({found}): together they give {numbers} numbers and '
                f"at least {LEAST_NUMBERS} are needed, a point or a contact giving two, a leg or a rim one; mark more, "
                "or leave it out"
            )
            findings.append(Finding("marks-few", text, str(file.marks_file)))
        rims = Counter((m.name, m.side) for m in marks if m.kind == "rim")
        for (wheel, side), n in rims.items():
            if n < 5:
                text = f'the {side} {wheel} rim has {n} marks in "{photo.name}"; five or more are needed, or none'
                findings.append(Finding("rim-few", text, str(file.marks_file)))
    for number, car_file in enumerate(model.parameters.cars):
        upright = model.parameters.uprights[number]
        seen = {m.name for c, m in model.marks if c == number and m.kind in ("point", "leg")}
        legs = dict(upright.tubes)
        ends = {upright.far_end(n) for n in seen if upright.index(n) in legs}
        missing = [n for n in upright.links_points if n not in seen | ends]
        if upright.rod is not None and not any(k in map(upright.index, seen) for k in upright.rod):
            missing.append(upright.points[upright.rod[0]])
        if missing:
            text = (
                f"nowhere marked: {', '.join(missing)}; mark each in one photograph at least, or a leg that leads to it"
            )
            findings.append(Finding("points-unmarked", text, str(car_file.marks_file)))
    if findings:
        raise RequestError(findings)


def refuse_misfit(checked: Checked) -> None:
    """Refuse a result whose marks and figures contradict each other, and name what misfits most."""
    findings = []
    fails = checked.chance < LEAST_CHANCE or not checked.fit.settled
    misfits = []
    for index, (wrong, own, figures) in enumerate(_left_out(checked)):
        if wrong > max(3.0, MOST_OUT * own) or (figures and wrong >= WITH_FIGURE):
            also = f", and so do{'es' * (len(figures) == 1)} its {' and '.join(figures)}" if figures else ""
            misfits.append((index, f"{wrong} of its {own} marks contradict them{also}"))
    if fails or misfits:
        for index, (car, photo) in enumerate(checked.model.parameters.photos):
            if exchanged(checked.model, index):
                text = (
                    f'photograph "{photo.name}" fits far better with left and right exchanged: the side of a mark is '
                    "the car's own, its left where the driver's left hand is; or the picture is a mirror image"
                )
                findings.append(Finding("sides-exchanged", text, str(checked.model.parameters.cars[car].marks_file)))
    for index, what in misfits if not findings else ():
        car, photo = checked.model.parameters.photos[index]
        text = (
            f'photograph "{photo.name}" does not go with the others: {what}; look whether it shows this car, and '
            "whether its marks are on the right parts"
        )
        if photo.axes is not None:
            text += ", and whether the view looks as its axes say"
        findings.append(Finding("photo-misfit", text, str(checked.model.parameters.cars[car].marks_file)))
    if fails and not findings:
        findings.append(Finding("misfit", _misfit(checked), str(checked.model.parameters.cars[-1].source)))
    if findings:
        raise RequestError(findings)


def exchanged(model: Model, photo: int) -> bool:
    """Whether a photograph's marks fit a template far better with their sides exchanged."""
    owner, one = model.parameters.photos[photo]
    turned = [
        (c, replace(m, side="right" if m.side == "left" else "left") if c == owner and m.photo == one.name else m)
        for c, m in model.marks
    ]
    other = Model(model.parameters, turned)
    costs = [found[0].cost if (found := candidates(m, photo)) else np.inf for m in (model, other)]
    return bool(costs[1] < FAR_BETTER * costs[0])


def _worst(checked: Checked) -> str:
    """Where marks miss most, and which figure does."""
    parameters = checked.model.parameters
    ratios = []
    for car, photo in parameters.photos:
        own = [
            k
            for k, (c, m) in enumerate(checked.model.marks)
            if c == car and m.photo == photo.name and k not in checked.out
        ]
        spare = sum(checked.redundancy[k] * rows_of(checked.model.marks[k][1]) for k in own)
        sigma = [checked.model.marks[k][1].sigma_px for k in own]
        square = sum(float(((checked.miss_px[k] / s) ** 2).sum()) for k, s in zip(own, sigma, strict=True))
        ratios.append((square / max(spare, 1.0), photo.name))
    worst, name = max(ratios)
    k = int(np.argmax(np.abs(checked.figure_w)))
    figure, w = parameters.listed[k], abs(float(checked.figure_w[k]))
    what = f'most in photograph "{name}" (by {worst**0.5:.1f} times the deviations stated)'
    if w > BEYOND:
        what += f"; and {figure} is {w:.1f} deviations off what is assumed of it ({figure.place})"
    return what


def _misfit(checked: Checked) -> str:
    return (
        f"marks and figures contradict each other, so that no figures are given: their misses' sum of squares is "
        f"{checked.square_sum:.0f} with {checked.freedom} expected (chance {checked.chance:.1g}), {_worst(checked)}; "
        "look for marks on the wrong part or side, a wrong known length, a mirror image, a picture of another car, or "
        "deviations that are too small"
    )


def large_misses(checked: Checked) -> tuple[Finding, ...]:
    """A warning of misses that are larger than right marks often have, though not so large that they are refused."""
    if checked.chance >= SELDOM:
        return ()
    text = (
        f"marks and figures fit badly: right ones miss by so much in {100.0 * checked.chance:.2g} of 100 sets, "
        f"{_worst(checked)}; look at lens, lengths and marks there, or give larger deviations"
    )
    return (Finding("misses-large", text, str(checked.model.parameters.cars[-1].source), Severity.WARNING),)


def _left_out(checked: Checked) -> Iterator[tuple[int, int, list[str]]]:
    """Of each photograph how many marks were left out, how many it has, and which of its figures were left out."""
    parameters, marks = checked.model.parameters, checked.model.marks
    out = Counter((marks[k][0], marks[k][1].photo) for k in checked.out)
    for (car, photo), picture in zip(parameters.photos, parameters.pictures, strict=True):
        own = sum(c == car and m.photo == photo.name for c, m in marks)
        yield out[car, photo.name], own, [parameters.listed[k].name for k in checked.figures_out if k in picture]


def doubtful_photos(checked: Checked) -> tuple[Finding, ...]:
    """Warnings of photographs out of which so many marks or figures were left that they may not show this car."""
    findings = []
    parameters = checked.model.parameters
    for (car, photo), (wrong, count, figures) in zip(parameters.photos, _left_out(checked), strict=True):
        what = ""
        if wrong >= DOUBTFUL and wrong > DOUBTFUL_PART * count:
            what = f"{wrong} of its {count} marks contradict the others and were left out"
        elif len(figures) > 1:
            what = f"its {' and '.join(figures)} contradict its marks and were left out"
        if what:
            look = "look whether it shows this car, as it is in the others"
            text = f'photograph "{photo.name}" is doubtful: {what}; {look}'
            file = parameters.cars[car].marks_file
            findings.append(Finding("photo-doubtful", text, str(file), Severity.WARNING))
    return tuple(findings)
