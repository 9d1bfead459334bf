"""The construction drawn back onto a photograph of the car, with its 95 % band, and another car's beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName, did_you_mean
from kin3d.photographs.located import Located
from kin3d.reading.photo_records import Photo, PhotoPoints
from kin3d.studies import photo_lines
from kin3d.studies.compare import RULE
from kin3d.studies.photo_picture import UNSEEN, write_photo_picture
from kin3d.studies.photo_points import adjustment, share_photographs
from kin3d.studies.photo_project import on_photo
from kin3d.studies.photo_view import LEVEL, OnPhoto, PhotoView
from kin3d.studies.registry import EVERY
from kin3d.studies.significance import SAID, UNSAID, Difference, by_first_order
from kin3d.writing.numbers import fixed, percent
from kin3d.writing.result import Result
from kin3d.writing.tables import Cell, Column, Quantity, Table

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, repr=False)
class PhotoConstruction(Result):
    """The construction of one car on one photograph.

    Attributes
    ----------
    photo : Photo
    own : OnPhoto
    ghost : OnPhoto or None
        The other car's, through the same camera.
    together : bool
        Whether both were adjusted together, so that their difference knows what they share.
    crop, plain : bool
    judged : Difference or None
        The roll centre's difference as a comparison of both cars has it, by samples; None: by first order.
    """

    kind = "draw"

    photo: Photo
    own: OnPhoto
    ghost: OnPhoto | None
    together: bool
    crop: bool
    plain: bool
    judged: Difference | None = None

    def summary(self) -> str:
        """The finding."""
        out = f"{self.own.title}: {self.own.figures[0]} (95 %)"
        return out if self.ghost is None else f"{out}; {self.change()}"

    def difference(self) -> Difference:
        """The roll centre's difference from the ghost, judged by the rule of every comparison."""
        assert self.ghost is not None
        if self.judged is not None:
            return self.judged
        own, ghost = self.own.figures[0], self.ghost.figures[0]
        along = -ghost.along
        along[: len(own.along)] += own.along  # a ghost of its own adjustment has errors of its own after those
        of_a, of_b, sigma = (float(np.linalg.norm(x)) for x in (ghost.along, own.along, along))
        height = next(m for m in EVERY if m.name == "roll_centre_height_mm")
        return by_first_order(height, ghost.value, own.value, of_a, of_b, sigma, LEVEL)

    def change(self) -> str:
        """How the roll centre moved against the ghost, and whether that can be said."""
        assert self.ghost is not None
        found, against = self.difference(), f"against {self.ghost.title}:"
        size = f"{fixed(found.difference, 0)} ± {found.half_width:.0f} mm"
        if found.verdict == SAID:
            return f"{against} that it {'rose' if found.difference > 0.0 else 'fell'} {SAID} ({size})"
        if found.verdict == UNSAID:
            return f"{against} whether it rose or fell {UNSAID} ({size})"
        return f"{against} {found.verdict}"

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:
        """Figures of each car with half their 95 % interval."""
        del measures
        columns = [Column("car", text=True), Column("figure", text=True), Column("value"), Column("half_width")]
        rows: list[tuple[Cell, ...]] = []
        for one in (self.own, self.ghost):
            for f in one.figures if one is not None else ():
                assert one is not None
                rows.append((one.title, f.label, Quantity(f.value, f.unit), Quantity(f.width, f.unit)))
        return (Table.of("figures", columns, rows, f"Construction on {self.photo.name}; intervals hold 95 %"),)

    def records(self) -> tuple[Table, ...]:
        """Where each line runs in the picture, with its band; figures."""
        columns = [
            Column("car", text=True), Column("line", text=True), Column("side", text=True), Column("u", "px"),
            Column("v", "px"), Column("across_u"), Column("across_v"), Column("half_band_px", "px"),
        ]  # fmt: skip
        rows: list[tuple[Cell, ...]] = [
            (one.title, b.name, b.side, *(float(x) for x in (*b.places[k], *b.across[k], b.half[k])))
            for one in (self.own, self.ghost) if one is not None for b in one.bands for k in range(len(b.places))
        ]  # fmt: skip
        return (Table.of("lines", columns, rows), *self.tables())

    def notes(self) -> tuple[str, ...]:
        """What is drawn, and what is not known."""
        out = [
            "The construction is that of the design position, the located side and its mirror image; arms and rims "
            "are drawn as the car stands in the picture.",
            f"{UNSEEN}; a rim that is seen from behind is left out.",
        ]
        if self.ghost is not None:
            out.append(RULE.format(level=percent(self.difference().threshold)))
        if self.ghost is not None and not self.together:
            out.append(f"{self.ghost.title} was not adjusted together with it: what they share counts twice.")
        return tuple(out)

    def plot(self, path: str | PathLike[str], measures: Sequence[str] | None = None) -> None:
        """Draw it: ``.svg`` (the picture inside as JPEG, text stays text), ``.png`` or ``.pdf``."""
        del measures
        view = PhotoView(self.photo, self.own, self.ghost, self.summary(), self.crop, self.plain)
        write_photo_picture(view, Path(path))


