"""How the construction on a photograph is drawn: what is over the picture, the words beside it, the legend under it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.studies.photo_view import Hidden, OnPhoto, PhotoView
from kin3d.writing.files import PICTURES, check_place
from kin3d.writing.style import (
    CONSTRUCTION,
    INK,
    MID,
    PART_COLOURS,
    ROLL_CENTRE,
    SOFT,
    figure_style,
    save_figure,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]
WIDE_IN, HEAD_IN, FOOT_IN, SIDE_IN = 11.0, 0.72, 0.98, 0.12
RIM = "#56b4e9"  # pale: rims are dark
# colour, dashes and words of every line; dashes tell them apart without colour
LOOKS: dict[str, tuple[str, Any, str]] = {
    "upper arm": (PART_COLOURS["upper arm"], (0, (6, 2)), "upper arm, produced to the instant centre"),
    "lower arm": (PART_COLOURS["lower arm"], (0, (6, 1.5, 1.2, 1.5)), "lower arm, produced to the instant centre"),
    "contact line": (CONSTRUCTION, "-", "contact point to instant centre"),
    "side line": (SOFT, (0, (2.5, 1.5)), "side view: contact point to instant centre"),
}
OTHER_LOOK = (PART_COLOURS["other part"], (0, (6, 2)), "arm, produced")
GHOST = SOFT
HIDDEN = (0, (2.0, 2.0))
UNSEEN = "Lighter and dashed: behind a wheel, or a link where it is not marked in this picture, as behind the tub"
TURN = np.linspace(0.0, 2.0 * np.pi, 61)


def write_photo_picture(found: PhotoView, path: Path) -> None:
    """Draw the result; see `kin3d.studies.photo_draw`."""
    check_place(path, PICTURES, "--out")
    import matplotlib.pyplot as plt

    low, high = frame_of(found)
    wide, tall = high - low
    scale = (WIDE_IN - 2 * SIDE_IN) / wide
    height = tall * scale + HEAD_IN + FOOT_IN
    with plt.rc_context(figure_style() | {"image.composite_image": False}):
        figure = plt.figure(figsize=(WIDE_IN, height))
        box = (SIDE_IN / WIDE_IN, FOOT_IN / height, wide * scale / WIDE_IN, tall * scale / height)
        axes = figure.add_axes(box)
        _ground(axes, found, low, high)
        axes.set(xlim=(low[0], high[0]), ylim=(high[1], low[1]))
        axes.set_axis_off()
        if found.ghost is not None:
            _ghost(axes, found.ghost)
        _car(axes, found)
        _construction(axes, found.own, 72.0 * scale)
        _words(axes, found, low, high)
        _head(figure, found, height)
        _legend(figure, found, height)
        save_figure(figure, path, photographs=True)


def frame_of(found: PhotoView) -> tuple[Array, Array]:
    """The part of the picture that is shown: all of it, or the car with its construction; px."""
    size = np.array(found.photo.size_px, dtype=float)
    if not found.crop:
        return np.zeros(2), size
    own = found.own
    body = np.concatenate([own.tyres.reshape(-1, 2), own.legs.reshape(-1, 2), own.roll_centre[None]])
    low, high = body.min(axis=0), body.max(axis=0)
    room = 0.07 * (high[0] - low[0])
    low, high = low - room, high + np.array([room, 2.2 * room])
    centres = own.centres[np.isfinite(own.centres).all(axis=1)]
    near = (centres > low - 3.0 * room).all(axis=1) & (centres < high + 3.0 * room).all(axis=1)
    if near.any():
        low = np.minimum(low, centres[near].min(axis=0) - room)
        high = np.maximum(high, centres[near].max(axis=0) + room)
    least = 0.42 * (high[0] - low[0])  # a strip is no picture
    low[1] -= max(0.0, least - (high[1] - low[1]))
    low, high = np.maximum(low, 0.0), np.minimum(high, size)
    return np.floor(low), np.ceil(high)


def _ground(axes: Axes, found: PhotoView, low: Array, high: Array) -> None:
    """The photograph, or in a plain drawing paper with the car's wheels."""
    if found.plain:
        for tyre in found.own.tyres:
            axes.fill(*tyre.T, fc="#e9edf0", ec=MID, lw=0.8, zorder=1)
        return
    from PIL import Image, ImageOps

    assert found.photo.file is not None
    try:
        with Image.open(found.photo.file) as opened:
            picture = ImageOps.exif_transpose(opened).convert("RGB")
            part = picture.crop((int(low[0]), int(low[1]), int(high[0]), int(high[1])))
    except OSError as error:
        text = f'the picture of photograph "{found.photo.name}" cannot be read: {error.strerror or error}'
        raise RequestError(Finding("photo-unreadable", text, str(found.photo.file))) from None
    axes.imshow(np.asarray(part), extent=(low[0], high[0], high[1], low[1]), interpolation="none", zorder=0)


