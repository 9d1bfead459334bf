"""A car file with every key that exists, read, written and read again, is the same car.

The keys come from the description of the car file itself: a new key is in this test by itself. What a value has to
agree with (points of the table, bodies, names of springs, files that are there) stands in `FITTING`.
"""

from __future__ import annotations

import typing
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

import kin3d
from kin3d.frames import parse_axes
from kin3d.linkage.car import Axle, PointTable
from kin3d.linkage.checking import record_of
from kin3d.linkage.expected import Expected, FileKey
from kin3d.linkage.keys import AxleFiles, AxleKeys, CarData, CarFile, LoadCase
from kin3d.linkage.record import NamedTable, Record, changed, keys_of, known_keys
from kin3d.reading.car_writing import write_car
from kin3d.reading.points import write_points_csv
from tests.laws.axles import CORNER
from tests.unit.test_reading_roundtrip import AXES

EXTRA = {"damper_outer": (-30, 240, 470), "damper_inner": (-250, 150, 460), "heave_end": (10, 240, 455)}
EXTRA |= {"roll_left": (12, 245, 450), "roll_right": (8, 235, 460)}
POINTS = {name: np.array(place, dtype=float) for name, place in (CORNER | EXTRA).items()}
TEXT = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=12)
ORIGIN = (100.0, -20.0, 0.5)
PHASES = (Phase.explicit, Phase.reuse, Phase.generate)  # a failing car of all keys is not worth shrinking
PROFILE_PAIR = st.tuples(st.floats(-200, 200), st.floats(0, 300)).map(list)
# values that have to agree with something else, by the key's table and name
FITTING: dict[str, st.SearchStrategy[Any]] = {
    "springs.points": st.just(["damper_outer", "damper_inner"]),
    "springs.bodies": st.just(["rocker", "chassis"]),
    "springs.name": TEXT.map(lambda t: f"1{t}"),
    "stops.name": TEXT.map(lambda t: f"2{t}"),
    "driveshaft.points": st.just(["spring_inner", "wheel_centre"]),
    "third.points": st.just(["heave_end"]),
    "roll_spring.points": st.just(["roll_left", "roll_right"]),
    "third.body": st.just("rocker"),
    "roll_spring.body": st.just("rocker"),
    "stops.on": st.sampled_from(["spring", "third", "roll_spring"]),
    "damper.on": st.sampled_from(["spring", "third", "roll_spring"]),
    "rod_part.diameter_mm": st.floats(10, 60),
    "rod_part.wall_mm": st.floats(0.1, 5),
    "links.name": st.sampled_from(["tie link"]),
    "links.diameter_mm": st.floats(10, 60),
    "links.wall_mm": st.floats(0.1, 5),
    "joints.name": st.sampled_from(["lower_outer", "tie_inner", "upper_outer"]),
    "solids": st.fixed_dictionaries(  # each has one form only; a section out of a drawing becomes a profile
        {
            "a leg, of two": st.fixed_dictionaries(
                {"points": st.just(["lower_front", "lower_outer"]), "diameter_mm": st.floats(1, 60)}
            ),
            "rim": st.fixed_dictionaries({"profile": st.lists(PROFILE_PAIR, min_size=2, max_size=4, unique_by=tuple)}),
            "tub": st.just({"mesh": "meshes.upright.stl", "body": "chassis", "units": "in"}),
        }
    ),
    "shared_error.points": st.lists(st.sampled_from(sorted(POINTS)), min_size=1, unique=True),
}


def bounded(expected: Expected) -> st.SearchStrategy[float]:
    """Numbers within the bounds that a description has."""
    low, high = max(-1e4, expected.ge, expected.gt), min(1e4, expected.le, expected.lt)
    return st.floats(low, high, exclude_min=True, exclude_max=True) if low < high else st.just(low)


def value_of(annotation: Any, field: FileKey, place: str, folder: Path) -> st.SearchStrategy[Any]:
    """Values of one key as the file has them."""
    if place in FITTING:
        return FITTING[place]
    inner = record_of(annotation)
    if inner is not None:
        table = tables(inner, place, folder)
        names = {"unique_by": lambda t: t.get("name", "")}
        many = st.lists(table, min_size=1, max_size=2, **names)
        if issubclass(inner, NamedTable):
            return many.map(lambda tables: {t.pop("name"): t for t in tables})
        return many if _is_list(annotation) else table
    options = [a for a in (typing.get_args(annotation) or (annotation,)) if a is not type(None)]
    if typing.get_origin(annotation) is typing.Literal:
        return st.sampled_from(options)
    if any(typing.get_origin(o) is typing.Literal for o in options):
        return st.sampled_from([v for o in options for v in typing.get_args(o)])
    flat = repr(annotation)
    if "pathlib" in flat:
        (folder / f"{place}.stl").touch()
        return st.just(f"{place}.stl")
    if "tuple[" in flat or "Tuple[" in flat:
        return st.lists(st.floats(0.01, 9), min_size=3, max_size=3)
    if "bool" in flat:
        return st.booleans()
    if "float" in flat:
        number = bounded(field.expected)
        return st.one_of(number, st.tuples(number, st.floats(0.0, 1e4)).map(list))
    assert "str" in flat, f"no values are known for {place}: {flat}"
    return TEXT


