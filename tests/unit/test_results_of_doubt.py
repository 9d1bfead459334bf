"""What tolerance, sensitivity and comparison say of themselves: short texts, tables, tidy records, files."""

from __future__ import annotations

import csv
import json
import re
from functools import cache
from html import escape

import pytest
from numpy.testing import assert_allclose

from kin3d.errors import RequestError
from kin3d.studies.compare import compare
from kin3d.studies.sensitivity import sensitivity
from kin3d.studies.tolerance import tolerance
from kin3d.writing.html import html_table
from tests.laws.cars import car

TRAVEL = [-20.0, 0.0, 20.0]
NAMES = ["camber_deg", "roll_centre_height_mm"]
# the columns of the CSV files, which people's own programs read
COLUMNS = {
    "bands": "measure unit travel_mm value sigma_first_order low_68_first_order high_68_first_order low_95_first_order "
    "high_95_first_order mean_samples sigma_samples low_68_samples high_68_samples low_95_samples high_95_samples "
    "samples samples_failed",
    "shares": "measure unit travel_mm source axis shared sigma sigma_unit change_per_sigma share_pct",
    "sensitivities": "measure unit point axis change_per_mm change_of_rate_per_mm",
    "differences": "car_a car_b measure unit figure a b difference sigma_a sigma_b sigma_difference "
    "half_width level chance_if_none verdict",
    "parts": "car_a car_b measure unit figure travel_mm cause axis group moved_mm part",
}


@cache
def results():
    return {
        "tolerance": tolerance(car("dunlin"), "front", TRAVEL, NAMES, samples=200),
        "sensitivity": sensitivity(car("dunlin"), "front", NAMES),
        "compare": compare([car("dunlin"), car("plover")], "front", TRAVEL, NAMES, samples=0),
    }


def test_they_are_short_in_a_console():
    for kind, result in results().items():
        assert repr(result).startswith(f"<{kind}: ")
        assert len(repr(result)) < 250
        assert "Dunlin" in repr(result)
    assert len(repr(results()["compare"].pairs)) < 250


def test_records_have_the_columns_that_files_have_always_had():
    found = {t.key: " ".join(c.name for c in t.columns) for r in results().values() for t in r.records()}
    assert found == COLUMNS
    assert [r.records()[0].key for r in results().values()] == ["bands", "sensitivities", "differences"]


def test_a_table_is_saved_by_its_key(tmp_path):
    found = results()["compare"]
    count = found.save(tmp_path / "parts.csv", "parts")
    with (tmp_path / "parts.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == count
    parts = [float(r["part"]) for r in rows if r["figure"] == "design" and r["measure"] == NAMES[1]]
    assert_allclose(sum(parts), found.pairs[0].difference(NAMES[1], "design").difference, rtol=1e-9)
    with pytest.raises(RequestError, match="there are: differences, parts"):
        found.save(tmp_path / "x.csv", "lines")


@pytest.mark.parametrize("kind", ["tolerance", "sensitivity", "compare"])
def test_json_and_labelled_arrays_hold_everything(kind, tmp_path):
    found = results()[kind]
    found.save(tmp_path / "r.json")
    content = json.loads((tmp_path / "r.json").read_text("utf-8"))
    assert content["kind"] == kind
    for table in found.records():
        assert len(content["tables"][table.key]["rows"]) == len(table.rows)
    assert list(found.dataset().measure.values) == NAMES


def test_measures_that_a_result_does_not_have_are_named():
    for result in results().values():
        with pytest.raises(RequestError, match=r'no "toe_deg"; it has: camber_deg, roll_centre_height_mm'):
            result.tables(["toe_deg"])
        shown = " ".join(c for t in result.tables(["camber_deg"]) for row in t.shown() for c in row)
        assert "camber_deg" in shown
        assert "roll_centre_height_mm" not in shown


def test_a_figure_that_a_comparison_does_not_have_is_refused(tmp_path):
    with pytest.raises(RequestError, match="there are: curves, causes"):
        results()["compare"].plot(tmp_path / "x.png", figure="bars")


def test_a_page_shows_the_same_figures_as_the_terminal():
    """Every cell of every table stands in its HTML, markup taken away."""
    for result in results().values():
        for table in result.tables():
            words = re.sub(r"<br>", " ", html_table(table))
            words = re.sub(r"<[^>]+>", "", words)
            for row in table.shown():
                for cell in row:
                    assert escape(cell.strip()) in words, table.key
