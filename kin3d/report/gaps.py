"""What comes near to what, on a page: the place of the least gap as a picture, every pair in a folded table."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from kin3d.report import tables
from kin3d.report.markup import folded, listed, named
from kin3d.report.svg import framed, standing_svg
from kin3d.studies.clearance_result import Clearance
from kin3d.studies.report_data import AxlePart
from kin3d.writing.html import tag, text

COLUMNS = {"wide": None, "narrow": 1}  # views beside each other, by what the screen takes


def gaps(part: AxlePart) -> str:
    """Of every car that has solids; nothing where none has."""
    out = ""
    for k, (entry, car) in enumerate(zip(part.comparison.cars, part.cars, strict=True)):
        if car.gaps is not None:
            out += tag("p", named(k, entry.label, entry.title)) + _of(car.gaps, f"{part.axle}-gap-{entry.label}")
    return tag("h3", "What comes near to what") + out if out else ""


def _of(found: Clearance, key: str) -> str:
    pictures = ""
    if found.nearest() is not None:
        for kind, columns in COLUMNS.items():
            with TemporaryDirectory() as folder:
                place = Path(folder) / "gap.svg"
                found.picture(place, columns, titled=False)
                drawing = standing_svg(place.read_text("utf-8"), f"{key}-{kind}", found.summary())
            pictures += framed(drawing, class_=f"only-{kind}")
    said = tag("p", text(f"{found.summary()}."))
    every = "".join(tables.of_result(t) for t in found.tables()) + listed((text(n) for n in found.notes()), "note")
    return said + pictures + folded("Gaps of every pair", every)
