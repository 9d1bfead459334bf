"""Every file of tests/files/drawings: right with what the user must supply, refused (or right) without any of it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kin3d.errors import ReadingError, Severity
from kin3d.reading.dxf import read_drawing
from tests.unit.drawings import FOLDER, TRUTHS, load, supplied, wants, wrong

CODES = {  # must_refuse, must_warn: the finding that says so when the file is read with nothing supplied
    "ez01": "unit-missing", "ez02": "datum-missing", "ez03": "datum-missing", "ez08": "label-twice",
    "ez09": "unit-odd", "ez12": "names-missing", "ez13": "table-unconfirmed", "ez16": "datum-missing",
    "ez18": "hidden-ignored", "ez21": "file-truncated", "fc04": "names-missing", "fc06": "names-missing",
    "gd01": "unit-odd", "ik01": "names-missing", "lc01": "dimension-style", "lc02": "drawing-flat",
    "mk01": "view-axes", "ps01": "view-axes", "wr01": "unit-missing",
}  # fmt: skip


@pytest.fixture(params=TRUTHS, ids=lambda p: p.name[:4])
def truth(request: pytest.FixtureRequest) -> dict[str, Any]:
    return load(request.param)


def _bare(truth: dict[str, Any]) -> tuple[dict[str, Any], list[Any]]:
    try:
        reading = read_drawing(truth["path"])
    except ReadingError as err:
        return {}, list(err.findings)
    return reading.points, reading.findings


def test_all_points_are_right_with_what_the_user_supplies(truth: dict[str, Any], tmp_path: Path) -> None:
    if truth["file"].startswith("ez21"):
        with pytest.raises(ReadingError, match="truncated"):
            read_drawing(truth["path"])
        return
    reading = read_drawing(truth["path"], **supplied(truth, tmp_path))
    assert wrong(truth, reading.points) == {}
    if truth["kind"] == "plan_only":
        assert reading.points == {}
        assert set(reading.partial) == set(truth["points"])
    else:
        expected = {n for n in truth["points"] if n not in truth["unreadable"]}
        assert set(reading.points) == expected


def test_nothing_wrong_without_it(truth: dict[str, Any]) -> None:
    points, findings = _bare(truth)
    assert wrong(truth, points) == {}
    if truth["user_must_supply"]:
        assert points == {}
        assert any(f.severity is Severity.ERROR for f in findings)


def test_the_cause_is_named(truth: dict[str, Any]) -> None:
    _, findings = _bare(truth)
    code = CODES.get(truth["file"][:4])
    assert code is None or code in {f.code for f in findings}
    for finding in findings:
        assert truth["file"] in finding.place


@pytest.mark.parametrize("truth_file", [t for t in TRUTHS if load(t)["views"]], ids=lambda p: p.name[:4])
@pytest.mark.parametrize("leave_out", ["origin", "axes", "names", "units", "scale"])
def test_leaving_out_one_thing_never_gives_a_wrong_point(truth_file: Path, leave_out: str, tmp_path: Path) -> None:
    truth = load(truth_file)
    give = supplied(truth, tmp_path)
    if leave_out in ("origin", "axes"):
        for view in give["views"]["views"].values():
            del view[leave_out]
    elif leave_out == "scale":
        give["views"].pop("scale", None)
    else:
        give.pop(leave_out, None)
    try:
        reading = read_drawing(truth["path"], **give)
    except ReadingError:
        return
    assert wrong(truth, reading.points) == {}


@pytest.mark.parametrize("truth_file", [t for t in TRUTHS if len(load(t)["views"]) == 3], ids=lambda p: p.name[:4])
def test_one_known_point_serves_as_the_datum_of_all_views(truth_file: Path, tmp_path: Path) -> None:
    truth = load(truth_file)
    give = supplied(truth, tmp_path)
    for view in give["views"]["views"].values():
        del view["origin"]
    give["views"]["known"] = {"upper_front": truth["points"]["upper_front"]["xyz_mm"]}
    reading = read_drawing(truth["path"], **give)
    assert len(reading.points) == len(truth["points"])
    assert wrong(truth, reading.points) == {}


def test_conflict_names_views_and_both_values_and_can_be_accepted(tmp_path: Path) -> None:
    truth = load(FOLDER / "ez16_r2004_two_views_z_conflict.truth.json")
    give = supplied(truth, tmp_path)
    refused = read_drawing(truth["path"], **give)
    text = next(f.text for f in refused.findings if f.code == "views-disagree")
    for part in ("z of upper_outer", '387.000 in view "side"', '385.000 in view "front"', "2.000 mm apart"):
        assert part in text
    np.testing.assert_allclose(refused.partial["upper_outer"].xyz_mm[:2], [-8.0, 668.0], rtol=0.0, atol=1e-9)
    assert np.isnan(refused.partial["upper_outer"].xyz_mm[2])
    taken = read_drawing(truth["path"], accept_spread=True, **give)
    np.testing.assert_allclose(taken.points["upper_outer"].xyz_mm, [-8.0, 668.0, 386.0], rtol=0.0, atol=1e-9)
    assert taken.points["upper_outer"].sigma_mm[2] >= 1.0
    assert "views-disagree" in {f.code for f in taken.findings if f.severity is Severity.WARNING}


def test_repair_reads_what_is_left_of_a_cut_file() -> None:
    truth = load(FOLDER / "ez21_truncated.truth.json")
    reading = read_drawing(truth["path"], units="mm", repair=True)
    assert set(reading.points) == set(truth["points"]) - {"spring_inner"}
    assert wrong(truth, reading.points) == {}
    codes = {f.code for f in reading.findings}
    assert {"file-truncated", "marks-unnamed", "unit-contradiction"} <= codes


def test_must_warn_of_gaps_between_links(tmp_path: Path) -> None:
    truth = load(FOLDER / "ez12_r2000_lines_named_layers_gaps.truth.json")
    assert wants(truth, "inboard")
    give = supplied(truth, tmp_path)
    reading = read_drawing(truth["path"], **give)
    texts = [f.text for f in reading.findings if f.code == "joint-gap"]
    assert any("lower_outer" in t and "0.308 mm" in t for t in texts)
    assert any("upper_outer" in t and "0.491 mm" in t for t in texts)
    # the point stands in the middle of the gap: its ends are half of it off
    assert reading.points["lower_outer"].sigma_mm == pytest.approx([0.308 / 2.0] * 3, rel=0, abs=5e-4)
    refused = read_drawing(truth["path"], tolerance_mm=0.3, **give)
    assert {"lower_outer", "upper_outer"} <= set(refused.partial)
