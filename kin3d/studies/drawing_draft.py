"""The draft of a drawing: what a person edits and hands back, written also where all of the drawing was refused.

Four files: what is said of views, units and scale (``.views.toml``); the name table with every place and text, the best
guess, how sure it is and why (``.names.csv``); a numbered picture; and a page on which places are named by clicking.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from kin3d.errors import Finding, RequestError
from kin3d.reading.dxf.declared import written
from kin3d.reading.dxf.wording import is_number, key_entry
from kin3d.studies.drawing_naming import naming_page
from kin3d.studies.drawing_places import Axes, SketchedView
from kin3d.studies.drawing_sketch import Sketch
from kin3d.writing.files import check_place, inert, with_sum, write_file
from kin3d.writing.style import figure_style, lay_out, save_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes as Plot

HEADER = ("label", "point", "number", "view", "guess", "confidence", "reason")
MOST_NUMBERED = 400
CLOSE = 11.0  # points of the picture between two numbers


def draft_files(drawing: Path, folder: Path) -> dict[str, Path]:
    """Return the files of a draft: views, names, picture, page."""
    ends = {"views": ".views.toml", "names": ".names.csv", "picture": ".places.png", "page": ".naming.html"}
    return {kind: folder / f"{drawing.stem}{ending}" for kind, ending in ends.items()}


def check_draft(drawing: Path, folder: Path) -> dict[str, Path]:
    """Make the folder and return the files of a draft; refuse before the work what could not be written.

    Raises
    ------
    RequestError
        The folder cannot be made, or a file in it is somebody's own by now.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        text = f"cannot be made: {error.strerror or error}"
        raise RequestError(Finding("not-written", text, str(folder))) from None
    files = draft_files(drawing, folder)
    findings: list[Finding] = []
    for path in files.values():
        try:
            check_place(path, (path.suffix,), "--draft")
        except RequestError as error:
            findings += error.findings
    if findings:
        raise RequestError(findings)
    return files


def write_draft(found: Sketch, files: dict[str, Path]) -> None:
    """Write the four files.

    Raises
    ------
    RequestError
        A file cannot be written.
    """
    write_file(files["views"], with_sum(views_text(found, files)))
    write_file(files["names"], with_sum(names_text(found)))
    _picture(found, files["picture"])
    write_file(files["page"], naming_page(found, files["names"].name, files["views"].name))


# --- views.toml ------------------------------------------------------------------------------------------------------


def views_text(found: Sketch, files: dict[str, Path]) -> str:
    """Return ``views.toml``: what was found stands there, what is unknown as a comment with question marks."""
    source = found.job.reading.source
    lines = [
        f"# Draft for {source.name}: mend what is wrong, fill in what is unknown (take the # away), then",
        f"# kin3d import {source.name} --views {files['views'].name} --names {files['names'].name} --out points.csv",
        "",
        _line("units", found.unit and f'"{found.unit}"', '"mm"', "as given or as drawn", "the drawing says none"),
    ]
    if any(f.code == "table-unconfirmed" for f in found.findings):
        lines.append('# source = "text table"          # take the # away if the table of texts holds the coordinates')
    if found.form == "space":
        axes = found.job.axes
        lines += [
            _line("axes", axes and f'"{axes}"', '"x forward, y left, z up"', "as given", "which way x, y, z run"),
            "# origin = [0, 0, 0]           # where the car's origin stands in the drawing, drawing units",
        ]
        return "\n".join(lines) + "\n"
    told = "a text or a dimension says so"
    lines += [
        _line("scale", found.scale and f'"{found.scale}"', '"1:?"', told, "sheet : car; no text or dimension says it"),
        '# side = "left"                # which corner, where both are drawn',
        "# [known]                      # the datum of views without an origin: a point whose place is known, mm",
        "# wheel_centre = [0, ?, ?]",
    ]
    for k, view in enumerate(found.views):
        lines += ["", *_view(found, view, [way[k] for way in found.ways])]
    return "\n".join(lines) + "\n"


def _line(key: str, value: str | None, example: str, told: str, unknown: str) -> str:
    if value:
        return f"{f'{key} = {value}':<30} # {told}"
    return f"{f'# {key} = {example}':<30} # unknown: {unknown}"


def _view(found: Sketch, view: SketchedView, ways: Sequence[Axes | None]) -> list[str]:
    numbers = [p.number for p in found.places if p.view == view.name]
    title = f', titled "{view.title}"' if view.title else ""
    lines = [
        f"[views.{view.name}]{'':<13} # {_counted(numbers)}{title}",
        f"region = [{', '.join(f'{c:g}' for c in view.box)}]",
    ]
    if view.axes is not None:
        lines.append(f"axes = {written(view.axes)}")
    else:
        guesses = list(dict.fromkeys(written(a) for a in ways if a is not None))
        lines += [f"# axes = {g}{'':<10} # {'a guess' if n == 0 else 'or'}" for n, g in enumerate(guesses)]
        if not guesses:
            lines.append('# axes = ["?", "?"]            # unknown: the car axes that run right and up on the sheet')
    if view.origin is not None:
        lines.append(f"origin = [{view.origin[0]:.6g}, {view.origin[1]:.6g}]")
    else:
        lines.append("# origin = [?, ?]              # unknown: where the car's origin stands on the sheet")
    return lines


# --- names.csv -------------------------------------------------------------------------------------------------------


