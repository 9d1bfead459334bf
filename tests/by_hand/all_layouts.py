"""Every built-in layout through every command: what each says, to be read.

``python -m tests.by_hand.all_layouts FOLDER [LAYOUT ...]`` makes two cars of each layout: one axle alone as
``kin3d new`` writes it, and a whole car with load cases, elastic joints and a double wishbone at the other end, on
which the commands run. Prints a line a run: ok, or the code and what was said; writes all that was said and every file
to FOLDER.
"""

from __future__ import annotations

import os
import sys
import time
import traceback
from collections.abc import Iterator
from pathlib import Path

from kin3d.linkage.layout import Layout
from kin3d.linkage.layout_file import builtin, builtin_names, plain
from kin3d.linkage.names import AxleName
from tests.cli.run import run

# not moved by itself: what slides on a line would leave it
LEFT = ("point", "wheel_centre", "wheel_axis", "bush", "bush_line_inner", "bush_line_outer")
OTHER: dict[str, AxleName] = {"front": "rear", "rear": "front"}


def whole_car(folder: Path, name: str, layout: Layout) -> tuple[Path, AxleName]:
    """A car file with that layout at one end and the new car's axle at the other, and at which end it is."""
    code, _, said = run("new", str(folder), "--layout", name, "--quiet")
    assert code == 0, said
    run("new", str(folder / "plain"), "--quiet")
    text = (folder / "car.toml").read_text("utf-8")
    if not layout.demo:
        return folder / "car.toml", "front"
    axle: AxleName = "front" if "[front]" in text else "rear"
    more = (folder / "plain" / "car.toml").read_text("utf-8")
    start, end = ("[front]\n", "[rear]") if axle == "rear" else ("[rear]  ", "[[cases]]")
    other = more[more.index(start) : more.index(end)].replace(f"{OTHER[axle]}.csv", f"plain/{OTHER[axle]}.csv")
    for rate, force in ((38, 980), (41, 1330)):
        other = other.replace(f"rate_n_per_mm = {rate}", "rate_n_per_mm = 90").replace(
            f"design_force_n = {force}", "# "
        )
    other = other[: other.index(f"[{OTHER[axle]}.damper]")]
    text = text.replace("design_force_n = 2600\n", "\n").partition("[[cases]]")[0]
    cases = (
        '[[cases]]\nname = "cornering"\nlateral_g = 0.4\n[[cases]]\nname = "braking"\nbraking_g = 0.5\n'
        f'[[cases]]\nname = "kerb"\naxle = "{axle}"\nside = "left"\ncontact_n = [-1500, -800, 4500]\n'
    )
    links = [b for b, points in layout.bodies.items() if len(points) == 2 and b not in ("chassis", layout.wheel_body)]
    moving = [p for b, points in layout.bodies.items() if b != "chassis" for p in points]
    # where bodies are joined: a chassis point of a moving body, or one that two moving bodies share
    joint = next(p for p in moving if p in layout.bodies["chassis"] or moving.count(p) > 1 or p == "shear_mid")
    parts = f"[{axle}.joints.{joint}]\nradial_n = 18000\naxis = [0, 1, 0]\naxial_n = 5000\n"
    parts += "radial_n_per_mm = 5000\naxial_n_per_mm = 1000\n"
    if name == "one spring across":  # what holds the rocker in roll
        stack = 'name = "roll stack"\npoints = ["mono_1", "mono_axle_1"]\nrate_n_per_mm = 300\ndesign_force_n = 0\n'
        parts += f"[[{axle}.springs]]\n{stack}"
    if links:
        tube = "diameter_mm = 20\nwall_mm = 2\nmodulus_n_per_mm2 = 205000\nyield_n_per_mm2 = 460\n"
        parts += f'[{axle}.links."{links[0]}"]\n{tube}'
    path = folder / "whole.toml"
    path.write_text("\n".join([text, parts, other, cases]), "utf-8")
    return path, axle


def moved(folder: Path, car: Path, axle: AxleName) -> Path:
    """The same car with a point of the layout's table 5 mm higher."""
    lines = (folder / f"{axle}.csv").read_text("utf-8").splitlines()
    row = next(i for i, y in enumerate(lines) if y.split(",")[0] not in LEFT and y[0] != "#")
    cells = lines[row].split(",")
    cells[3] = f"{float(cells[3]) + 5.0:g}"
    lines[row] = ",".join(cells)
    (folder / "moved.csv").write_text("\n".join([*lines, ""]), "utf-8")
    text = car.read_text("utf-8").replace(f'points = "{axle}.csv"', 'points = "moved.csv"')
    path = folder / "moved.toml"
    path.write_text(text.replace('title = "My car"', 'title = "Moved"'), "utf-8")
    return path


