"""What is shown of located points: tables for a person, tidy records, and every photograph with its marks."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from kin3d.errors import Severity
from kin3d.photographs.parameters import AXES, FOCAL, RELATIVE
from kin3d.writing.files import PICTURES, check_place
from kin3d.writing.numbers import fixed
from kin3d.writing.style import CONSTRUCTION, INK, MID, PART_COLOURS, RAISES, figure_style, save_figure
from kin3d.writing.tables import Cell, Column, Quantity, Table

if TYPE_CHECKING:
    from kin3d.photographs.located import Located, Wanted
    from kin3d.photographs.located_car import LocatedCar

OF_A_KIND = 2  # marks, figures and photographs that are shown for each measure
LONGER = 10.0  # residual arrows are drawn so much longer than they are
OFF = 2.0  # deviations from which on a figure is off what was known of it,
CHECKED = 0.2  # where marks check it by this part at least


def points_table(result: Located) -> Table:
    """Every point with the deviation of each coordinate, and what carries it where that is the template."""
    own = result.car
    carried = {c.rpartition(" ")[0] for c in own.carried}
    columns = [
        Column("point", text=True), *(Column(a, "mm") for a in AXES), *(Column(f"sigma_{a}", "mm") for a in AXES),
        Column("note", text=True),
    ]  # fmt: skip
    rows = [
        (n, *p.tolist(), *s.tolist(), "rests on the template" if n in carried else "")
        for n, p, s in zip(own.names, own.xyz_mm, own.sigma_mm, strict=True)
    ]
    return Table.of("points", columns, rows, f"{own.title}, {own.side} {own.axle} corner, mm")


def covariance_record(car: LocatedCar) -> Table:
    """The whole covariance, square."""
    names = [f"{n}.{a}" for n in car.names for a in AXES]
    rows = [(n, *row.tolist()) for n, row in zip(names, car.covariance_mm2, strict=True)]
    return Table.of("covariance", [Column("coordinate", text=True), *(Column(n, "mm²") for n in names)], rows)


def marks_record(result: Located) -> Table:
    """One row a mark: place, miss, test value, redundancy, whether it was used."""
    columns = [
        *(Column(n, text=True) for n in ("car", "photo", "kind", "name", "side")), Column("u", "px"),
        Column("v", "px"), Column("sigma_px", "px"), Column("miss_u_px", "px"), Column("miss_v_px", "px"),
        Column("w"), Column("redundancy"), Column("used", text=True),
    ]  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    checked = result.checked
    for k, (c, m) in enumerate(checked.model.marks):
        miss, w, part = checked.miss_px[k], float(checked.w[k]), float(checked.redundancy[k])
        used = "no" if k in checked.out else "yes"
        place = (m.u, m.v, m.sigma_px, float(miss[0]), float(miss[1]), w, part, used)
        rows.append((result.files[c].title, m.photo, m.kind, m.name, m.side, *place))
    return Table.of("marks", columns, rows)


def figures_record(result: Located) -> Table:
    """One row a number of the adjustment: what was known of it, what was found."""
    columns = [
        Column("figure", text=True), Column("of", text=True), Column("group", text=True), Column("known"),
        Column("sigma_known"), Column("adjusted"), Column("sigma"), Column("w"), Column("redundancy"),
        Column("stated", text=True), Column("used", text=True),
    ]  # fmt: skip
    checked = result.checked
    known, numbers = checked.fit.known, checked.fit.state.numbers
    sigma = np.sqrt((checked.spread.factor**2).sum(axis=1))
    rows: list[tuple[Cell, ...]] = []
    for k, p in enumerate(checked.model.parameters.listed):
        if p.name.startswith("turn ") or not known.free[k]:
            continue
        said = (p.value, p.sigma) if np.isfinite(p.sigma) else (None, None)
        w, part = float(checked.figure_w[k]), float(checked.figure_redundancy[k])
        used = "no" if k in checked.figures_out else "yes"
        found = (float(numbers[k]), float(sigma[k]), w, part, "yes" if p.stated else "no", used)
        rows.append((p.name, p.owner, p.group, *said, *found))
    return Table.of("figures", columns, rows)


def measures_table(result: Located, wanted: Sequence[Wanted] | None = None) -> Table:
    """Wanted measures in the design position with their deviations."""
    chosen = result.wanted if wanted is None else wanted
    rows = [(w.name, w.unit, w.value, w.sigma) for w in chosen]
    columns = (Column("measure", text=True), Column("unit", text=True), Column("value"), Column("sigma"))
    return Table.of("measures", columns, rows, f"{result.car.title}, measures in the design position")


def helps_table(wanted: Sequence[Wanted]) -> Table:
    """The mark, figure or photograph that would help each wanted measure most."""
    columns = (
        Column("measure", text=True), Column("now", head="σ\nnow"), Column("then", head="σ\nthen"),
        Column("what", head="with", long=True),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    breaks = []
    for w in wanted:
        breaks.append(len(rows))
        by_kind = [[h for h in w.helps if h.kind == kind] for kind in ("mark", "figure", "photograph")]
        for one in sorted((h for some in by_kind for h in some[:OF_A_KIND]), key=lambda h: h.sigma):
            what = f"{one.kind}: {one.what}"
            rows.append((w.name, Quantity(w.sigma, w.unit), Quantity(one.sigma, w.unit), what))
    return Table.of("helps", columns, rows, "What would help most", breaks=breaks)


def helps_record(result: Located) -> Table:
    """One row a wanted measure and a thing that would help it."""
    columns = ("measure", "unit", "sigma_now", "sigma_then", "kind", "what")
    rows = [(w.name, w.unit, w.sigma, h.sigma, h.kind, h.what) for w in result.wanted for h in w.helps]
    return Table.of("helps", columns, rows)


def wrong_table(result: Located) -> Table:
    """Marks and figures that cannot be right."""
    columns = [
        Column("what", head="cannot be right", text=True), Column("miss", head="misses by", text=True),
        Column("w", places=1),
    ]  # fmt: skip
    return Table.of("wrong", columns, result.wrong(), "Left out, as they cannot be right")


def known_table(result: Located) -> Table:
    """What was known of the wheels and of the car's position in the pictures, and what was found."""
    checked = result.checked
    sigma = np.sqrt((checked.spread.factor**2).sum(axis=1))
    rows: list[tuple[Cell, ...]] = []
    for k, p in enumerate(checked.model.parameters.listed):
        if not p.measurable or not checked.fit.known.free[k] or not np.isfinite(p.sigma) or p.name.endswith("apart"):
            continue
        turn = p.name.split()[-1] in ("camber", "toe", "steer")
        found, unit = float(checked.fit.state.numbers[k]), "deg" if turn else "mm"
        values = [found, float(sigma[k]), p.value, p.sigma]
        if p.name in RELATIVE:
            way = 1.0 if p.name == FOCAL else -1.0  # of a scale px per mm is told, as it is given
            found, prior = way * found, way * p.value
            values = [np.exp(found), np.exp(found) * values[1], np.exp(prior), np.exp(prior) * p.sigma]
            unit = "px" if p.name == FOCAL else "px/mm"
        at, its, known, known_sigma = np.degrees(values) if turn else values
        doubtful = abs(checked.figure_w[k]) > OFF and checked.figure_redundancy[k] > CHECKED
        off = "left out" if k in checked.figures_out else ("off" if doubtful else "")
        said = "stated" if p.stated else "assumed"
        pair: tuple[Cell, Cell]
        pair = Quantity(float(known), unit, sigma=float(known_sigma)), Quantity(float(at), unit, sigma=float(its))
        if unit == "px":
            pair = f"{known:.0f} ± {known_sigma:.0f}", f"{at:.0f} ± {its:.0f}"
        rows.append((str(p), unit, said, *pair, off))
    columns = (
        Column("figure", text=True), Column("unit", text=True), Column("by", head="", text=True),
        Column("known", head="known ± σ"), Column("found", head="found ± σ"), Column("note", text=True),
    )  # fmt: skip
    return Table.of("known", columns, rows, "Figures: what was known before, what was found")


