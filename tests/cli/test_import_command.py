"""``kin3d import`` as a person runs it: table, file, picture, findings, exit codes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import typer
from typer.testing import CliRunner

from kin3d.cli.habits import with_habits
from kin3d.cli.import_ import import_drawing
from kin3d.errors import ReadingError
from kin3d.reading.points import read_points_csv
from tests.unit.drawings import FOLDER
from tests.unit.drawn import POINTS, draw_views, new, plan_of, save, three_views

APP = typer.Typer()
APP.command()(with_habits(import_drawing))
RUN = CliRunner(env={"COLUMNS": "200"})


def _toml(plan: dict[str, dict[str, dict[str, object]]]) -> str:
    lines = []
    for name, view in plan["views"].items():
        axes = ", ".join(f'"{a}"' for a in view["axes"])  # type: ignore[attr-defined]
        lines += [f"[views.{name}]", f"axes = [{axes}]", f"origin = {view['origin']}", f'scale = "{view["scale"]}"']
    return "\n".join(lines) + "\n"


def test_a_sheet_becomes_a_table_and_a_picture(tmp_path: Path) -> None:
    views = three_views()
    doc = new()
    draw_views(doc, views)
    drawing = save(doc, tmp_path / "sheet.dxf")
    (tmp_path / "sheet.views.toml").write_text(_toml(plan_of(views)), "utf-8")
    out, picture = tmp_path / "p.csv", tmp_path / "p.png"
    result = RUN.invoke(APP, [str(drawing), "--out", str(out), "--plot", str(picture)])
    assert result.exit_code == 0, result.output
    for word in ("lower_front", "view front:", "by leader", "CIRCLE", "layer POINTS"):
        assert word in result.output
    table = read_points_csv(out, units="mm", axes="x forward, y left, z up")
    for name, xyz in POINTS.items():
        np.testing.assert_allclose(table[name], xyz, rtol=0.0, atol=1e-6)
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert picture.stat().st_size > 20_000


def test_refused_points_give_exit_code_1_and_no_file_unless_asked(tmp_path: Path) -> None:
    drawing = FOLDER / "ez16_r2004_two_views_z_conflict.dxf"
    plan = tmp_path / "v.toml"
    plan.write_text(
        '[views.side]\naxes = ["-x", "z"]\norigin = [1600, 300]\n'
        '[views.front]\naxes = ["y", "z"]\norigin = [200, 300]\n',
        "utf-8",
    )
    out = tmp_path / "p.csv"
    result = RUN.invoke(APP, [str(drawing), "--views", str(plan), "--out", str(out)])
    assert result.exit_code == 1
    assert "contradict each other on z of upper_outer" in result.output
    assert not out.exists()
    result = RUN.invoke(APP, [str(drawing), "--views", str(plan), "--out", str(out), "--partial"])
    assert result.exit_code == 1
    assert len(read_points_csv(out, units="mm", axes="x forward, y left, z up").names) == 14
    out = tmp_path / "q.csv"  # the first was read above, and is not written onto
    result = RUN.invoke(APP, [str(drawing), "--views", str(plan), "--out", str(out), "--accept-spread"])
    assert result.exit_code == 0
    assert len(read_points_csv(out, units="mm", axes="x forward, y left, z up").names) == 15


def test_nothing_readable_is_an_error_with_the_cause() -> None:
    with pytest.raises(ReadingError, match="units"):
        RUN.invoke(APP, [str(FOLDER / "ez01_r12_3d_point_text_upper_spaces.dxf")], catch_exceptions=False)


@pytest.mark.parametrize("ending", ["svg", "pdf"])
def test_pictures_of_drawings_in_space(tmp_path: Path, ending: str) -> None:
    picture = tmp_path / f"p.{ending}"
    result = RUN.invoke(APP, [str(FOLDER / "ez06_r2000_ocs_extrusion.dxf"), "--plot", str(picture)])
    assert result.exit_code == 0
    assert picture.stat().st_size > 5_000
    if ending == "svg":
        assert "lower_front" in picture.read_text("utf-8")
