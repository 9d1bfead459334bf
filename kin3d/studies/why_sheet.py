"""The sheet of one view of a why-figure: heights drawn taller, axes, bars, arrows, and where words go.

Across the paper a millimetre is a millimetre to scale; heights are drawn so much taller that the cars can be told
apart, and the axis says how much.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.studies.compared import CarPair
from kin3d.studies.significance import Difference
from kin3d.studies.told import GroupMove
from kin3d.studies.wheel_construction import ViewName
from kin3d.studies.why_parts import OneCar, WhyView, colour_of, finding_or, share_words
from kin3d.writing.drawing import Drawing, Frame, Layer
from kin3d.writing.lettering import block_size, type_size
from kin3d.writing.numbers import fixed
from kin3d.writing.placing import Placer
from kin3d.writing.style import CAR_NAMES

Array = NDArray[np.float64]
TALLER = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)
SLIM_MM = 120.0  # a narrower picture is drawn as tall as it is wide, and leaves out the names of the parts
SLIM_TALL = {"front": 1.05, "side": 0.95}  # height over width of a slim picture, about
TALL = {"front": 0.5, "side": 0.42}  # and of a wide one
STEPS_MM = (10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0)
LAYERS = {
    **{n: Layer(n, "solid", 1.4 if k else 2.4) for k, n in enumerate(CAR_NAMES)},
    "base": Layer("mid", "solid", 0.8),
    "axis": Layer("soft", "solid", 0.8),
    "arrows": Layer("ink", "solid", 1.3),
    "text": Layer("ink"),
}
SMALL = 0.9
# heights of capitals: left of one axis, under the other, under what is drawn
AXIS_LEFT, AXIS_FOOT, AXIS_ROOM = 4.2, 4.2, 7.4
ACROSS = {"front": "widths", "side": "lengths"}


@dataclass(frozen=True, slots=True)
class WhySheet:
    """A view's paper.

    Attributes
    ----------
    view : {"front", "side"}
    taller : float
        How many times taller heights are drawn.
    slim : bool
        Whether it is for a narrow page.
    """

    view: ViewName
    taller: float
    slim: bool
    drawing: Drawing
    frame: Frame
    placer: Placer

    @staticmethod
    def laid_out(
        view: ViewName, across: tuple[float, float], heights: tuple[float, float], width_mm: float
    ) -> WhySheet:
        """A sheet with its axes, on which nothing is drawn yet.

        Parameters
        ----------
        across, heights : tuple of float
            What it shows, mm: to the car's left or behind the contact point; over the ground.
        width_mm : float
            Of the paper.
        """
        slim = width_mm < SLIM_MM
        scale = (across[1] - across[0]) / (width_mm - 14.0)
        room = (SLIM_TALL if slim else TALL)[view] * width_mm
        taller = max([1.0, *(t for t in TALLER if t * (heights[1] - heights[0]) / scale <= room)])
        frame = _framed(across, heights, taller, Drawing(scale, LAYERS).height)
        drawing = Drawing(float(frame.size[0]) / width_mm, LAYERS)
        sheet = WhySheet(view, taller, slim, drawing, frame, Placer(drawing, frame))
        sheet._height_axis()
        sheet._across_axis()
        return sheet

    def on(self, car: OneCar, places: Array) -> Array:
        """Places (…, 3) on the paper, (…, 2): y to the right, or x to the left from the contact point; over ground."""
        p = np.asarray(places, dtype=float)
        across = p[..., 1] if self.view == "front" else -(p[..., 0] - car.foot[0])
        return np.stack([across, self.taller * (p[..., 2] - car.foot[2])], axis=-1)

    def at(self, across: float, height: float) -> Array:
        """A place on the paper by its two figures."""
        return np.array([across, self.taller * height])

    @property
    def inner(self) -> Frame:
        """The part of the frame between the axes."""
        h = self.drawing.height
        return Frame(self.frame.low + np.array([AXIS_LEFT * h, AXIS_FOOT * h]), self.frame.high)

    def ground(self) -> None:
        """Draw the ground."""
        ends = float(self.inner.low[0]), float(self.inner.high[0])
        self.drawing.line("base", (ends[0], 0.0), (ends[1], 0.0), colour="ink", width=1.6)
        for _ in range(2):  # as a thick line it costs words more than others
            self.placer.avoid(np.array([(ends[0], 0.0), (ends[1], 0.0)]))

    def bar(self, car: OneCar, at: Array, half: float, aside: float) -> None:
        """An upright bar of the band, beside its mark by so many heights of capitals; no words on either."""
        drawing, h = self.drawing, self.drawing.height
        reach = np.array([abs(aside) + 0.6, max(half / h, 1.0) + 0.2]) * h
        self.placer.keep(at - reach, at + reach)
        if half <= 0.05 * h:
            return
        middle = at + np.array([aside * h, 0.0])
        up, cap = np.array([0.0, half]), np.array([0.45 * h, 0.0])
        drawing.line(car.layer, middle - up, middle + up, width=1.6)
        for foot in (middle - up, middle + up):
            drawing.line(car.layer, foot - cap, foot + cap, width=1.6)

    def arrow(self, start: Array, end: Array, colour: str) -> None:
        """From where a point was to where it is."""
        if float(np.hypot(*(end - start))) > 1.3 * self.drawing.height:  # a shorter one would be all head
            self.drawing.line("arrows", start, end, colour=colour, width=2.0, arrows="end")

    def say_moves(
        self, moves: Sequence[GroupMove], spots: Sequence[Array | None], x: Difference | None, aim: float
    ) -> None:
        """What each group did, beside where it is drawn."""
        for move, spot in zip(moves, spots, strict=True):
            if spot is not None and x is not None:
                said = share_words(move, x)
                self.placer.words("text", spot, said, aim=aim, colour=colour_of(move, x), bold=True)

    def finished(
        self,
        pair: CarPair,
        x: Difference | None,
        moves: Sequence[GroupMove],
        caption: tuple[str, ...],
        *,
        missing: str,
        shown: str,
    ) -> WhyView:
        """The view with its words.

        Parameters
        ----------
        missing : str
            The title where there is no figure.
        shown : str
            What the picture shows beside the two cars, for those who cannot see it.
        """
        seen = {"front": "from ahead", "side": "from the side"}[self.view]
        times = f"Heights are drawn {self.taller:g} times as tall as {ACROSS[self.view]}."
        return WhyView(
            title=finding_or(pair, x, missing),
            seen=f"{pair.axle.capitalize()} axle {seen}, {pair.side} wheel.",
            scale="True scale." if self.taller == 1.0 else times,
            caption=caption,
            described=f"{self.view.capitalize()} views of {pair.a.title} and {pair.b.title} over each other, {shown}",
            drawing=self.drawing,
            frame=self.frame,
            moves=x is not None and any(colour_of(m, x) != "soft" for m in moves),
        )

    # --- axes ---------------------------------------------------------------------------------------------------------

    def _height_axis(self) -> None:
        """Heights over the ground on the left edge, and how much taller they are drawn."""
        drawing, frame, h = self.drawing, self.frame, self.drawing.height
        x, foot = (float(v) for v in self.inner.low)
        low, high = foot / self.taller, float(frame.high[1]) / self.taller
        step = _step_for(high - low, 6)
        drawing.line("axis", (x, foot), (x, frame.high[1]))
        for z in np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step:
            at = self.at(x, z)
            if not foot + 0.7 * h < at[1] < frame.high[1] - 0.7 * h:
                continue
            drawing.line("axis", at - (0.5 * h, 0.0), at)
            drawing.words("text", at, fixed(float(z), 0), (-1.6, 0.0), align="right", level="middle", size=SMALL)
        taller = "" if self.taller == 1.0 else f", drawn {self.taller:g} times as tall"
        said, top = f"mm over the ground{taller}", np.array([x, frame.high[1]])
        drawing.words("text", top, said, (1.4, -0.6), level="top", size=SMALL, colour="soft", ground=False)
        wide, high_mm = block_size([said], type_size(SMALL))
        down, right = np.array([0.0, high_mm + 1.2]), np.array([wide + 3.0, 0.0])
        self.placer.keep(top - down * drawing.scale, top + right * drawing.scale)
        self.placer.keep(frame.low, np.array([x, frame.high[1]]))

    def _across_axis(self) -> None:
        """Distances under the drawing, and what from."""
        drawing, frame, h = self.drawing, self.frame, self.drawing.height
        (left, y), right = (float(v) for v in self.inner.low), float(frame.high[0])
        step = _step_for(right - left, max(3, int((right - left) / drawing.scale / 24.0)))
        drawing.line("axis", (left, y), (right, y))
        for x in np.arange(np.ceil(left / step), np.floor(right / step) + 1) * step:
            drawing.line("axis", (x, y - 0.5 * h), (x, y))
            if left + 1.5 * h < x < right - 2.5 * h:
                drawing.words("text", (x, y - 0.8 * h), fixed(float(x), 0), align="center", level="top", size=SMALL)
        if self.view == "front":
            said = "mm from the car's middle" if self.slim else "mm from the car's middle, its left is right"
        else:
            said = "mm behind the contact" if self.slim else "mm behind where the tyre meets the ground"
        corner = right, frame.low[1]
        drawing.words("text", corner, said, align="right", level="bottom", size=SMALL, colour="soft", ground=False)
        self.placer.keep(frame.low, np.array([frame.high[0], y]))


def _step_for(span: float, most: int) -> float:
    """Distance of ticks on an axis."""
    return next((s for s in STEPS_MM if span / s <= most), STEPS_MM[-1])


def _framed(across: tuple[float, float], heights: tuple[float, float], taller: float, h: float) -> Frame:
    """The frame with room for both axes; `h` is the height of capitals."""
    edge = np.array([(AXIS_LEFT + 1.2) * h, AXIS_ROOM * h]), np.array([1.0 * h, 3.2 * h])
    low, high = (taller * v for v in heights)
    return Frame(np.array([across[0], low]) - edge[0], np.array([across[1], high]) + edge[1])