def assumed_table(result: Located) -> Table:
    """What stands in for figures that the files do not give."""
    rows = [(f.place, f.assumed) for f in result.findings if f.severity is Severity.NOTE]
    columns = (Column("place", head="not given", long=True), Column("assumed", long=True))
    return Table.of("assumed", columns, rows, "Assumed where the files are silent")


def draw_marks(result: Located, path: Path) -> None:
    """Draw each photograph with its marks and an arrow from each to where the model sees it."""
    check_place(path, PICTURES, "plot")
    import matplotlib
    from matplotlib.figure import Figure

    checked = result.checked
    seen = checked.model.predicted(checked.fit.state)
    photos = checked.model.parameters.photos
    columns = 1 if len(photos) == 1 else 2
    rows = -(-len(photos) // columns)
    with matplotlib.rc_context(figure_style()):
        figure = Figure(figsize=(8.0 * columns, 5.6 * rows), layout="constrained")
        for number, (car, photo) in enumerate(photos):
            axes = figure.add_subplot(rows, columns, number + 1)
            own = [k for k, (c, m) in enumerate(checked.model.marks) if c == car and m.photo == photo.name]
            _draw_photo(axes, result, own, seen, photo)
            axes.set_title(f"{result.files[car].title}: {photo.name}" if len(result.cars) > 1 else photo.name)
        figure.suptitle(_said(result, seen), x=0.01, ha="left", fontsize=13, fontweight="bold")
        save_figure(figure, path)


def _said(result: Located, seen: Any) -> str:
    """How far the located points fall from their marks, and how the picture shows it."""
    checked = result.checked
    kept = [k for k in range(len(checked.model.marks)) if k not in checked.out]
    at = np.array([(checked.model.marks[k][1].u, checked.model.marks[k][1].v) for k in kept])
    miss = float(np.median(np.hypot(*(np.asarray(seen)[kept] - at).T)))
    out = f"; {len(checked.out)} left out" if checked.out else ""
    arrows = f"arrows are {LONGER:g} times as long as the misses"
    return f"Half of {len(kept)} marks lie within {miss:.1f} px of where the located points fall{out}: {arrows}"


_COLOURS = {
    "point": PART_COLOURS["upper arm"],
    "leg": PART_COLOURS["lower arm"],
    "rim": PART_COLOURS["steering link"],
    "contact": CONSTRUCTION,
}


def _draw_photo(axes: Any, result: Located, own: Sequence[int], seen: Any, photo: Any) -> None:
    width, height = photo.size_px
    axes.set_xlim(0.0, width)
    axes.set_ylim(height, 0.0)
    axes.set_aspect("equal")
    axes.grid(visible=False)
    picture = _picture(photo.file)
    if picture is not None:
        axes.imshow(picture, extent=(0.0, width, height, 0.0), alpha=0.6)
    else:
        axes.set_facecolor("#f2f4f5")
    checked = result.checked
    for line in _outline(result, photo):
        axes.plot(*line.T, "-", lw=0.8, color=MID, zorder=1.5)
    for kind, colour in _COLOURS.items():
        rows = [k for k in own if checked.model.marks[k][1].kind == kind and k not in checked.out]
        if rows:
            at = np.array([(checked.model.marks[k][1].u, checked.model.marks[k][1].v) for k in rows])
            size = np.sqrt(np.mean(np.sum((seen[rows] - at) ** 2, axis=1)))
            axes.plot(*at.T, "o", ms=3.5, mfc="none", color=colour, label=f"{kind}: misses {fixed(float(size), 1)} px")
            far = at + LONGER * (seen[rows] - at)
            axes.plot([at[:, 0], far[:, 0]], [at[:, 1], far[:, 1]], "-", lw=0.9, color=colour)
    rows = [k for k in own if k in checked.out]
    if rows:
        at = np.array([(checked.model.marks[k][1].u, checked.model.marks[k][1].v) for k in rows])
        axes.plot(*at.T, "x", ms=7, mew=1.6, color=RAISES, label="cannot be right")
        for k, (u, v) in zip(rows, at, strict=True):
            mark = checked.model.marks[k][1]
            axes.annotate(f"{mark.side} {mark.name}", (u, v), (5, 5), textcoords="offset points", color=RAISES)
    legend = axes.legend(loc="best", frameon=True, framealpha=0.85, fontsize=7)
    for text in legend.get_texts():
        text.set_color(INK)


def _outline(result: Located, photo: Any) -> list[Any]:
    """Links and rims of the located car as they fall in a photograph, each of shape (places, 2), px."""
    model, state = result.checked.model, result.checked.fit.state
    number, owner = next((n, c) for n, (c, p) in enumerate(model.parameters.photos) if p is photo)
    car, seen, cameras = model.cars[owner], model.seen(state, owner), model.cameras(state)
    lines = []
    for lane, (where, side) in enumerate(car.lanes):
        if where == number:
            mirror = np.array([1.0, 1.0 if side == "left" else -1.0, 1.0])
            places = seen.points[lane] * mirror
            lines += [places[[a, b]] for a, b in car.upright.tubes]
            around = np.linspace(0.0, 2.0 * np.pi, 73)
            lines += [w.edge(np.full(73, lane), around)[0] * mirror for w in seen.wheels]
    views = [cameras.seen(np.full(len(line), number), line) for line in lines]
    return [v.pixels for v in views if not v.behind.any()]


def _picture(file: Path | None) -> Any:
    """The picture as shown, no larger than a screen; None where it is not at hand."""
    if file is None or not file.is_file():
        return None
    from PIL import Image, ImageOps

    with Image.open(file) as image:
        image.draft("RGB", (2000, 2000))
        shown = ImageOps.exif_transpose(image).convert("RGB")
        shown.thumbnail((2000, 2000))
        return np.asarray(shown)