def _line(axes: Axes, places: Array, colour: str, dash: Any, width: float, rank: float, halo: float = 1.6) -> None:
    """A line with a white edge, so that it is seen on anything."""
    axes.plot(*places.T, color="white", lw=width + halo, alpha=0.85, zorder=rank, solid_capstyle="round")
    axes.plot(*places.T, color=colour, lw=width, ls=dash, zorder=rank + 0.1, dash_capstyle="butt")


def _parted(axes: Axes, places: Array, hidden: Hidden, colour: str, dash: Any, width: float, rank: float) -> None:
    """A line whose hidden parts are lighter, and dashed where the rest is not."""
    edges = np.flatnonzero(np.diff(hidden)) + 1
    for run in np.split(np.arange(len(places)), edges):
        part = places[run[0] : run[-1] + 2]  # up to where the next part begins
        if not hidden[run[0]]:
            _line(axes, part, colour, dash, width, rank, 1.6 if width > 1.0 else 0.9)
        else:
            dashes = HIDDEN if dash == "-" else dash
            axes.plot(*part.T, color=colour, lw=0.7 * width, alpha=0.55, ls=dashes, zorder=rank)


def _car(axes: Axes, found: PhotoView) -> None:
    """Links and rims as located, thin; a rim that nobody can see would be a ring about nothing."""
    own = found.own
    for rim, hidden in zip(own.rims, own.rims_hidden, strict=True):
        if not hidden.all():
            _parted(axes, rim, hidden, RIM, "-", 0.9, 3.0)
    tubes = own.legs.reshape(-1, *own.legs.shape[2:])
    for tube, hidden in zip(tubes, own.legs_hidden.reshape(len(tubes), -1), strict=True):
        _parted(axes, tube, hidden, INK, "-", 0.9, 3.2)


def _construction(axes: Axes, own: OnPhoto, per_px: float) -> None:
    for band in own.bands:
        colour, dash, _ = LOOKS.get(band.name, OTHER_LOOK)
        edges = [band.places + s * band.half[:, None] * band.across for s in (1.0, -1.0)]
        axes.fill(*np.concatenate([edges[0], edges[1][::-1]]).T, color=colour, alpha=0.30, lw=0, zorder=4.0)
        _parted(axes, band.places, band.hidden, colour, dash, 1.5, 5.0)
    ring = _ellipse(own.roll_centre, own.roll_centre_cov)
    axes.fill(*ring.T, color=ROLL_CENTRE, alpha=0.45, lw=0, zorder=6.0)
    _line(axes, ring, ROLL_CENTRE, "-", 1.0, 6.0, 1.0)
    mark: dict[str, Any] = {"ls": "none", "mec": "white", "mew": 1.0}
    axes.plot(*own.contacts.T, marker="^", ms=7, color=INK, zorder=7.0, **mark)
    axes.plot(*own.centres.T, marker="D", ms=6.5, color=CONSTRUCTION, zorder=7.0, **mark)
    axes.plot(*own.roll_centre, marker="o", ms=max(5.0, 3.0 * per_px), color=ROLL_CENTRE, zorder=7.2, **mark)


def _ghost(axes: Axes, ghost: OnPhoto) -> None:
    """The other car's lines to the contact points and its roll centre, dark and dotted."""
    for band in ghost.bands:
        if band.name != "side line":
            width = 1.3 if band.name == "contact line" else 0.8
            _line(axes, band.places, GHOST, (0, (1.2, 1.6)), width, 3.6, 1.2)
    _line(axes, _ellipse(ghost.roll_centre, ghost.roll_centre_cov), GHOST, (0, (1.2, 1.6)), 1.0, 3.8, 1.0)
    axes.plot(*ghost.roll_centre, marker="o", ms=6, mfc="white", mec=GHOST, mew=1.4, ls="none", zorder=7.1)


def _ellipse(at: Array, covariance: Array) -> Array:
    """The ellipse that holds 95 % of a place in the plane."""
    values, ways = np.linalg.eigh(covariance)
    size = np.sqrt(np.maximum(values, 0.0) * 5.991)  # 95 % of chi-square with 2 degrees of freedom
    return np.asarray(at + np.stack([np.cos(TURN), np.sin(TURN)], axis=-1) @ (size[:, None] * ways.T))


