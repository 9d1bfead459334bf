"""Mistakes with photographs: each is told in a sentence that says where it is, and no figure comes out of it."""

from __future__ import annotations

import csv
import io

import pytest

import kin3d
from kin3d.errors import Kin3dError, Severity
from kin3d.photographs import refusal
from tests.photo_cars import photographed
from tests.photo_scenes import FRONT, LOW, QUARTER

SEED = 4


@pytest.fixture(scope="module")
def source(tmp_path_factory):
    folder = tmp_path_factory.mktemp("mistakes")
    photographed(folder, SEED, names=("dunlin",), shots=(FRONT, QUARTER, LOW))
    return folder


@pytest.fixture
def files(source, tmp_path):
    """A copy of the files to make mistakes in: the text of the photographs, and the rows of the marks."""
    for file in source.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    return tmp_path


def marks(folder):
    return list(csv.DictReader(io.StringIO((folder / "dunlin.marks.csv").read_text("utf-8"))))


def write(folder, rows):
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    (folder / "dunlin.marks.csv").write_text(out.getvalue(), "utf-8")


def refused(folder):
    with pytest.raises(Kin3dError) as caught:
        kin3d.load(folder / "dunlin.toml")
    return {f.code: f.text for f in caught.value.findings}


def replaced(folder, old, new, name="dunlin.photos.toml"):
    text = (folder / name).read_text("utf-8")
    assert old in text
    (folder / name).write_text(text.replace(old, new, 1), "utf-8")


def test_a_mark_outside_of_the_picture(files):
    rows = marks(files)
    rows[3]["u"] = "4400"
    write(files, rows)
    assert "outside of" in refused(files)["mark-outside"]


def test_a_name_that_is_unknown(files):
    rows = marks(files)
    name = next(r for r in rows if r["kind"] == "point")
    name["name"] = "uper_front"
    write(files, rows)
    assert "upper_front" in refused(files)["name-unknown"]


def test_too_few_marks_say_which_photograph_and_which_points(files):
    rows = [r for r in marks(files) if r["photo"] != "low" or r["kind"] == "contact"]
    write(files, [r for r in rows if "tie" not in r["name"]])
    found = refused(files)
    assert 'photograph "low" has too few marks' in found["marks-few"]
    assert "tie_inner, " in found["points-unmarked"] or "tie_outer" in found["points-unmarked"]


def test_a_picture_that_is_none(files):
    (files / "pit.jpg").write_text("no picture", "utf-8")
    replaced(files, 'name = "low"\n', 'name = "low"\nfile = "pit.jpg"\n')
    assert any("pit.jpg" in text for text in refused(files).values())


def test_marks_of_the_wrong_side(files):
    """All that is marked in one photograph is said to be of the other side."""
    rows = marks(files)
    for r in rows:
        if r["photo"] == "quarter":
            r["side"] = {"left": "right", "right": "left"}[r["side"]]
    write(files, rows)
    assert '"quarter"' in next(iter(refused(files).values()))


def test_a_mirror_image_among_the_photographs(files):
    rows = marks(files)
    for r in rows:
        if r["photo"] == "quarter":
            r["u"] = repr(4000.0 - float(r["u"]))
    write(files, rows)
    said = next(iter(refused(files).values()))
    assert "mirror image" in said
    assert '"quarter"' in said


def test_a_photograph_of_a_car_that_is_much_alike(files, tmp_path_factory):
    """The two cars' points are some 15 mm apart: few marks contradict the others, and yet it is told."""
    other = tmp_path_factory.mktemp("other")
    photographed(other, SEED + 1, names=("plover",), shots=(FRONT, QUARTER, LOW))
    text = (other / "plover.marks.csv").read_text("utf-8")
    theirs = [r for r in csv.DictReader(io.StringIO(text)) if r["photo"] == "low"]
    write(files, [r for r in marks(files) if r["photo"] != "low"] + theirs)
    found = refused(files)
    assert list(found) == ["photo-other-car"]
    assert 'photograph "low" shows another car than "front" and "quarter"' in found["photo-other-car"]


def test_travel_of_a_picture_that_its_marks_contradict(files):
    """One picture's file says that the car stands 40 mm lower than it does: figures go out, and a picture is doubtful.

    Which of two is wrong nothing tells: only how they differ is seen.
    """
    text = (files / "dunlin.photos.toml").read_text("utf-8")
    head, tail = text.split('name = "quarter"')
    for key in ("\ntravel_mm", "\nrear_travel_mm"):
        before, after = tail.split(key, 1)
        tail = f"{before}{key} = [40.0, 4.0]\n{after.split(chr(10), 1)[1]}"
    (files / "dunlin.photos.toml").write_text(f'{head}name = "quarter"{tail}', "utf-8")
    told = {f.code: f for f in kin3d.load(files / "dunlin.toml").findings}
    assert "is doubtful: its travel and rear travel contradict" in told["photo-doubtful"].text
    assert told["photo-doubtful"].severity is Severity.WARNING


def test_a_photograph_of_another_car(files):
    """Its arms are a quarter shorter, and its wheels larger."""
    rows = marks(files)
    for r in rows:
        if r["photo"] == "low" and r["kind"] in ("point", "leg"):
            r["u"] = repr(2000.0 + 0.75 * (float(r["u"]) - 2000.0))
    write(files, rows)
    found = refused(files)
    assert set(found) <= {"photo-misfit", "misfit"}
    assert '"low"' in next(iter(found.values()))


def test_a_wrong_known_length_is_left_out_and_named(files):
    """A rim that is 25 mm too small: the tyre's radius, the arms and the wheelbase say otherwise."""
    text = (files / "dunlin.photos.toml").read_text("utf-8")
    line = next(x for x in text.splitlines() if x.startswith("rim_diameter_mm"))
    replaced(files, line, "rim_diameter_mm = [330.0, 2.0]")
    told = [f for f in kin3d.load(files / "dunlin.toml").findings if f.code == "mark-wrong"]
    assert any("rim radius" in f.text and "rim_diameter_mm" in f.text for f in told)


@pytest.mark.parametrize(("bound", "count"), [(0.05, 0), (0.999, 1)])
def test_misses_that_right_marks_seldom_have_are_told(files, monkeypatch, bound, count):
    """Marks that say they are better than they are, with a chance between the two bounds."""
    monkeypatch.setattr(refusal, "SELDOM", bound)
    write(files, [r | {"sigma_px": "1.5", "note": str(bound)} for r in marks(files)])  # a file of its own
    located = kin3d.locate(files / "dunlin.photos.toml")
    chance = located.checked.chance
    assert 0.05 < chance < 0.999
    found = [f for f in located.findings if f.code == "misses-large"]
    assert len(found) == count
    for finding in found:
        assert f"in {100.0 * chance:.2g} of 100 sets" in finding.text
        assert 'photograph "' in finding.text
        assert finding.severity is Severity.WARNING
