"""The job from `load` to `report` as in a notebook, by the face alone; and what the face shows of itself."""

from __future__ import annotations

import importlib
import inspect
import json
import pkgutil
import typing
from pathlib import Path

import numpy as np
import pytest
import xarray
from numpy.testing import assert_allclose

import kin3d
from kin3d.cli import COMMANDS
from tests.readme import ROOT

MODELS = ROOT / "models"
FACE = [
    "Finding", "Kin3dError", "__version__", "check", "clearance", "compare", "compliance", "draw", "export", "forces",
    "import_bores", "import_drawing", "layouts", "load", "locate", "mark", "measures", "rates", "report", "sensitivity",
    "settle", "swap", "sweep", "tolerance", "tune", "view",
]  # fmt: skip
FUNCTIONS = [n for n in FACE if n[0].islower()]
TRAVEL = [-20.0, 0.0, 20.0]
KERB = {"name": "kerb", "axle": "front", "side": "left", "contact_n": [-500.0, 0.0, 6000.0]}
HEADS = {".png": b"\x89PNG", ".svg": b"<?xml", ".pdf": b"%PDF"}


@pytest.fixture(scope="module")
def car():
    return kin3d.load(MODELS / "dunlin" / "car.toml")


@pytest.fixture(scope="module")
def results(car):
    """One result of every function that gives one."""
    other = kin3d.load(MODELS / "plover" / "car.toml")
    few = ["camber_deg", "roll_centre_height_mm"]
    return {
        "check": kin3d.check(car, "front"),
        "sweep": kin3d.sweep(car, "front", TRAVEL, [-5.0, 5.0]),
        "tolerance": kin3d.tolerance(car, travel=TRAVEL, measures=few, samples=100),
        "sensitivity": kin3d.sensitivity(car, measures=few, travel=5.0),
        "compare": kin3d.compare([car, other], travel=TRAVEL, measures=few, samples=100),
        "rates": kin3d.rates(car, "front", TRAVEL),
        "settle": kin3d.settle(car, braking=1.0, lateral=0.5),
        "swap": kin3d.swap(car, "front", "pull", starts=1),
        "tune": kin3d.tune(car, MODELS / "dunlin" / "targets.toml"),
        "draw": kin3d.draw(car, "front", roll=1.0),
        "forces": kin3d.forces(car.with_figures({"cases": [KERB]}), TRAVEL),
        "compliance": kin3d.compliance(car, TRAVEL, axle="front"),
        "clearance": kin3d.clearance(car, TRAVEL, [-20.0, 20.0]),
        "export": kin3d.export(car, "front", [-30.0, 0.0]),
        "import": kin3d.import_drawing(MODELS / "plover" / "front.dxf"),
        "report": kin3d.report([car, other], "front", TRAVEL, samples=100, scene=False),
        "measures": kin3d.measures("front"),
        "layouts": kin3d.layouts("twist beam"),
    }


ARRAYS = ("sweep", "tolerance", "sensitivity", "compare", "rates", "forces")
PICTURES = (
    "sweep", "tolerance", "sensitivity", "compare", "rates", "swap", "draw", "import", "forces", "layouts", "tune",
    "clearance",
)  # fmt: skip
RESULTS = [
    "check", "sweep", "tolerance", "sensitivity", "compare", "rates", "settle", "swap", "draw", "export", "import",
    "report", "measures", "forces", "compliance", "layouts", "tune", "clearance",
]  # fmt: skip


def test_dir_shows_the_face_and_nothing_else(results):
    assert results
    assert sorted(dir(kin3d)) == sorted(FACE) == sorted(kin3d.__all__)


def test_folders_do_not_take_the_place_of_functions(results):
    folders = {m.name for m in pkgutil.iter_modules(kin3d.__path__)}
    assert {"measures", "report"} <= folders
    for name in ("kin3d.measures.corner", "kin3d.report.page"):
        importlib.import_module(name)
    assert inspect.isfunction(kin3d.measures)
    assert inspect.isfunction(kin3d.report)


def test_an_unknown_word_is_refused():
    with pytest.raises(AttributeError, match="module 'kin3d' has no attribute 'sweeep'"):
        kin3d.sweeep  # noqa: B018


def test_every_command_has_its_function():
    of_files = {"new", "guide"}  # they write and print what comes with the program
    commands = {"import_drawing" if c[0] == "import" else c[0] for c in COMMANDS} - of_files
    assert commands <= set(FUNCTIONS)
    # `kin3d forces --compliance` and `kin3d import PART --near` have functions of their own
    assert set(FUNCTIONS) - commands == {"load", "compliance", "import_bores"}