def draw_on_photograph(
    car: Car, photo: str, axle: AxleName = "front", ghost: Car | None = None, *, crop: bool = False,
    plain: bool = False,
) -> PhotoConstruction:  # fmt: skip
    """Draw a car's front construction back onto one of its photographs.

    Parameters
    ----------
    car : Car
        Its `axle` comes from photographs (``points = "x.photos.toml"``).
    photo : str
        Name of one of them.
    axle : {"front", "rear"}
    ghost : Car, optional
        Another car, whose axle comes from photographs too, drawn through the same camera.
    crop : bool
        Show the car and its construction alone.
    plain : bool
        The drawing without the picture.

    Raises
    ------
    RequestError
        When the car does not come from photographs, or the photograph is not there.
    """
    cars = [car] if ghost is None else [car, ghost]
    found = [_photographs(c, axle) for c in cars]
    together = len(cars) == 2 and share_photographs(cars, axle)
    located = adjustment([t.photographs for t in (found if together else found[:1])])
    other = None
    if ghost is not None:
        other = (ghost, located if together else adjustment([found[1].photographs]), found[1].source)
    return on_photograph(located, found[0].source, photo, car, other, crop=crop, plain=plain)


def _photographs(car: Car, axle: AxleName) -> PhotoPoints:
    table = car.axle(axle).points
    if not isinstance(table, PhotoPoints):
        text = f"[{axle}] does not come from photographs but from {table.source.name}; "
        text += 'points = "x.photos.toml" is expected'
        raise RequestError(Finding("no-photographs", text, str(car.source)))
    return table


def on_photograph(
    located: Located, source: Path, photo: str, car: Car | None = None,
    ghost: tuple[Car | None, Located, Path] | None = None, *, crop: bool = False, plain: bool = False,
) -> PhotoConstruction:  # fmt: skip
    """The same of cars that have been located; `source` is the file of photographs, `car` has figures for anti-dive."""
    owner = _number(located, source)
    names = {p.name: k for k, (c, p) in enumerate(located.checked.model.parameters.photos) if c == owner}
    title = located.cars[owner].title
    if photo not in names:
        text = f'there is no photograph "{photo}" of {title}; {did_you_mean(photo, names)}'
        raise RequestError(Finding("photo-unknown", text, str(source)))
    number = names[photo]
    taken = located.checked.model.parameters.photos[number][1]
    if not plain and taken.file is None:
        text = f'the file of photograph "{photo}" is not named; give its file, or ask for the drawing alone (--plain)'
        raise RequestError(Finding("photo-no-file", text, str(source)))
    own = _on_photo(located, owner, number, car)
    if ghost is None:
        return PhotoConstruction(taken, own, None, False, crop, plain)
    other, whence, file = ghost
    if whence is located:
        second = _on_photo(located, _number(located, file), number, other)
    else:
        second = _apart(located, owner, number, whence, _number(whence, file), other)
    return PhotoConstruction(taken, own, second, whence is located, crop, plain)


def _number(located: Located, source: Path) -> int:
    return [c.source.resolve() for c in located.cars].index(source.resolve())


def _apart(located: Located, owner: int, photo: int, whence: Located, number: int, car: Car | None) -> OnPhoto:
    """A car of another adjustment through the camera: its errors follow after those of the camera's own."""
    given = photo_lines.standing(whence, number, 0)
    stands = photo_lines.standing(located, owner, photo)
    before, after = len(stands.along), len(given.along)
    inputs = given.inputs.copy()
    moved = photo_lines.moved_by(given.upright)
    inputs[:, moved] = stands.inputs[:, photo_lines.moved_by(stands.upright)]
    along = np.concatenate([np.zeros((before, *inputs.shape)), given.along])
    views = photo_lines.cameras(located, photo, padding=after)
    other = whence.cars[number]
    return on_photo(other.title, other.axle, photo_lines.CarInPhoto(given.upright, inputs, along), views, car)


def _on_photo(located: Located, number: int, photo: int, car: Car | None) -> OnPhoto:
    given = photo_lines.standing(located, number, photo)
    own = located.cars[number]
    marked = photo_lines.marked_parts(located, number, photo)
    return on_photo(own.title, own.axle, given, photo_lines.cameras(located, photo), car, marked)
