"""Every picture that the commands make, at two sizes, to be looked at one by one.

``python -m tests.by_hand.all_pictures FOLDER [PART ...]``: where parts are given, only pictures whose names hold one.
``NAME.svg`` is what the command wrote; ``wide/NAME.png`` shows it 1200 px wide, ``phone/NAME.png`` 390 px.
The window's states are made by ``tests.by_hand.window_states``.
"""

from __future__ import annotations

import contextlib
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from tests import everything
from tests.by_hand.screenshots import shoot
from tests.cli.run import run
from tests.kinds import demo_car

MODELS = Path(__file__).parents[2] / "models"
SIZES = {"wide": 1200, "phone": 390}
PAGE = """<!DOCTYPE html><body style="margin:0;background:#fff">
<img src="{source}" style="display:block;width:{width}px"></body>"""
AGAINST = '\n[[want]]\nmeasure = "roll_centre_height_mm"\nvalue = 35\nwithin = 6\n'  # so that there is a trade-off


def cars(folder: Path) -> dict[str, str]:
    """Places of the cars' files: demo cars, photographed ones, a five-link car, and cars of layouts made for it."""
    out = {n: str(MODELS / n / "car.toml") for n in ("dunlin", "plover", "siskin")}
    out |= {f"{n} photos": str(MODELS / n / "photos" / "car.toml") for n in ("dunlin", "plover")}
    for short, kind in (("strut", "strut with a arm"), ("live", "live axle with panhard rod")):
        demo_car(folder / short, kind)
        out[short] = str(folder / short / "car.toml")
    run("new", str(folder / "new"))
    out["new"] = str(folder / "new" / "car.toml")
    text = (MODELS / "dunlin" / "targets.toml").read_text("utf-8")
    before, keep, after = text.partition("[keep]")
    (folder / "targets.toml").write_text(before + AGAINST + keep + after, "utf-8")
    return out