@pytest.mark.parametrize("name", FUNCTIONS)
def test_every_function_is_documented_and_typed(name):
    function = getattr(kin3d, name)
    text = inspect.getdoc(function) or ""
    assert "Parameters\n----------" in text
    assert "Returns\n-------" in text
    assert "Raises\n------" in text or name == "measures"
    signature = inspect.signature(function)
    assert signature.return_annotation is not inspect.Signature.empty
    for parameter in signature.parameters.values():
        assert parameter.annotation is not inspect.Parameter.empty, parameter
        assert any(parameter.name in line.split(":")[0] for line in text.splitlines()), parameter


def test_types_of_the_face_are_those_of_its_functions():
    """What a type checker sees (the imports for types) is what a program gets."""
    source = Path(inspect.getsourcefile(kin3d)).read_text("utf-8")
    seen: dict[str, typing.Any] = {}
    block = source.split("if TYPE_CHECKING:\n")[1].split("\n\n")[0]
    exec(inspect.cleandoc(block), seen)
    for name in FUNCTIONS:
        assert seen[name] is getattr(kin3d, name), name


@pytest.mark.parametrize("name", RESULTS)
def test_a_result_shows_itself(name, results):
    result = results[name]
    assert len(repr(result)) < 300
    assert repr(result).startswith(f"<{name}: ")
    page = result._repr_html_()
    assert page.count("<table") <= 1
    assert "<script" not in page
    tables = result.tables()
    assert tables
    assert all(len(row) == len(t.columns) for t in (*tables, *result.records()) for row in t.rows)
    assert all(isinstance(note, str) for note in result.notes())


def test_the_car_shows_itself_in_a_line(car):
    assert len(repr(car)) < 300


@pytest.mark.parametrize("name", RESULTS)
def test_a_result_is_saved_to_all_endings(name, results, tmp_path):
    result = results[name]
    assert result.save(tmp_path / "r.csv") > 0
    header, *rows = (tmp_path / "r.csv").read_text("utf-8-sig").splitlines()
    assert "," in header
    assert rows
    result.save(tmp_path / "r.json")
    content = json.loads((tmp_path / "r.json").read_text("utf-8"))
    assert set(content["tables"]) == {t.key for t in result.records()}
    if name in ARRAYS:
        result.save(tmp_path / "r.nc")
        with xarray.open_dataset(tmp_path / "r.nc", engine="scipy") as read:
            assert set(read.data_vars) == set(result.dataset().data_vars)
    else:
        with pytest.raises(kin3d.Kin3dError, match=r"not an array|not known"):
            result.save(tmp_path / "r.nc")
    with pytest.raises(kin3d.Kin3dError, match=r'ending "\.xyz" is not known'):
        result.save(tmp_path / "r.xyz")


@pytest.mark.parametrize("name", RESULTS)
def test_a_result_is_drawn(name, results, tmp_path):
    for ending, head in HEADS.items():
        place = tmp_path / f"p{ending}"
        if name in PICTURES:
            results[name].plot(place)
            assert place.read_bytes().startswith(head)
        else:
            with pytest.raises(kin3d.Kin3dError, match="has no picture"):
                results[name].plot(place)


def test_the_job_from_load_to_report(car, results, tmp_path):
    curves = results["sweep"].dataset()
    assert dict(curves.sizes) == {"travel_mm": 3, "rack_mm": 2, "side": 2}
    assert curves.camber_deg.attrs["units"] == "deg"
    design = kin3d.sweep(car).dataset().camber_deg
    assert_allclose(design.values.ravel(), -2.5, rtol=0, atol=1e-9)  # [front] camber_deg of the car file
    rolled = kin3d.sweep(car, roll=[-1.0, 1.0], measures="roll_centre_offset_mm").dataset().roll_centre_offset_mm
    left, right = rolled.isel(side=0).values.ravel()
    assert_allclose(left, -right, rtol=1e-9, atol=1e-9)  # the car is symmetric
    lower = car.with_points({"upper_front": car.front.points["upper_front"] + np.array([0.0, 0.0, -5.0])})
    moved = kin3d.compare([car, lower], travel=[0.0], measures=["anti_dive_pct"], samples=0)
    assert "upper_front" in moved.tables()[0].shown()[0]
    page = tmp_path / "report.html"
    results["report"].save(page)
    text = page.read_text("utf-8")
    assert "Dunlin, last season" in text
    assert "https://" not in text
    assert "src=\"http" not in text


def test_a_drawing_goes_out_and_comes_back(results, car, tmp_path):
    results["export"].save(tmp_path / "front.dxf")
    back = kin3d.import_drawing(tmp_path / "front.dxf", axes="x forward, y left, z up")
    table = back.table()
    for name in ("lower_outer", "upper_outer", "wheel_centre"):
        assert_allclose(table[name], car.front.points[name], rtol=0, atol=1e-6)


def test_a_picture_without_a_window(car, tmp_path):
    with pytest.raises(kin3d.Kin3dError, match=r'ending "\.bmp"'):
        kin3d.view(car, screenshot=tmp_path / "v.bmp")
