"""Car files that are right: what they become, what is assumed and told; no text makes the reader crash."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kin3d.errors import Finding, Kin3dError, ReadingError, Severity
from kin3d.linkage.car import Axle, Car
from kin3d.linkage.keys import Bar, CarData, Spring, Torsion
from kin3d.reading.car import read_car

GOOD = Path(__file__).parents[1] / "files" / "good"
CAR = (GOOD / "car.toml").read_text("utf-8")
POINTS = (GOOD / "front.csv").read_text("utf-8")
LAYOUT = """
name = "one link"
[bodies]
chassis = ["a", "b"]
arm = ["a", "b", "c"]
[wheel]
body = "arm"
[[parts]]
name = "damper"
key = "damper_on"
choices = ["arm"]
attach = ["damper_outer"]
[parts.bodies]
chassis = ["damper_inner"]
damper = ["damper_inner", "damper_outer"]
"""


def read(folder: Path, car: str = CAR, **files: str) -> Car:
    (folder / "car.toml").write_text(car, "utf-8")
    for stem, text in ({"front": POINTS} | files).items():
        (folder / f"{stem}.{'toml' if stem == 'layout' else 'csv'}").write_text(text, "utf-8")
    return read_car(folder / "car.toml")


def changed(text: str, old: str, new: str) -> str:
    assert text.count(old) == 1
    return text.replace(old, new)


def front(car: Car) -> Axle:
    assert car.front is not None
    return car.front


def codes(findings: tuple[Finding, ...]) -> list[tuple[str, Severity]]:
    return [(f.code, f.severity) for f in findings]


def test_everything_in_the_file_arrives() -> None:
    car = read_car(GOOD / "car.toml")
    axle = front(car)
    assert (car.title, car.rear, car.findings) == ("Test corner", None, ())
    assert car.data == CarData(wheelbase_mm=2550.0, front_mass_share=0.44, brakes="outboard", drive="rear")
    assert (axle.name, axle.side, axle.layout.name) == ("front", "left", "double wishbone")
    assert (axle.rod_on, axle.layout_keys) == ("lower arm", {"rod_on": "lower arm"})
    assert (axle.loaded_radius_mm, axle.camber_deg, axle.toe_deg) == (262.0, -2.5, 0.1)
    assert axle.spring == Spring(rate_n_per_mm=120.0, design_force_n=1400.0)
    assert axle.torsion == Torsion(rate_n_m_per_deg=90.0, design_torque_n_m=10.0)
    assert axle.bar == Bar(rate_n_m_per_deg=60.0)
    assert axle.rack_axis == (0.0, 1.0, 0.0)
    assert len(axle.points.names) == 15
    assert axle.points["tie_inner"] == pytest.approx([90.0, 255.0, 165.0], rel=0, abs=0)
    assert axle.points.notes[2] == "ball joint, lower"


def test_the_rack_axis_is_turned_and_normalised(tmp_path: Path) -> None:
    text = changed(CAR, "x forward, y left, z up", "x rearward, y right, z up")
    text = changed(text, 'side = "left"', 'side = "right"\nrack_axis = [0, 3, 4]')
    axle = front(read(tmp_path, text))
    assert axle.rack_axis == pytest.approx((0.0, -0.6, 0.8), rel=0, abs=1e-15)
    assert axle.points["wheel_centre"] == pytest.approx([0.0, -760.0, 262.0], rel=0, abs=0)


def test_a_direction_is_turned_into_the_vehicle_frame_and_not_out_of_it(tmp_path: Path) -> None:
    """Axes in a circle: 3 up and 4 forward in the file are 4 along x and 3 along z."""
    text = changed(CAR, "x forward, y left, z up", "x left, y up, z forward")
    text = changed(text, 'side = "left"', 'side = "left"\nrack_axis = [0, 3, 4]')
    rows = [line.split(",") for line in POINTS.splitlines() if not line.startswith("#")]
    turned = [[r[0], r[2], r[3], r[1], *r[4:]] if r[0] != "point" else r for r in rows]
    axle = front(read(tmp_path, text, front="\n".join(",".join(r) for r in turned) + "\n"))
    assert axle.rack_axis == pytest.approx((0.8, 0.0, 0.6), rel=0, abs=1e-15)
    assert axle.points["wheel_centre"] == pytest.approx([0.0, 760.0, 262.0], rel=0, abs=0)


def test_a_wheel_axis_point_goes_before_static_angles(tmp_path: Path) -> None:
    car = read(tmp_path, front=POINTS + "Wheel Axis,0,800,260,0,\n")
    assert codes(car.findings) == [("angles-unused", Severity.WARNING)]
    assert car.findings[0].place.endswith("car.toml, [front] camber_deg, toe_deg")
    assert "row 18 gives wheel_axis, and that is used" in car.findings[0].text


def test_missing_static_angles_are_told(tmp_path: Path) -> None:
    car = read(tmp_path, changed(CAR, "toe_deg = 0.1\n", ""))
    assert codes(car.findings) == [("angle-assumed", Severity.NOTE)]
    assert car.findings[0].assumed == "toe_deg = 0"


def test_what_is_given_and_not_used_is_told(tmp_path: Path) -> None:
    car = changed(CAR, 'rod_on = "lower arm"\n', "")
    car = changed(car, 'drive = "rear"', 'drive = "rear"\nfront_drive_share = 0.4')
    rows = "\n".join(POINTS.splitlines()[:11]) + "\n"
    found = read(tmp_path, car, front=rows).findings
    assert [f.code for f in found] == ["spring-unused", "torsion-unused", "share-unused"]
    assert {f.severity for f in found} == {Severity.WARNING}


def test_the_other_side_may_have_points_of_its_own(tmp_path: Path) -> None:
    mirrored = changed(CAR, 'side = "left"', 'side = "left"\nother_points = "right.csv"')
    rows = [line.split(",", 3) for line in POINTS.splitlines()[2:]]
    right = "point,x,y,z,sigma,note\n" + "\n".join(f"{n},{x},-{y},{rest}" for n, x, y, rest in rows)
    axle = front(read(tmp_path, mirrored, right=right))
    assert axle.other_points is not None
    mirror = axle.points.xyz_mm * [1.0, -1.0, 1.0]
    np.testing.assert_allclose(axle.other_points.xyz_mm, mirror, rtol=0, atol=0)


def test_units_and_axes_of_the_file_do_not_matter(tmp_path: Path) -> None:
    text = changed(changed(CAR, '"mm"', '"in"'), "x forward, y left, z up", "x up, y forward, z left")
    rows = [line.split(",", 4) for line in POINTS.splitlines()[2:]]
    head = "point;x;y;z;sigma\n"
    turned = [(n, *(repr(float(v) / 25.4) for v in (z, x, y))) for n, x, y, z, _ in rows]
    table = head + "\n".join(";".join([*cells, "0,1"]).replace(".", ",") for cells in turned)
    axle = front(read(tmp_path, text, front=table))
    plain = front(read_car(GOOD / "car.toml"))
    np.testing.assert_allclose(axle.points.xyz_mm, plain.points.xyz_mm, rtol=0, atol=1e-9)


def test_both_axles_may_share_a_faulty_file_and_hear_of_it_once(tmp_path: Path) -> None:
    rear = CAR[CAR.index("[front]") :].replace("[front", "[rear")
    with pytest.raises(ReadingError) as caught:
        read(tmp_path, CAR + rear, front=POINTS.replace("lower_front,160", "lower_front,nan"))
    assert [f.code for f in caught.value.findings] == ["number-not-finite"]


def own_layout(car: str = "") -> str:
    axle = '[front]\npoints = "front.csv"\nunits = "m"\naxes = "x forward, y left, z up"\nside = "left"\n'
    return f'{axle}layout = "layout.toml"\ncamber_deg = 0\ntoe_deg = 0\n{car}'


ARM = "point,x,y,z\na,0,0.1,0\nb,0.3,0.1,0\nc,0.1,0.5,0\nwheel_centre,0,0.7,0\n"
DAMPER = "damper_outer,0,0.4,0\ndamper_inner,0,0.2,0.3\n"


def test_a_layout_file_brings_its_own_keys(tmp_path: Path) -> None:
    car = read(tmp_path, own_layout('damper_on = "arm"\n'), layout=LAYOUT, front=ARM + DAMPER)
    axle = front(car)
    assert (axle.layout.name, axle.rod_on, axle.layout_keys) == ("one link", None, {"damper_on": "arm"})
    assert car.findings == ()
    assert axle.points["wheel_centre"] == pytest.approx([0.0, 700.0, 0.0], rel=0, abs=1e-12)


def test_a_key_of_another_layout_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ReadingError) as caught:
        read(tmp_path, own_layout('damper_in = "arm"\nrod_on = "arm"\n'), layout=LAYOUT, front=ARM)
    assert [(f.code, f.text.split("; ")[1][:28]) for f in caught.value.findings] == [
        ("key-unknown", 'did you mean "damper_on"?'),
        ("key-unknown", "known here: points, other_po"),
    ]


def test_faults_of_layout_and_table_come_together(tmp_path: Path) -> None:
    with pytest.raises(ReadingError) as caught:
        read(tmp_path, own_layout(), layout=LAYOUT + "[whel]\n", front=ARM.replace("0.5", "x"))
    assert [f.code for f in caught.value.findings] == ["key-unknown", "number-text"]


def test_a_layout_file_of_wrong_types_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ReadingError) as caught:
        read(
            tmp_path,
            own_layout(),
            layout="parts = 3\nsliders = 4\n" + LAYOUT.partition("[[parts]]")[0],
            front=ARM,
        )
    assert [f.text for f in caught.value.findings] == [
        "expected tables headed [[sliders]], found 4",
        "expected tables headed [[parts]], found 3",
    ]


WORDS = st.sampled_from(
    [
        '""',
        "1",
        "-1e400",
        "nan",
        "true",
        "[]",
        "{}",
        "[[1]]",
        '"left"',
        '"x up"',
        "1979-05-27",
        '"\\u0000"',
        "'/'",
    ]
)


@given(line=st.integers(0, len(CAR.splitlines()) - 1), word=WORDS, drop=st.booleans())
def test_any_value_is_read_or_a_finding(
    line: int, word: str, drop: bool, tmp_path_factory: pytest.TempPathFactory
) -> None:
    lines = CAR.splitlines()
    key = lines[line].partition("=")[0]
    lines[line] = "" if drop else f"{key} = {word}"
    try:
        found = read(tmp_path_factory.getbasetemp(), "\n".join(lines)).findings
    except Kin3dError as err:
        found = err.findings
        assert found
    assert all(f.text and f.place for f in found)