def pictures(car: dict[str, str], targets: str) -> Iterator[tuple[str, list[str], str]]:
    """Name of each picture, the command without its place, and the option that takes the place."""
    d, p = car["dunlin"], car["plover"]
    few = ["--samples", "500"]
    for axle in ("front", "rear"):
        yield f"compare_figure_{axle}", ["compare", d, p, "--axle", axle, "--travel=0", *few], "--figure"
        yield f"compare_plot_{axle}", ["compare", d, p, "--axle", axle, "--travel=-40:40:5", *few], "--plot"
        yield f"compare_causes_{axle}", ["compare", d, p, "--axle", axle, "--travel=0", *few], "--causes"
    yield "compare_figure_back", ["compare", p, d, "--travel=0", *few], "--figure"
    yield "compare_figure_exact", ["compare", d, car["siskin"], "--travel=0", "--samples", "0"], "--figure"
    photos, rear = [car["dunlin photos"], car["plover photos"]], ["--axle", "rear", "--travel=0", *few]
    yield "compare_figure_photos", ["compare", *photos, "--travel=0", *few], "--figure"
    yield "compare_figure_live", ["compare", car["live"], car["live"], "--sigma", "1", *rear], "--figure"
    yield "compare_figure_strut", ["compare", car["strut"], car["live"], *rear], "--figure"
    yield "compare_plot_roll", ["compare", d, p, "--roll=-3:3:0.5", *few], "--plot"
    yield "compare_causes_roll", ["compare", d, p, "--roll=2", *few], "--causes"
    yield "compare_plot_heave", ["compare", d, p, "--heave=-30:30:10", *few], "--plot"
    yield "compare_plot_lateral", ["compare", d, p, "--lateral=0:1.5:0.25", "--samples", "0"], "--plot"
    yield "compare_causes_lateral", ["compare", d, p, "--lateral=1", "--samples", "0"], "--causes"
    yield "compare_three", ["compare", d, p, car["siskin"], "--travel=-30:30:10", *few], "--plot"
    ones = {"dunlin": "front", "plover": "rear", "siskin": "front", "strut": "rear", "live": "rear"}
    for name, axle in ones.items():
        of = [car[name], "--axle", axle]
        yield f"sweep_plot_{name}", ["sweep", *of], "--plot"
        yield f"draw_front_{name}", ["draw", *of, "--view", "front"], "--out"
        yield f"draw_side_{name}", ["draw", *of, "--view", "side"], "--out"
        yield f"tolerance_plot_{name}", ["tolerance", *of, "--sigma", "1", "--travel=-30:30:10", *few], "--plot"
        yield f"sensitivity_plot_{name}", ["sensitivity", *of], "--plot"
        yield f"migration_roll_{name}", ["sweep", *of, "--roll=-2:2:0.5", "--heave=-10:10:10"], "--migration"
    yield "sweep_heave_plover", ["sweep", p, "--heave=-40:40:5"], "--plot"
    yield "sweep_roll_dunlin", ["sweep", d, "--roll=-3:3:0.5"], "--plot"
    yield "sweep_pitch_dunlin", ["sweep", d, "--pitch=-1:1:0.25"], "--plot"
    yield "sweep_racks_dunlin", ["sweep", d, "--rack=-20:20:5"], "--plot"
    yield "sweep_two_plover", ["sweep", p, "--travel=-30:30:1", "--measures", "camber_deg,motion_ratio"], "--plot"
    yield "migration_heave_plover", ["sweep", p, "--heave=-40:40:5"], "--migration"
    yield "migration_heave_dunlin", ["sweep", d, "--heave=-40:40:5"], "--migration"
    yield "draw_roll_heave_dunlin", ["draw", d, "--roll", "3", "--heave", "20"], "--out"
    yield "draw_roll_heave_plover", ["draw", p, "--axle", "rear", "--roll=-3", "--heave=-20"], "--out"
    yield "draw_pitch_dunlin", ["draw", d, "--view", "side", "--pitch", "0.5"], "--out"
    yield "draw_photo_front", ["draw", photos[1], "--photo", "front", "--ghost", photos[0], "--crop"], "--out"
    yield "draw_photo_quarter", ["draw", photos[1], "--photo", "quarter"], "--out"
    yield "draw_photo_plain", ["draw", photos[1], "--photo", "quarter", "--plain"], "--out"
    for name in ("dunlin", "plover"):
        for axle in ("front", "rear"):
            yield f"rates_{name}_{axle}", ["rates", car[name], "--axle", axle], "--plot"
            kind = "pull" if name == "dunlin" else "push"
            yield f"swap_{name}_{axle}", ["swap", car[name], "--axle", axle, "--to", kind], "--plot"
    yield "rates_live", ["rates", car["live"], "--axle", "rear"], "--plot"
    yield "forces_plot_dunlin", ["forces", d, "--cases", "kerb", "--travel=-20:20:5"], "--plot"
    yield "forces_bodies_dunlin", ["forces", d, "--axle", "front", "--cases", "kerb"], "--bodies"
    yield "forces_bodies_new", ["forces", car["new"], "--axle", "rear"], "--bodies"
    yield "forces_plot_new", ["forces", car["new"], "--travel=-20:20:5"], "--plot"
    yield "tune_plot", ["tune", d, str(MODELS / "dunlin" / "targets.toml")], "--plot"
    yield "tune_too_much", ["tune", d, str(MODELS / "dunlin" / "too_much.toml")], "--plot"
    yield "tune_curve", ["tune", d, targets, "--trade", "1,4"], "--curve"
    yield "tolerance_roll", ["tolerance", d, "--roll=-2:2:0.5", *few], "--plot"
    forces = "force_kerb_tie_link_n,force_kerb_lower_front_x_n"
    yield "tolerance_forces", ["tolerance", d, "--measures", forces, *few], "--plot"
    yield "sensitivity_help", ["sensitivity", d, "--measures", "camber_deg,roll_centre_height_mm"], "--plot"
    yield "sensitivity_roll", ["sensitivity", d, "--roll", "2"], "--plot"
    for kind in ("double wishbone", "twist beam", "live axle with Watt linkage", "relay steering", "one spring across"):
        yield f"layout_{kind.replace(' ', '_')}", ["layouts", kind], "--plot"
    for name in ("dunlin", "plover"):
        yield f"locate_{name}", ["locate", str(MODELS / name / "photos" / "front.photos.toml")], "--plot"
    yield "import_sheet", ["import", str(MODELS / "plover" / "front.dxf")], "--plot"


def main(folder: Path, parts: list[str]) -> None:
    """Write all pictures."""
    browser = everything.browser()
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as made:
        known = cars(Path(made))
        for name, words, option in pictures(known, str(Path(made) / "targets.toml")):
            if parts and not any(p in name for p in parts):
                continue
            place, start = folder / f"{name}.svg", time.process_time()
            code, out, err = run(*words, option, str(place), "--force")
            said = "" if code == 0 else f"  exit code {code}: {(err or out).strip()[:400]}"
            print(f"{name}: {time.process_time() - start:.1f} s{said}", flush=True)
            if place.is_file():
                for size, width in SIZES.items():
                    into = folder / size / f"{name}.png"
                    shoot(browser, PAGE.format(source=place.as_uri(), width=width), into, width)


if __name__ == "__main__":
    with contextlib.suppress(BrokenPipeError):
        main(Path(sys.argv[1]), sys.argv[2:])