def _is_list(annotation: Any) -> bool:
    return "tuple[" in repr(annotation).lower()


def tables(model: type[Record], place: str, folder: Path) -> st.SearchStrategy[dict[str, Any]]:
    """A table with every key that its record has."""
    name = place.rpartition(".")[2]
    return st.fixed_dictionaries(
        {k: value_of(f.kind, f, f"{name}.{k}" if name else k, folder) for k, f in known_keys(model).items()}
    )


def toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + "".join(f"\\U{ord(c):08x}" for c in value) + '"'
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{toml(k)} = {toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(toml, value)) + "]"
    return repr(value)


def load_cases(every: dict[str, Any]) -> list[dict[str, Any]]:
    """Every key of a load case, in cases of which each may have its own."""
    kinds = (("braking_g", "lateral_g", "vertical_g"), ("driving_g",), ("axle", "side", "contact_n"))
    kinds += (("axle", "side", "contact_moment_n_m", "wheel"),)
    assert {k for kind in kinds for k in kind} | {"name"} == set(every)
    given = every | {"axle": "front"}
    return [{"name": f"case {n}"} | {k: given[k] for k in kind} for n, kind in enumerate(kinds)]


def deviations(table: Mapping[str, Any], place: str) -> dict[str, float]:
    """Standard deviations of a file's tables by dotted key; elements of a list by number where names may have dots."""
    out = {}
    for key, value in table.items():
        pair = isinstance(value, list) and len(value) == 2 and all(isinstance(v, float) for v in value)
        if pair:
            out[f"{place}.{key}"] = value[1]
        elif isinstance(value, Mapping):
            out |= deviations(value, f"{place}.{key}")
        elif isinstance(value, list) and all(isinstance(v, Mapping) for v in value):
            for number, element in enumerate(value, 1):
                name = element.get("name", "")
                word = name if name and "." not in name else number
                out |= deviations(element, f"{place}.{key}.{word}")
    return out


def point_file(folder: Path, name: str, mirror: float, units: str, axes: str) -> str:
    xyz = np.array(list(POINTS.values())) * [1.0, mirror, 1.0]
    rows = len(POINTS)
    table = PointTable(Path(name), tuple(POINTS), xyz, np.full((rows, 3), 0.5), ("",) * rows, ("by hand",) * rows)
    (folder / name).unlink(missing_ok=True)
    write_points_csv(table, folder / name, units=units, axes=axes, origin=ORIGIN)
    return name


def same(a: Axle, b: Axle) -> None:
    for one, two in ((a.points, b.points), (a.other_points, b.other_points)):
        assert one is not None
        assert two is not None
        assert (one.names, one.notes) == (two.names, two.notes)
        assert_allclose(two.xyz_mm, one.xyz_mm, rtol=0, atol=1e-9)
        assert_allclose(two.sigma_mm, one.sigma_mm, rtol=0, atol=1e-9)
    assert {k: (m.path.resolve(), m.to_mm) for k, m in a.mesh_files().items()} == {
        k: (m.path.resolve(), m.to_mm) for k, m in b.mesh_files().items()
    }
    bare = [[(s.mesh and s.mesh.resolve(), changed(s, mesh=None)) for s in axle.solids] for axle in (a, b)]
    assert bare[0] == bare[1]
    alike = {"points": a.points, "other_points": a.other_points, "meshes": a.meshes, "solids": a.solids}
    assert changed(b, **alike) == a
    assert b.linkage == a.linkage


