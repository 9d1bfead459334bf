"""A drawing written straight as SVG is the picture that the plotting library makes of it, and is legible."""

from __future__ import annotations

import io
import re

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

from kin3d.writing.drawing import Drawing, Frame, Layer
from kin3d.writing.drawing_picture import render
from kin3d.writing.drawing_svg import svg_text
from kin3d.writing.style import COLOURS, figure_style
from tests.labels import boxes, faults

FRAME = Frame(np.array([-20.0, -10.0]), np.array([180.0, 90.0]))
LAYERS = {"base": Layer("ink", "solid", 1.0), "seen": Layer("car a", "dashed", 2.0)}


def drawn() -> Drawing:
    """Everything that a drawing can hold, at half scale."""
    drawing = Drawing(2.0, LAYERS)
    drawing.path("seen", np.array([(-40.0, 0.0), (50.0, 30.0), (150.0, 80.0)]))
    drawing.path("base", np.array([(100.0, 5.0), (160.0, 5.0), (130.0, 40.0)]), closed=True, fill="pale", tint=0.6)
    drawing.line("base", (0.0, 60.0), (0.0, 20.0), arrows="end", width=2.0, colour="lowers")
    drawing.line("base", (0.0, 60.0), (300.0, 20.0), arrows="end")  # ends outside: not drawn
    drawing.mark("seen", (60.0, 60.0), "square", 0.8)
    drawing.words("base", (20.0, 70.0), "two lines\nof words", align="right", level="middle", bold=True)
    drawing.words("base", (80.0, 80.0), "A & B < C", align="center", level="top", ground=False, colour="car b")
    drawing.words("base", (170.0, 20.0), "upright", turn_deg=90.0, align="left", level="bottom")
    drawing.dimension("base", (40.0, 0.0), (90.0, 0.0), (40.0, -5.0))
    return drawing


def by_library(drawing: Drawing) -> str:
    """The same drawing by the plotting library."""
    size = FRAME.size / drawing.scale / 25.4
    with mpl.rc_context(figure_style()):
        figure = Figure(figsize=size)
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set(xlim=(FRAME.low[0], FRAME.high[0]), ylim=(FRAME.low[1], FRAME.high[1]))
        axes.set_axis_off()
        render(axes, drawing)
        file = io.StringIO()
        figure.savefig(file, format="svg")
    return file.getvalue()


def strokes(svg: str) -> dict[tuple[str, str], list[np.ndarray]]:
    """Corners of every stroked path by colour and width."""
    out: dict[tuple[str, str], list[np.ndarray]] = {}
    for d, style in re.findall(r'<path d="([^"]*)"[^>]*style="([^"]*)"', svg):
        colour, width = re.search(r"stroke: (#\w+)", style), re.search(r"stroke-width: ([\d.]+)", style)
        if colour:
            numbers = np.array([float(v) for v in re.findall(r"-?[\d.]+", d)]).reshape(-1, 2)
            out.setdefault((colour[1], width[1] if width else "1"), []).append(numbers)
    return out


def test_words_stand_where_the_plotting_library_sets_them():
    mine, theirs = (dict(boxes(s)) for s in (svg_text(drawn(), FRAME), by_library(drawn())))
    assert set(mine) == set(theirs) == {"two lines", "of words", "A & B < C", "upright", "50.00"}
    for text, corners in mine.items():
        # the library centres the ink of a line, here its capitals are centred: a tenth of the type, 8 pt, at most
        np.testing.assert_allclose(corners, theirs[text], rtol=0, atol=1.3, err_msg=text)


def test_lines_run_where_the_plotting_library_draws_them():
    mine, theirs = strokes(svg_text(drawn(), FRAME)), strokes(by_library(drawn()))
    dashed = (COLOURS["car a"][0], "2")
    for key in (dashed, (COLOURS["lowers"][0], "2"), (COLOURS["car a"][0], "1.6")):
        assert key in mine, key
        reach = [np.concatenate(found[key]) for found in (mine, theirs)]
        # the library cuts lines some way outside of the frame, and gives an arrow's stroke an end of its own
        inside = [p[(p > 0.0).all(axis=1)] for p in reach]
        np.testing.assert_allclose(inside[0].min(axis=0), inside[1].min(axis=0), rtol=0, atol=0.6, err_msg=str(key))
        np.testing.assert_allclose(inside[0].max(axis=0), inside[1].max(axis=0), rtol=0, atol=0.6, err_msg=str(key))


def test_dashes_are_as_long_as_the_line_is_wide():
    assert "stroke-dasharray: 12,6" in svg_text(drawn(), FRAME)


def test_only_what_leaves_the_frame_is_cut_and_an_arrow_out_of_it_is_left_out():
    text = svg_text(drawn(), FRAME)
    assert text.count('clip-path="url(#frame)"') == 1
    assert len(re.findall(r"stroke-linejoin: miter", text)) == 3  # the arrow inside, both ends of the dimension


def test_words_are_legible_and_cannot_be_taken_for_markup():
    text = svg_text(drawn(), FRAME)
    assert faults(text) == []
    assert "A &amp; B &lt; C" in text
