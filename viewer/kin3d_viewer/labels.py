"""Where labels go so that none covers another: pure arithmetic on the picture plane."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from kin3d_viewer.primitives import Array

DIRECTIONS = 16
RADII_PX = (20.0, 34.0, 52.0, 74.0, 100.0, 132.0, 170.0, 215.0, 265.0)
GAP_PX = 3.0
MOST_LETTERS = 72  # of a car's title that are shown in the picture


def short_title(title: str) -> str:
    """A car's title as far as a line of the picture has room for it beside another one's."""
    return title if len(title) <= MOST_LETTERS else f"{title[: MOST_LETTERS - 3].rstrip()}..."


def arrange(
    anchors: Array, sizes: Array, canvas: tuple[float, float], previous: Mapping[int, Array] | None = None
) -> Array:
    """Lower left corners of the labels' boxes, shape (n, 2), px, in the order given.

    Parameters
    ----------
    anchors : ndarray, shape (n, 2)
        Where the leaders end, px from the lower left corner.
    sizes : ndarray, shape (n, 2)
        Width and height of each text's box.
    canvas : (float, float)
        Width and height of the picture, less what is taken by other things.
    previous : mapping of int to ndarray, shape (2,), optional
        Offset of a label from its anchor in the last picture; kept while it is still free, so that labels do not jump.

    Returns
    -------
    ndarray, shape (n, 2)
        NaN for a label that finds no free place.
    """
    out = np.full((len(anchors), 2), np.nan)
    taken: list[tuple[Array, Array]] = []
    middle = anchors.mean(axis=0) if len(anchors) else np.zeros(2)
    for k, (anchor, size) in enumerate(zip(anchors, sizes, strict=True)):
        if not _inside(anchor, np.zeros(2), canvas):
            continue
        for corner in _candidates(anchor, size, middle, (previous or {}).get(k)):
            if _inside(corner, size, canvas) and not _covers(corner, size, taken, anchors):
                out[k] = corner
                taken.append((corner, size))
                break
    return out


def _candidates(anchor: Array, size: Array, middle: Array, kept: Array | None) -> list[Array]:
    """Corners to try: the last one, then rings about the anchor, away from the middle of the picture first."""
    away = np.arctan2(*(anchor - middle)[::-1])
    turns = np.arange(DIRECTIONS) * 2.0 * np.pi / DIRECTIONS
    turns = turns[np.argsort(np.abs(np.angle(np.exp(1j * (turns - away)))), kind="stable")]
    out = [] if kept is None else [anchor + kept]
    for radius in RADII_PX:
        for turn in turns:
            way = np.array([np.cos(turn), np.sin(turn)])
            # the box touches the ring with the side that faces the anchor
            out.append(anchor + radius * way + 0.5 * size * (way - 1.0))
    return out


def _inside(corner: Array, size: Array, canvas: tuple[float, float]) -> bool:
    return bool((corner >= GAP_PX).all() and (corner + size <= np.array(canvas) - GAP_PX).all())


def _covers(corner: Array, size: Array, taken: list[tuple[Array, Array]], anchors: Array) -> bool:
    """Whether a box lies over a placed one, or over an anchor."""
    for other, extent in taken:
        if (corner < other + extent + GAP_PX).all() and (other < corner + size + GAP_PX).all():
            return True
    over = ((anchors > corner - GAP_PX) & (anchors < corner + size + GAP_PX)).all(axis=1)
    return bool(over.any())
