"""Reading time against the number of entities: run ``python -m tests.speed.drawing`` from the repository's root."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

import numpy as np

from kin3d.reading.dxf import read_drawing
from tests.unit.drawn import draw_views, new, plan_of, save, three_views


def drawing(entities: int, path: Path) -> Path:
    """A three-view sheet buried in other people's lines, circles and notes, far enough away not to touch it."""
    rng = np.random.default_rng(4)
    doc = new()
    draw_views(doc, three_views())
    space = doc.modelspace()
    for k in range(entities - len(space)):
        x, y = rng.uniform(1200.0, 6000.0), rng.uniform(-3000.0, 3000.0)
        if k % 10 == 0:
            space.add_text(f"note {k}", height=2, dxfattribs={"insert": (x, y)})
        elif k % 10 == 1:
            space.add_circle((x, y), rng.uniform(0.5, 4.0))
        elif k % 10 == 2:
            space.add_lwpolyline([(x, y), (x + 3, y + 1), (x + 5, y - 2), (x, y)])
        else:
            space.add_line((x, y), (x + rng.uniform(-30, 30), y + rng.uniform(-30, 30)))
    return save(doc, path)


def main() -> None:
    """Print seconds, microseconds an entity, and points read, for growing drawings."""
    with tempfile.TemporaryDirectory() as folder:
        for entities in (1_000, 5_000, 10_000, 25_000, 50_000, 100_000):
            path = drawing(entities, Path(folder) / "d.dxf")
            start = time.perf_counter()
            reading = read_drawing(path, views=plan_of(three_views()))
            seconds = time.perf_counter() - start
            size = path.stat().st_size / 1e6
            figures = f"{seconds:6.2f} s  {1e6 * seconds / entities:6.0f} us/entity  {size:5.1f} MB"
            print(f"{entities:7d} entities  {figures}  {len(reading.points)} points")


if __name__ == "__main__":
    main()
