"""Whether one of the photographs shows another car: adjusted anew with a car of its own for it, and compared.

A car that is much alike leaves few marks out: cameras and mechanism bend to it. What tells is how much better all marks
fit once the photograph may have points of its own, with all that cars may share still shared. Marks that are merely
wrong stay wrong then.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

import numpy as np

from kin3d.errors import Finding, RequestError, Severity
from kin3d.photographs.adjust import Fit, Known, adjust, known_of, sizes
from kin3d.photographs.model import Model, State
from kin3d.photographs.parameters import parameters_of
from kin3d.photographs.second_look import ROBUST
from kin3d.photographs.snooping import Checked
from kin3d.reading.photo_records import SHARES, CarPhotos

ANOTHER = 8.0  # difference of cost under the robust loss; tests.by_hand.photo_other_car counts over scenes
STILL_OFF, STILL_WRONG = 4.0, 3  # sigmas of a mark that is wrong in any case, and how many such may be
FAR_OFF = 10.0  # test value of marks that are wrong by themselves: a car that is much alike leaves none so far off


@dataclass(frozen=True, slots=True)
class OtherCar:
    """A photograph that fits better with a car of its own.

    Attributes
    ----------
    photo : int
        Its number among all.
    gain : float
        By how much the cost is lower.
    still_wrong : int
        Marks that are far off even so.
    """

    photo: int
    gain: float
    still_wrong: int


def refuse_another(checked: Checked) -> tuple[Finding, ...]:
    """Warnings of photographs that may show another car.

    Raises
    ------
    RequestError
        When one shows another car.
    """
    found = max(others(checked), key=lambda o: o.gain, default=None)
    if found is None or found.gain < ANOTHER:
        return ()
    parameters = checked.model.parameters
    owner, photo = parameters.photos[found.photo]
    names = [p.name for c, p in parameters.photos if c == owner]
    rest = " and ".join(f'"{n}"' for n in names if n != photo.name)
    place = str(parameters.cars[owner].marks_file)
    what = f'photograph "{photo.name}" {{}} another car than {rest}: with points of its own its marks fit far better'
    if found.still_wrong <= STILL_WRONG:
        text = (
            f"{what.format('shows')}, so that no figures are given; look at the car in each and mark again what is on "
            "a wrong part, or take the picture out"
        )
        raise RequestError(Finding("photo-other-car", text, place))
    text = f"{what.format('may show')}; look at the car in each, and trust no figure before"
    return (Finding("photo-perhaps-other", text, place, Severity.WARNING),)


def others(checked: Checked) -> Iterator[OtherCar]:
    """Every photograph of a car that has more, tried as another car's; none where nothing is in doubt."""
    if not (checked.out or checked.figures_out):
        return
    state = checked.fit.state
    model = checked.model.without({k for k in checked.out if checked.w[k] > FAR_OFF})
    known = checked.fit.known  # figures that were left out stay so, which the other explanation must do better than
    home = adjust(model, model.state(state.numbers, state.turns), known, ROBUST, most=40, settled=0.02)
    for index, (owner, _) in enumerate(model.parameters.photos):
        if sum(c == owner for c, _ in model.parameters.photos) > 1:
            split = apart(home, index)
            found = adjust(split.model, split.state, split.known, ROBUST, most=40, settled=0.02)
            wrong = int((sizes(found.model, found.equations.residual) > STILL_OFF).sum())
            yield OtherCar(index, home.cost - found.cost, wrong)


@dataclass(frozen=True, slots=True)
class SplitOff:
    """A model with one car more, and where an adjustment of it starts."""

    model: Model
    state: State

    @property
    def known(self) -> Known:
        """Every figure, those too that were left out."""
        return known_of(self.model)


def apart(home: Fit, photo: int) -> SplitOff:
    """A car of its own for one photograph, which shares with the first what cars may share."""
    parameters = home.model.parameters
    owner, one = parameters.photos[photo]
    new: dict[object, CarPhotos] = {}
    for number, car in enumerate(parameters.cars):
        gone = one.name if number == owner else None
        photos = tuple(p for p in car.photos if p.name != gone)
        marks = tuple(m for c, m in home.model.marks if c == number and m.photo != gone)
        base = None if car.same_as is None else new[car.same_as.source.resolve()]
        new[car.source.resolve()] = replace(car, photos=photos, marks=marks, same_as=base)
    car = parameters.cars[owner]
    other = replace(
        car,
        title=f"{car.title}, {one.name}",
        source=car.source.with_name(f"{car.source.name} {one.name}"),
        photos=(one,),
        marks=tuple(m for c, m in home.model.marks if c == owner and m.photo == one.name),
        same_as=new[car.source.resolve()],
        shares=frozenset(SHARES),
    )
    model = Model(parameters_of(*new.values(), other))
    return SplitOff(model, _carried(home, model, owner))


def _carried(home: Fit, model: Model, owner: int) -> State:
    """The state of a fit for a model that has one car more, a copy of `owner`."""
    before, after = home.model.parameters, model.parameters
    numbers = after.value.copy()
    for number, block in enumerate(after.blocks):
        source = before.blocks[number if number < len(before.blocks) else owner]
        for f in fields(block):
            to, at = getattr(block, f.name), getattr(source, f.name)
            numbers[to[to >= 0]] = home.state.numbers[at[to >= 0]]
    names = [(c, p.name) for c, p in before.photos]
    rows = [names.index((c if c < len(before.cars) else owner, p.name)) for c, p in after.photos]
    numbers[after.pictures] = home.state.numbers[before.pictures[rows]]
    model.reference = home.model.reference[rows]
    return model.state(numbers, np.array(home.state.turns[rows]))
