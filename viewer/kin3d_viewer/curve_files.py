"""The curves of the window as files: a tidy table, or a picture of the column."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from kin3d.writing.files import check_place, write_file
from kin3d.writing.style import save_figure
from kin3d.writing.tables import Cell, Column, Table, csv_text
from kin3d_viewer.charts import Charts
from kin3d_viewer.curves import Curves
from kin3d_viewer.session import Session
from kin3d_viewer.snapshot import SIDES

TABLES, PICTURES = (".csv",), (".svg", ".pdf", ".png")
INCHES = (6.0, 2.3)  # width of a picture, height of one chart in it


def curves_table(session: Session, names: Sequence[str]) -> Table:
    """The curves that are shown: a row for each car, position and side; the file's curves too where points were moved.

    Parameters
    ----------
    names : sequence of str
        Measures; a cell is empty where a car has no such value.
    """
    drives = session.editor.drives.as_dict()
    ghost, file = session.ghost(), session.file_curves()
    title = session.editor.model.car.title
    cars: list[tuple[str, Curves]] = [(f"{title}, changed" if file else title, session.view.curves)]
    cars += [(title, file)] if file else []
    cars += [(session.other.car.title, ghost.curves)] if session.other and ghost else []
    measures = session.editor.model.every_measure
    columns = [Column("car", text=True, key=True), *(Column(d) for d in drives), Column("side", text=True)]
    columns += [Column(n, measures[n].unit) for n in names]
    rows: list[tuple[Cell, ...]] = []
    for car, curves in cars:
        for k, value in enumerate(curves.at):
            here = drives | {curves.drive: float(value)}
            for number, side in enumerate(SIDES):
                found = [float(curves.values[n][number, k]) if n in curves.values else None for n in names]
                rows.append((car, *here.values(), side, *found))
    return Table.of("curves", columns, rows)


def save_curves(session: Session, names: Sequence[str], file: Path) -> str:
    """Write the curves by the file's ending; returns a sentence.

    Raises
    ------
    RequestError
        For an ending that is not known, or a place that cannot be written.
    """
    check_place(file, (*TABLES, *PICTURES), "curves")
    if file.suffix.lower() in TABLES:
        table = curves_table(session, names)
        write_file(file, csv_text(table))
        return f"curves saved: {file}, {len(table.rows)} rows"
    from matplotlib.figure import Figure

    figure = Figure(figsize=(INCHES[0], 0.6 + INCHES[1] * max(1, len(names))))
    charts = Charts(figure, session.editor.model.every_measure, names)
    charts.paint(*session.colours)
    ghost, changed = session.ghost(), session.file_curves()
    charts.show(session.view.curves, changed, None if ghost is None else ghost.curves, session.bands())
    charts.legend(file=changed is not None, ghost=session.other.car.title if session.other else "")
    charts.cursor(session.view.now.drives[session.over], session.view.now.values)
    for artist in charts.moving:  # else they would be left for a cursor that moves
        artist.set_animated(False)
    save_figure(figure, file)
    return f"curves saved: {file}"