def commands(name: str, folder: Path) -> Iterator[tuple[str, ...]]:
    """Command lines for one layout."""
    layout = builtin(plain(name))
    whole, axle = whole_car(folder, name, layout)
    other, alone = str(moved(folder, whole, axle)), str(folder / "car.toml")
    out, car, at = folder / "out", str(whole), ("--axle", axle)
    out.mkdir()
    targets = folder / "targets.toml"
    point = next(p for p in layout.demo or ("lower_front",) if p not in LEFT)
    targets.write_text(
        f'axle = "{axle}"\n[move]\n"{point}.z" = 20\n[[want]]\nmeasure = "camber_deg"\nat = {{ travel_mm = 20 }}\n'
        "value = -1.2\nwithin = 0.5\n",
        "utf-8",
    )
    yield ("layouts", name, "--plot", str(out / "layout.png"))
    yield ("check", alone)
    yield ("check", car)
    yield (
        "sweep",
        car,
        *at,
        "--plot",
        str(out / "sweep.png"),
        "--dxf",
        str(out / "sweep.dxf"),
        "--out",
        str(out / "s.csv"),
    )
    yield ("sweep", car, *at, "--roll=-2:2:1", "--migration", str(out / "migration.png"))
    yield ("sweep", car, *at, "--pitch=-1:1:1")
    yield ("sweep", car, *at, "--heave=-20:20:20", "--roll=1")
    for d in layout.drives:
        yield ("sweep", car, *at, "--drive", f"{d.name}=-5:5:5")
    if layout.rack:
        yield ("sweep", car, *at, "--rack=-20:20:10", "--travel=-20:20:20")
    yield ("rates", car, *at, "--plot", str(out / "rates.png"))
    yield ("settle", car, "--lateral", "0.3", "--braking", "0.3")
    yield ("settle", car, "--lateral", "0.3", "--compliance")
    yield (
        "forces",
        car,
        *at,
        "--plot",
        str(out / "forces.png"),
        "--bodies",
        str(out / "bodies.png"),
        "--cases",
        "kerb",
        "--travel=-20:20:10",
    )
    yield ("forces", car, *at, "--cases", "cornering,braking")
    yield ("forces", car, *at, "--compliance")
    yield ("compare", car, other, *at, "--samples", "300", "--plot", str(out / "compare.png"))
    yield ("compare", car, other, *at, "--samples", "300", "--roll=-1:1:1")
    yield ("compare", car, other, *at, "--lateral", "0:0.3:0.1")
    yield ("tolerance", car, *at, "--samples", "300", "--plot", str(out / "tolerance.png"))
    yield ("tolerance", car, *at, "--samples", "300", "--roll=-1:1:1")
    yield ("tolerance", car, *at, "--samples", "100", "--lateral", "0.2")
    yield ("sensitivity", car, *at, "--plot", str(out / "sensitivity.png"))
    yield ("sensitivity", car, *at, "--roll", "1")
    yield ("sensitivity", car, *at, "--lateral", "0.2")
    yield ("swap", car, *at, "--to", "pull")
    yield ("swap", car, *at, "--to", "push")
    yield ("tune", car, str(targets), "--out", str(out / "tuned.toml"))
    yield ("export", car, *at, "--out", str(out / "axle.dxf"))
    yield ("draw", car, *at, "--out", str(out / "front.png"))
    yield ("draw", car, *at, "--view", "side", "--out", str(out / "side.png"))
    yield ("view", car, *at, "--screenshot", str(out / "view.png"))
    yield ("view", car, *at, "--scene", str(out / "view.glb"))
    yield ("report", car, "--samples", "200", "--no-scene", "--out", str(out / "report.html"))
    yield ("report", car, other, *at, "--samples", "200", "--out", str(out / "both.html"))
    yield ("import", str(out / "axle.dxf"), "--out", str(out / "read.csv"))


def main() -> None:
    """Run them all."""
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    folder, names = Path(sys.argv[1]), sys.argv[2:] or builtin_names()
    for name in names:
        here = folder / name.replace(" ", "_")
        for line in commands(name, here):
            begun = time.process_time()
            try:
                code, out, err = run(*line)
            except Exception:  # noqa: BLE001 - what is looked for
                code, out, err = 99, "", traceback.format_exc()
            with (here / "said.txt").open("a", encoding="utf-8") as said:
                said.write(f"\n$ kin3d {' '.join(line)}\n[{code}]\n{out}\n{err}\n")
            words = [w.replace(str(here), "") for w in line if w not in (name,)]
            text = "ok" if code == 0 else f"CODE {code}: {' | '.join(err.strip().splitlines()[-4:])}"
            print(f"{name} × {' '.join(words)} ({time.process_time() - begun:.1f} s): {text}", flush=True)


if __name__ == "__main__":
    main()