@settings(max_examples=30, deadline=None, phases=PHASES, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data(), units=st.sampled_from(["mm", "cm", "m", "in", "ft"]), words=AXES, title=TEXT)
def test_every_key_comes_back(
    data: st.DataObject, units: str, words: tuple[str, ...], title: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("car")
    axes = ", ".join(f"{a} {w}" for a, w in zip("xyz", words, strict=True))
    front = data.draw(tables(AxleKeys, "", folder))
    files = {"units": units, "axes": axes, "side": "left", "layout": "double wishbone"}
    files["origin"] = list(ORIGIN)
    files["points"] = point_file(folder, "left.csv", 1.0, units, axes)
    files["other_points"] = point_file(folder, "right.csv", -1.0, units, axes)
    assert files.keys() == known_keys(AxleFiles).keys()
    whole = {"title": title, "car": data.draw(tables(CarData, "", folder)), "front": {**files, **front}}
    whole["front"]["rod_on"] = "lower arm"
    whole["cases"] = load_cases(data.draw(tables(LoadCase, "", folder)))
    assert whole.keys() | {"rear"} == known_keys(CarFile).keys()
    (folder / "car.toml").write_text("".join(f"{k} = {toml(v)}\n" for k, v in whole.items()), "utf-8")
    old = kin3d.load(folder / "car.toml")
    assert old.front is not None
    assert keys_of(old.front.keys()).keys() == front.keys()
    cases = deviations({"cases": whole["cases"]}, "").items()
    of_cases = {key.removeprefix("."): sigma for key, sigma in cases}
    assert old.sigmas == deviations(whole["car"], "car") | deviations(front, "front") | of_cases
    assert [keys_of(case).keys() for case in old.cases] == [case.keys() for case in whole["cases"]]
    (folder / "below").mkdir()
    files_written = write_car(old, folder / "below" / "new.toml", "a comment")
    assert [f.name for f in files_written] == ["new.toml", "new_front.csv", "new_front_other.csv"]
    new = kin3d.load(folder / "below" / "new.toml")
    assert new.front is not None
    assert (new.title, new.data, new.rear, new.cases) == (old.title, old.data, None, old.cases)
    assert new.sigmas == old.sigmas
    same(old.front, new.front)
    again = old.with_figures({"car": whole["car"], "title": title})
    assert (again.data, again.sigmas) == (old.data, old.sigmas)


def test_directions_are_in_the_axes_of_the_file(tmp_path: Path) -> None:
    axes = "x rearward, y right, z up"
    name = point_file(tmp_path, "p.csv", 1.0, "in", axes)
    keys = f'points = "{name}"\nunits = "in"\naxes = "{axes}"\nside = "left"\nlayout = "double wishbone"\n'
    keys += 'rod_on = "lower arm"\nrack_axis = [0, -3, 4]\n[front.third]\npoints = ["heave_end"]\nrate_n_per_mm = 9\n'
    keys += '[[front.springs]]\nname = "s"\npoints = ["damper_outer", "damper_inner"]\nbodies = ["rocker", "chassis"]\n'
    keys += 'rate_n_per_mm = 9\n[front.roll_spring]\npoints = ["roll_left", "roll_right"]\nrate_n_per_mm = 1\n'
    (tmp_path / "car.toml").write_text(f"[front]\n{keys}", "utf-8")
    old = kin3d.load(tmp_path / "car.toml")
    assert_allclose(old.axle("front").rack_axis, parse_axes(axes) @ [0.0, -0.6, 0.8], rtol=0, atol=1e-15)
    write_car(old, tmp_path / "new.toml")
    written = (tmp_path / "new.toml").read_text("utf-8")
    assert "rack_axis = [0.0, -0.6, 0.8]" in written
    assert f'axes = "{axes}"' in written


def test_comments_stay_with_their_keys(tmp_path: Path) -> None:
    name = point_file(tmp_path, "p.csv", 1.0, "mm", "x forward, y left, z up")
    (tmp_path / "car.toml").write_text(
        f'# head\n[front]\n# where\npoints = "{name}"  # measured\nunits = "mm"\naxes = "x forward, y left, z up"\n'
        'layout = "double wishbone"\nrod_on = "lower arm"\nside = "left"\n'
        '[front.third]\npoints = ["heave_end"]\nrate_n_per_mm = 9\n'
        '[front.roll_spring]\npoints = ["roll_left", "roll_right"]\nrate_n_per_mm = 1\n# of the damper\n'
        '[[front.springs]]\nname = "s # 1"\npoints = ["damper_outer", "damper_inner"]\n'
        'bodies = ["rocker", "chassis"]\nrate_n_per_mm = 9 # N/mm\n# end\n',
        "utf-8",
    )
    write_car(kin3d.load(tmp_path / "car.toml"), tmp_path / "new.toml")
    lines = (tmp_path / "new.toml").read_text("utf-8").splitlines()
    assert lines[lines.index("[front]") - 1] == "# head"
    assert lines[lines.index("# where") + 1] == 'points = "new_front.csv"  # measured'
    assert lines[lines.index("[[front.springs]]") - 1] == "# of the damper"
    assert next(x for x in lines if x.startswith("rate")) == "rate_n_per_mm = 9.0  # N/mm"
    assert 'name = "s # 1"' in lines
    assert lines[-1] == "# end"


def test_figures_that_are_changed_have_the_deviation_that_they_are_given() -> None:
    car = kin3d.load(Path(__file__).parents[2] / "models" / "dunlin" / "car.toml")
    both = car.with_figures({"car.cg_height_mm": [300.0, 12.0], "front.spring.rate_n_per_mm": (50, 2)})
    assert (both.data.cg_height_mm, both.axle("front").spring.rate_n_per_mm) == (300.0, 50.0)  # type: ignore[union-attr]
    assert both.sigmas == {"car.cg_height_mm": 12.0, "front.spring.rate_n_per_mm": 2.0}
    same_value = both.with_figures({"car.cg_height_mm": [300.0, 15.0], "front.camber_deg": [-2.5, 0.2]})
    expected = {"car.cg_height_mm": 15.0, "front.camber_deg": 0.2, "front.spring.rate_n_per_mm": 2.0}
    assert same_value.sigmas == expected
    assert same_value.with_points({"upper_front": [160.0, 270.0, 400.0]}).sigmas == expected
    assert same_value.with_figures({"car.cg_height_mm": 300.0}).sigmas.keys() == expected.keys() - {"car.cg_height_mm"}
    assert not car.sigmas