def names_text(found: Sketch) -> str:
    """Return the name table: a row for every place, then one for every text; only what is sure has its point."""
    out = io.StringIO()
    out.write(
        "# Every place by its number in the picture, then every text. Write the point into the second column; rows\n"
        "# without a point say nothing. A guess is a proposal only.\n"
    )
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(HEADER)
    for p in found.places:
        point = p.guess if p.confidence == "sure" else ""
        rows.writerow([p.label, point, p.number, p.view, p.guess, p.confidence, inert(p.reason)])
    keys = {key for w in found.words if w.guess and (key := (key_entry(w.text.lines[0]) or [""])[0])}
    seen = keys | {view.title for view in found.views}
    for w in found.words:
        words = w.text.lines[0]
        if words not in seen and w.text.whole not in seen and w.confidence != "sure" and not _is_figure(words):
            entry = key_entry(words)  # a legend's key follows its meaning
            label = entry[1] if entry and entry[0] in keys else words
            rows.writerow([inert(label), "", "", "", w.guess, w.confidence, w.reason or "what it means is unknown"])
        seen |= {words, w.text.whole}
    return out.getvalue()


def _is_figure(words: str) -> bool:
    """Whether a text is a coordinate or a size, and no label such as 12."""
    return is_number(words) and not words.isdigit()


def _counted(numbers: Sequence[int]) -> str:
    """Return numbers as runs: "places 1 to 14, 44 to 59"."""
    runs: list[list[int]] = []
    for n in sorted(numbers):
        if runs and n == runs[-1][-1] + 1:
            runs[-1][-1] = n
        else:
            runs.append([n, n])
    return "places " + ", ".join(f"{a} to {b}" if b > a else f"{a}" for a, b in runs) if runs else "no places"


# --- the picture -----------------------------------------------------------------------------------------------------


def _picture(found: Sketch, path: Path) -> None:
    """Draw the drawing in grey with every place numbered; coloured by how sure its guess is, views in boxes."""
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    with mpl.rc_context(figure_style()):
        planes = [(0, 1)] if found.form == "sheet" else [(1, 2), (0, 2), (0, 1)]
        figure = Figure(figsize=(13.0, 9.5), layout="constrained")
        FigureCanvasAgg(figure)
        for k, plane in enumerate(planes):
            rows = 1 if len(planes) == 1 else 2
            _draw(figure.add_subplot(rows, rows, k + 1), found, plane)
        lay_out(figure)
        for plot, plane in zip(figure.axes, planes, strict=True):
            _number(plot, found, plane)
        figure.suptitle(
            f"{found.job.reading.source.name}: places by number; blue is sure, orange a guess, grey unnamed"
        )
        save_figure(figure, path)


COLOURS = {"sure": "#0072b2", "likely": "#d55e00", "guess": "#d55e00", "": "#5a6268"}


def _draw(plot: Plot, found: Sketch, plane: tuple[int, int]) -> None:
    from matplotlib.collections import LineCollection

    u, v = plane
    strokes = found.job.content.strokes[:20_000]
    lines = [((s.start[u], s.start[v]), (s.end[u], s.end[v])) for s in strokes]
    plot.add_collection(LineCollection(lines, colors="#c9d0d5", linewidths=0.6, zorder=1))
    for text in found.job.content.texts[:MOST_NUMBERED] if found.form == "sheet" else ():
        plot.annotate(
            text.lines[0][:40], (float(text.anchor[0]), float(text.anchor[1])), fontsize=4.5, color="#9aa3a9", zorder=1
        )
    places = np.array([p.mark.xyz for p in found.places]).reshape(-1, 3)
    plot.scatter(places[:, u], places[:, v], s=9, c=[COLOURS[p.confidence] for p in found.places], zorder=3)
    for view in found.views:
        left, bottom, right, top = view.box
        plot.plot([left, right, right, left, left], [bottom, bottom, top, top, bottom], color="#009e73", linewidth=0.9)
        plot.annotate(view.name, (left, top), (2, 3), textcoords="offset points", color="#009e73", weight="bold")
    plot.set_aspect("equal", adjustable="datalim")
    plot.margins(0.06)
    plot.grid(visible=False)
    plot.set(xlabel=f"{'xyz'[u]} of the drawing", ylabel=f"{'xyz'[v]} of the drawing")


def _number(plot: Plot, found: Sketch, plane: tuple[int, int]) -> None:
    """Write the numbers, once it is settled where the places come to stand in the picture."""
    u, v = plane
    places = np.array([p.mark.xyz for p in found.places]).reshape(-1, 3)
    for place, (x, y) in zip(found.places, _spread(plot.transData.transform(places[:, [u, v]])), strict=True):
        at = (place.mark.xyz[u], place.mark.xyz[v])
        plot.annotate(
            str(place.number), at, (x, y), textcoords="offset points", fontsize=6.5, color=COLOURS[place.confidence],
            ha="center", va="center", zorder=4, arrowprops={"arrowstyle": "-", "linewidth": 0.3, "color": "#9aa3a9"},
        )  # fmt: skip


def _spread(dots: np.ndarray) -> list[tuple[float, float]]:
    """Return for each dot a step (points) to where its number stands free of the numbers before it."""
    turns = np.radians(np.arange(40, 400, 45))
    rays = np.column_stack([np.cos(turns), np.sin(turns)])
    steps = np.vstack([far * rays for far in (CLOSE, 1.7 * CLOSE, 2.6 * CLOSE)])
    taken = np.zeros((len(dots), 2))
    out = []
    for k, dot in enumerate(dots):
        ends = dot + 1.4 * steps
        room = np.linalg.norm(ends[:, None] - taken[:k], axis=2).min(axis=1, initial=99.0)
        free = np.flatnonzero(room > 1.4 * CLOSE)
        best = int(free[0]) if len(free) else int(room.argmax())
        taken[k] = ends[best]
        out.append((float(steps[best, 0]), float(steps[best, 1])))
    return out
