"""Ticks drawn as few lines stand and look as those of the plotting library, which draws every one by itself."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

from kin3d.report import figures
from kin3d.report.figures import BlankPanel
from kin3d.writing.panels import Panel, Trace, draw_panel
from tests.labels import boxes


def panel(scale: float) -> Panel:
    x = np.linspace(-40.0, 40.0, 9)
    lines = tuple(Trace(x, scale * (k + np.sin(x / 25.0)), "AB"[k], dash=k) for k in (0, 1))
    return Panel("Camber", "deg", "top outboard positive", "wheel travel (mm)", lines)


@pytest.mark.parametrize("scale", [0.03, 1.0, 400.0, 3e-7])
def test_ticks_have_the_figures_and_places_of_the_library(scale, monkeypatch):
    sheet = BlankPanel()
    sheet.drawn("other", "another before it", partial(draw_panel, panel=panel(7.0)))
    mine = list(boxes(sheet.drawn("a", "curves", partial(draw_panel, panel=panel(scale)))))
    monkeypatch.setattr(figures, "draw_ticks", lambda _: None)
    theirs = list(boxes(BlankPanel().drawn("a", "curves", partial(draw_panel, panel=panel(scale)))))
    assert sorted(t for t, _ in mine) == sorted(t for t, _ in theirs)
    assert len(mine) > 12
    for text, corners in mine:
        # the same figure may stand at both axes: the nearer one is meant
        nearest = min(float(np.abs(corners - c).max()) for t, c in theirs if t == text)
        assert nearest < 0.3, text
