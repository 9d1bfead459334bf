"""The curves in the window: a matplotlib canvas that draws its axes once and its curves over them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.backends.backend_qtagg import FigureCanvasQTAgg
from matplotlib.figure import Figure

from kin3d.measures.entry import Measure
from kin3d_viewer.charts import Charts
from kin3d_viewer.session import Session


class CurvesCanvas(FigureCanvasQTAgg):
    """Charts of a session; axes are drawn again only where they change."""

    def __init__(self, measures: Mapping[str, Measure], names: Sequence[str]) -> None:
        super().__init__(Figure(figsize=(4.2, 7.0)))
        self.charts = Charts(self.figure, measures, names)
        self._background: Any = None
        self._session: Session | None = None
        self.mpl_connect("draw_event", self._keep)

    def choose(self, names: Sequence[str], session: Session) -> None:
        """Show other measures."""
        self.charts.choose(names)
        self._background = None
        self.follow(session)

    def resizeEvent(self, event: Any) -> None:  # noqa: N802 - Qt's name
        """Keep the titles and the legend within the width."""
        super().resizeEvent(event)
        self.charts.resized()
        if self._session is not None:
            self._background = None
            self.follow(self._session)

    def follow(self, session: Session) -> None:
        """Take the curves and the cursor of the present state."""
        self._session = session
        view, ghost, file = session.view, session.ghost(), session.file_curves()
        self.charts.paint(*session.colours)
        changed = self.charts.show(view.curves, file, None if ghost is None else ghost.curves, session.bands())
        other = "" if session.other is None else session.other.car.title
        changed |= self.charts.legend(file=file is not None, ghost=other)
        self.charts.cursor(view.now.drives[session.over], view.now.values)
        if changed or self._background is None:
            self.draw_idle()
        else:
            self._put()

    def _keep(self, _event: Any) -> None:
        self._background = self.copy_from_bbox(self.figure.bbox)
        self._draw_moving()

    def _put(self) -> None:
        self.restore_region(self._background)
        self._draw_moving()
        self.blit(self.figure.bbox)

    def _draw_moving(self) -> None:
        for artist in self.charts.moving:
            artist.axes.draw_artist(artist)
