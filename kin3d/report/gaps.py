"""What comes near to what, on a page: the place of the least gap as a picture, every pair in a folded table."""

from __future__ import annotations

from kin3d.report import tables
from kin3d.report.figures import BlankPanel
from kin3d.report.markup import folded, listed, named
from kin3d.report.svg import framed
from kin3d.studies.clearance_result import Clearance
from kin3d.studies.report_data import AxlePart
from kin3d.writing.html import prose, tag

VIEW, MARGINS = (3.72, 3.6), (0.66, 0.2, 0.5, 0.24)  # size of a view and room about its panel, inches


def gaps(part: AxlePart) -> str:
    """Of every car that has solids; nothing where none has."""
    out = ""
    for k, (entry, car) in enumerate(zip(part.comparison.cars, part.cars, strict=True)):
        if car.gaps is not None:
            out += tag("p", named(k, entry.label, entry.title)) + _of(car.gaps, f"{part.axle}-gap-{entry.label}")
    return tag("h3", "What comes near to what") + out if out else ""


def _of(found: Clearance, key: str) -> str:
    pictures, panel = "", BlankPanel(VIEW, MARGINS)
    for k, (name, draw) in enumerate(found.views().items()):
        pictures += framed(panel.drawn(f"{key}-{k}", f"{found.summary()}; {name}", draw))
    said = tag("p", prose(f"{found.summary()}."))
    every = "".join(tables.of_result(t) for t in found.tables()) + listed((prose(n) for n in found.notes()), "note")
    return said + tag("div", pictures, class_="views") + folded("Gaps of every pair", every)
