"""A user's own layout files with every sort of mistake: each with the text that it must give."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

import kin3d
from kin3d.errors import AssemblyError, Kin3dError, LayoutError
from kin3d.linkage.layout_file import builtin, parse
from kin3d.linkage.resolve import resolve
from kin3d.solve.kernel import Kernel
from kin3d.solve.model import AxleModel
from tests.car_files import write_car
from tests.unit.corners import PLAIN, POINTS, WISHBONES, double_wishbone

MODELS = Path(__file__).parents[2] / "models"


def made(bodies=None, *, parts=(), sliders=(), rack=("tie_inner",), **wheel):
    data = {
        "name": "own",
        "bodies": WISHBONES if bodies is None else bodies,
        "rack": {"points": list(rack)},
        "wheel": {"body": "upright"} | wheel,
        "sliders": list(sliders),
        "parts": [{"name": "p", "points": ["x"]} | p for p in parts],
    }
    return parse(data, "own.toml")


WITHOUT_TIE = {b: p for b, p in WISHBONES.items() if b != "tie link"}
ROCKER = {"bodies": {"rod": ["ro", "ri"], "rocker": ["ra", "rb", "ri"]}}
FAULTS = [
    (lambda: made(body="uprigth"), '[wheel]: body "uprigth" is not one of the bodies; did you mean "upright"?'),
    (lambda: made(body="chassis"), "[wheel]: the wheel's body is the chassis, which does not move; name the upright"),
    (lambda: made(body=""), "[wheel]: key \"body\" must be a text, found ''"),
    (
        lambda: made(WISHBONES | {"chassis": [*WISHBONES["chassis"], "wheel_centre"]}),
        "[wheel]: wheel_centre is on the chassis, which holds it; take it out there",
    ),
    (
        lambda: made(steering_axis=["lower_oter", "upper_outer"]),
        'own.toml, [wheel]: point "lower_oter" is not on any body; did you mean "lower_outer"?',
    ),
    (
        lambda: made(steering_axis=["lower_front", "upper_front"]),
        "steering_axis lower_front, upper_front is held by the chassis; name the lower and the upper joint",
    ),
    (
        lambda: made(steering_axis=["upper_outer", "upper_outer"]),
        '[wheel] steering_axis: point "upper_outer" stands twice in one list; different points are expected',
    ),
    (lambda: made(rack=["tie_iner"]), '[rack]: point "tie_iner" is on no body, so that it moves nothing'),
    (lambda: made(rack=["lower_front"]), '[rack]: point "lower_front" is on the chassis and moves with the rack'),
    (
        lambda: made(WITHOUT_TIE | {"tie link": ["tie_inner", "tie_inner"]}),
        '[bodies] "tie link": point "tie_inner" stands twice in one list',
    ),
    (
        lambda: made(WITHOUT_TIE | {"tie link": ["tie_inner", ""]}),
        "expected a list of point names, found ['tie_inner', '']",
    ),
    (
        lambda: made(sliders=[{"point": "nix", "line": ["lower_front", "lower_rear"]}]),
        '[[sliders]]: point "nix" is not on any body; there are: lower_front',
    ),
    (
        lambda: made(sliders=[{"point": "tie_outer", "line": ["tie_outer", "lower_rear"]}]),
        'point "tie_outer" slides on a line through itself; two other points are expected',
    ),
    (lambda: made(sliders=[{"point": "tie_outer"}]), "line: expected a list of 2 point names, it is missing"),
    (
        lambda: made(parts=[{"key": "rod_on", "choices": ["upper arn"], "attach": ["ro"]}]),
        '[[parts]] "p" choices: body "upper arn" is not one of the bodies; did you mean "upper arm"?',
    ),
    (lambda: made(parts=[{"points": []}]), '"p": has neither key nor points, so that it would never be there'),
    (lambda: made(parts=[{"needs": "rod"}]), 'needs = "rod" is not the key of a part; there are: none'),
    (
        lambda: made(parts=[ROCKER | {"rocker": {"body": "roker", "axis": ["ra", "rb"], "rod": ["ro", "ri"]}}]),
        '[[parts]] "p" rocker: body "roker" is not one of the bodies; did you mean "rocker"?',
    ),
    (
        lambda: made(parts=[ROCKER | {"rocker": {"body": "rocker", "axis": ["ra", "rc"], "rod": ["ro", "ri"]}}]),
        'point "rc" is not on body "rocker"; there are: ra, rb, ri',
    ),
    (
        lambda: made(parts=[ROCKER | {"rocker": {"body": "rocker", "axis": ["ra", "rb"], "rod": ["tie_outer", "ri"]}}]),
        "no body joins tie_outer and ri; a rod with these two points is expected",
    ),
    (
        lambda: made(parts=[ROCKER | {"spring": {"points": ["ro", "ro"]}}]),
        'point "ro" stands twice in one list',
    ),
    (
        lambda: made(parts=[{"bar": {"form": "u", "body": "arm", "axis": ["ra", "rb"], "link": ["c", "d"]}}]),
        '[[parts]] "p" bar: body "arm" is not one of the bodies',
    ),
]


@pytest.mark.parametrize(("make", "text"), FAULTS, ids=[t[:48] for _, t in FAULTS])
def test_a_fault_of_a_layout_is_said_in_words(make, text):
    with pytest.raises(LayoutError) as caught:
        make()
    assert text in str(caught.value)
    assert all(f.place.startswith("own.toml") for f in caught.value.findings)


def test_all_faults_come_at_once():
    with pytest.raises(LayoutError) as caught:
        made(rack=["tie_iner"], body="uprigth", parts=[{"needs": "rod"}])
    assert [f.code for f in caught.value.findings] == ["body-unknown", "rack-loose", "key-unknown"]


def test_point_names_of_a_layout_may_be_written_as_in_tables():
    written = {b: [p.replace("_", " ").title() for p in points] for b, points in WISHBONES.items()}
    assert made(written, rack=["Tie-Inner"]) == made()


def own(folder: Path, layout: str = "", car: str = "") -> Path:
    """Siskin with lines added to its layout file, and to [front] of its car file."""
    for file in ("car.toml", "five_link.toml", "front.csv"):
        shutil.copy(MODELS / "siskin" / file, folder / file)
    for file, text in (("five_link.toml", layout), ("car.toml", car)):
        with (folder / file).open("a", encoding="utf-8") as target:
            target.write(text)
    return folder / "car.toml"


@pytest.mark.parametrize(
    ("content", "text"),
    [
        (b"", "five_link.toml: is empty; a layout with [bodies] and [wheel] is expected"),
        (b"name = [" + b"[" * 3000, "five_link.toml: is nested too deeply to be read"),
        ("name = 1".encode("utf-16"), "five_link.toml: is not UTF-8 text but UTF-16 text; save it as UTF-8"),
        (b'a = 1\nname = five\n', "five_link.toml, line 2: 'name = five' is not valid TOML"),
    ],
)
def test_a_file_that_is_no_layout(tmp_path, content, text):
    car = own(tmp_path)
    (tmp_path / "five_link.toml").write_bytes(content)
    with pytest.raises(Kin3dError) as caught:
        kin3d.load(car)
    assert text in str(caught.value)


def test_a_layout_key_that_every_car_file_has(tmp_path):
    car = own(tmp_path, '[[parts]]\nname = "p"\nkey = "side"\n')
    with pytest.raises(Kin3dError) as caught:
        kin3d.load(car)
    text = 'five_link.toml: [[parts]] "p": key "side" is a key of every car file; take another name'
    assert text in str(caught.value)


def test_keys_that_exclude_each_other_are_told_by_key(tmp_path):
    with pytest.raises(Kin3dError) as caught:
        kin3d.load(write_car(tmp_path, POINTS, rod_on="lower arm", spring_on="upright"))
    assert "car.toml, [front]: spring_on and rod_on are both given; one of the two is expected" in str(caught.value)


def test_points_of_the_bar_without_a_rod_are_told_what_they_wait_for():
    with pytest.raises(LayoutError) as caught:
        resolve(builtin("double wishbone"), [*PLAIN, "bar_axis_1"], {})
    text = 'point "bar_axis_1" belongs to anti-roll bar, which is there only when the car file has rod_on'
    assert text in str(caught.value)


def test_a_rack_that_the_layout_does_not_have_cannot_be_driven(tmp_path):
    car = own(tmp_path)
    text = (tmp_path / "five_link.toml").read_text("utf-8").replace('[rack]\npoints = ["tie_inner"]\n', "")
    (tmp_path / "five_link.toml").write_text(text.replace("chassis = [", 'chassis = ["tie_inner", '), "utf-8")
    assert np.isfinite(kin3d.sweep(kin3d.load(car), travel=[0.0, 10.0]).dataset().camber_deg.values).all()
    with pytest.raises(Kin3dError, match="has no points on a rack, so that no rack can be driven; leave it at 0"):
        kin3d.sweep(kin3d.load(car), travel=0.0, rack=[0.0, 5.0]).dataset()


def test_a_spring_without_length():
    short = double_wishbone("lower arm", spring_inner=POINTS["spring_outer"])
    with pytest.raises(LayoutError, match='"spring_outer" and "spring_inner" of the spring are at the same place'):
        Kernel(*short)


@pytest.mark.parametrize(
    ("moved", "kind", "text"),
    [
        ({"lower_front": POINTS["lower_rear"]}, LayoutError, '"lower_front" and "lower_rear" of body "lower arm"'),
        (
            {"lower_outer": tuple(np.add(POINTS["lower_front"], POINTS["lower_rear"]) / 2)},
            AssemblyError,
            "the design position is a dead centre",
        ),
    ],
)
def test_faults_of_the_other_side_name_its_file(tmp_path, moved, kind, text):
    mirrored = {n: (x, -y, z) for n, (x, y, z) in (POINTS | moved).items()}
    car = write_car(tmp_path, POINTS, rod_on="lower arm", other_points="right.csv")
    rows = [f"{n},{x},{y},{z}" for n, (x, y, z) in mirrored.items()]
    (tmp_path / "right.csv").write_text("\n".join(["point,x,y,z", *rows]), "utf-8")
    with pytest.raises(kind) as caught:
        AxleModel.of(kin3d.load(car), "front")
    assert text in str(caught.value)
    assert "right.csv, [front], layout double wishbone" in str(caught.value)


def test_a_wheel_axis_that_points_forward(tmp_path):
    with pytest.raises(Kin3dError, match="wheel_axis is more than 45° off the line straight outboard"):
        kin3d.load(write_car(tmp_path, POINTS | {"wheel_axis": (100, 760, 262)}, rod_on="lower arm"))
