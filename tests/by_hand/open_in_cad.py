"""Open what `kin3d export` writes in a CAD program that knows nothing of it, and make pictures to look at.

    python -m tests.by_hand.open_in_cad FOLDER [--version R2010]

Writes a drawing of every demo axle, lets LibreCAD print it (Debian: librecad, poppler-utils), and fails when a
print is not there, is nearly empty or has few colours. That it is legible, a person must see.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
from pathlib import Path

from kin3d.studies.export import export
from kin3d.writing.drawing_dxf import VERSIONS
from tests.laws.cars import CORNERS, car

PAPER_MM = "841x594"
PROGRAMS = ("librecad", "pdftoppm")


def printed(drawing: Path) -> Path:
    """Let LibreCAD read a drawing and print it; the picture of the print."""
    quiet = os.environ | {"QT_QPA_PLATFORM": "offscreen", "XDG_RUNTIME_DIR": str(drawing.parent)}
    command = ["librecad", "dxf2pdf", "-a", "-p", PAPER_MM, "-r", "300", drawing.name]
    subprocess.run(command, cwd=drawing.parent, env=quiet, check=True, capture_output=True, timeout=120)
    page = drawing.with_suffix(".pdf")
    subprocess.run(["pdftoppm", "-r", "150", "-png", "-singlefile", page, page.with_suffix("")], check=True)
    return page.with_suffix(".png")


def inked(picture: Path) -> tuple[float, int]:
    """Share of the picture that is not white, and how many colours it has."""
    from matplotlib.image import imread

    pixels = imread(picture)[..., :3]
    dark = (pixels < 0.8).any(axis=-1)
    return float(dark.mean()), len({tuple(p) for p in pixels[dark].round(1).tolist()})


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--version", choices=VERSIONS, default="R2010")
    given = parser.parse_args()
    missing = [p for p in PROGRAMS if shutil.which(p) is None]
    if missing:
        print(f"not there: {', '.join(missing)}; on Debian: apt-get install librecad poppler-utils")
        return 2
    given.folder.mkdir(parents=True, exist_ok=True)
    wrong = 0
    for name, axle in CORNERS:
        drawing = given.folder.resolve() / f"{name}_{axle}_{given.version}.dxf"
        export(car(name), axle, (-30.0, 0.0, 30.0)).save(drawing, version=given.version)
        picture = printed(drawing)
        share, colours = inked(picture)
        good = share > 0.005 and colours >= 5
        wrong += not good
        print(f"{'ok   ' if good else 'WRONG'} {picture}: {100.0 * share:.2f} % inked, {colours} colours")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