def _words(axes: Axes, found: PhotoView, low: Array, high: Array) -> None:
    """The figures under the car, where nothing else is drawn, with a leader to each roll centre."""
    own = found.own
    wide = float(high[0] - low[0])
    floor = max(float(own.contacts[:, 1].max()), float(own.roll_centre[1]))
    step = 0.042 * wide
    first = min(floor + 0.055 * wide, float(high[1]) - (0.6 + (found.ghost is not None)) * step)
    rows = [(own, ROLL_CENTRE, str(own.figures[0]), 0.02)]
    if found.ghost is not None:
        rows.append((found.ghost, GHOST, f"{found.ghost.title}: {found.ghost.figures[0]}", -0.02))
    for k, (one, colour, text, aside) in enumerate(rows):
        length = (0.0092 - 0.0012 * k) * wide * (len(text) + 7)  # about, in bold letters
        aim = float(one.roll_centre[0]) + aside * wide
        inside = min(aim, float(high[0]) - length) if k == 0 else max(aim, float(low[0]) + length)
        at = (inside, first + k * step)
        axes.plot([at[0], one.roll_centre[0]], [at[1], one.roll_centre[1]], color=colour, lw=0.9, zorder=6.5)
        axes.text(*at, f"{text} (95 %)", ha="left" if k == 0 else "right", **_box(colour, 11 - 1.5 * k))
    for band in own.bands:
        if band.name == "side line" and len(own.figures) > 1:
            u, v = band.places[int(0.62 * len(band.places))].tolist()
            under = min(v + 0.05 * wide, float(high[1]) - 0.3 * step)
            arrow = {"arrowstyle": "-", "color": SOFT, "lw": 0.9}
            axes.annotate(str(own.figures[1]), (u, v), (u, under), arrowprops=arrow, ha="center", **_box(SOFT, 9.5))


def _box(colour: str, size: float) -> dict[str, Any]:
    """Words on a white ground with an edge of their colour."""
    ground = {"boxstyle": "round,pad=0.3", "fc": "white", "ec": colour, "lw": 0.8, "alpha": 0.92}
    return {"color": colour, "fontsize": size, "fontweight": "bold", "zorder": 9, "va": "center", "bbox": ground}


def _head(figure: Figure, found: PhotoView, height: float) -> None:
    left = SIDE_IN / WIDE_IN
    finding = found.finding
    size = min(13.0, 13.0 * 96 / len(finding))  # on one line
    figure.text(left, 1.0 - 0.24 / height, finding, fontsize=size, fontweight="bold", va="center")
    said = f'Photograph "{found.photo.name}". Construction of the design position, located from marks in photographs'
    figure.text(left, 1.0 - 0.52 / height, f"{said}; bands and ± hold 95 %.", fontsize=9, color=SOFT, va="center")


def _legend(figure: Figure, found: PhotoView, height: float) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    there = dict.fromkeys(b.name for b in found.own.bands)
    items: list[Any] = []
    for name in there:
        colour, dash, words = LOOKS.get(name, OTHER_LOOK)
        told = words if name in LOOKS else f"{name}, produced"
        items.append(Line2D([], [], color=colour, ls=dash, lw=1.8, label=told))
    items.append(Patch(fc=ROLL_CENTRE, alpha=0.3, label="band of 95 %"))
    plain: dict[str, Any] = {"ls": "none", "mec": "white"}
    items += [
        Line2D([], [], color=ROLL_CENTRE, marker="o", ms=7, label="roll centre, its ellipse of 95 %", **plain),
        Line2D([], [], color=CONSTRUCTION, marker="D", ms=6.5, label="instant centre", **plain),
        Line2D([], [], color=INK, marker="^", ms=7, label="contact point", **plain),
        Line2D([], [], color=RIM, lw=1.5, label="rims as located"),
        Line2D([], [], color=INK, lw=1.0, label="arms and tie rods as located"),
    ]
    if found.ghost is not None:
        items.append(Line2D([], [], color=GHOST, ls=(0, (1.2, 1.6)), lw=1.6, marker="o", ms=5, mfc="white",
                            label=f"{found.ghost.title}, same camera"))  # fmt: skip
    figure.legend(handles=items, loc="lower left", bbox_to_anchor=(SIDE_IN / WIDE_IN, 0.24 / height), ncol=4,
                  frameon=False, fontsize=8.2, columnspacing=1.4, handlelength=2.6, borderaxespad=0.0)  # fmt: skip
    figure.text(SIDE_IN / WIDE_IN, 0.12 / height, f"{UNSEEN}.", fontsize=7.5, color=SOFT, va="center")
