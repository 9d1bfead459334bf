"""The report page: what stands in it, that it is whole, and that it needs nothing from elsewhere."""

from __future__ import annotations

import re
from datetime import date
from functools import cache
from html.parser import HTMLParser
from types import SimpleNamespace

import numpy as np
import pytest

import kin3d
from kin3d.errors import RequestError
from kin3d.linkage.record import changed
from kin3d.report.figures import migration
from kin3d.report.glance import HALF, WIDE, bar_picture
from kin3d.report.page import render, write_report
from kin3d.report.summary import summary
from kin3d.studies.compare import compare
from kin3d.studies.report_data import collect
from kin3d.writing.numbers import number, signed
from kin3d.writing.style import DARK
from tests.laws.cars import car
from tests.uncertain import moved, with_axle, with_sigma

TRAVEL = [-20.0, -10.0, 0.0, 10.0, 20.0]
VOID = {"meta", "br", "line", "path", "use", "rect", "circle"}


class Reader(HTMLParser):
    """Text, names, links and figures of a page; complains of elements that are closed in a wrong order."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.figures = 0
        self.words: list[str] = []
        self.fetched: list[str] = []
        self.feed(page)
        assert not self.open, self.open

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        if tag not in VOID:
            self.open.append(tag)
        self.ids += [given["id"]] if "id" in given else []
        self.links += [given["href"]] if tag == "a" else []
        self.figures += tag == "figure"
        self.fetched += [v for k, v in attrs if k in ("src", "href", "xlink:href") and tag != "a"]

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        if tag not in VOID:
            assert self.open.pop() == tag, f"</{tag}> closes another element"

    def handle_data(self, data):
        self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


@cache
def data(*names: str, samples: int = 300):
    return collect([car(n) for n in names], None, TRAVEL, samples=samples)


@cache
def page(*names: str) -> tuple[str, Reader]:
    text = render(data(*names), "kin3d report a.toml b.toml", {}, date(2026, 3, 1))
    return text, Reader(text)


@pytest.mark.parametrize(
    "names", [("siskin",), ("dunlin", "plover"), ("dunlin", "plover", "siskin")]
)
def test_it_is_whole(names):
    text, read = page(*names)
    assert text.startswith("<!DOCTYPE html>")
    assert len(read.ids) == len(set(read.ids))
    assert {x[1:] for x in read.links} <= set(read.ids)
    for part in data(*names).axles:
        assert part.axle in read.ids
    assert "nan" not in re.sub(r"[a-z]{4,}", "", read.text.lower()).split()


@pytest.mark.parametrize("names", [("dunlin", "plover"), ("siskin",)])
def test_nothing_is_fetched(names):
    text, read = page(*names)
    assert all(x.startswith("#") for x in read.fetched)
    # the only addresses are the names of SVG's own vocabulary
    assert set(re.findall(r"https?://[^\s\"'<]+", text)) <= {"http://www.w3.org/2000/svg"}
    assert "@import" not in text
    assert "url(http" not in text
    assert "default-src 'none'" in text


def test_figures_of_the_comparison_stand_in_it():
    _, read = page("dunlin", "plover")
    for part in data("dunlin", "plover").axles:
        pair = part.comparison.pairs[0]
        for x in pair.differences:
            if x.kind == "design":
                assert number(x.a, x.measure.unit) in read.text
                assert number(x.difference, x.measure.unit) in read.text
        line = pair.difference("roll_centre_height_mm", "design")
        assert number(line.half_width, "mm") in read.text
        for m in pair.moves:
            assert signed(float(m.change[2]), "mm") in read.text
        found = pair.attribution
        k = [m.name for m in found.measures].index("roll_centre_height_mm")
        for parts in found.grouped(found.start_parts).values():
            assert signed(float(parts[k]), "mm") in read.text


def test_what_an_engineer_looks_for_is_there():
    text, read = page("dunlin", "plover")
    for said in (
        "What can be said",
        "Cannot be said from these points",
        "The roll centre rose 13",
        "the lower arm's inboard pivots went up",
        "Front axle from ahead, left wheel",
        "All at a glance",
        "Roll centre while the body rolls",
        "only the upright's linkage is attributed",
        "Where the uncertainty comes from",
        "spring mm per mm of wheel travel",
        "kin3d report a.toml b.toml",
        "seed 1",
        "01 March 2026",
        "Strength, safety and the rule book are for qualified people",
    ):
        assert said in read.text, said
    assert read.figures > 20
    assert text.count('role="img"') == read.figures
    # text of the pictures is text, not outlines
    assert ">wheel travel (mm), bump positive</text>" in text


def test_every_measure_shown_is_defined():
    _, read = page("dunlin", "plover")
    for part in data("dunlin", "plover").axles:
        for m in part.comparison.cars[0].tolerance.measures:
            assert m.definition in read.text
            assert " ".join(m.source.split()) in read.text


def test_names_cannot_break_the_page():
    wild = changed(car("siskin"), title='<script>alert("x")</script> & Söhne')
    text = render(collect([wild], None, [0.0], samples=0), "kin3d report '<b>'", {})
    assert text.count("<script>") == 1  # our own, which unfolds the page for paper
    assert "<script>alert" not in text
    assert "&lt;script&gt;" in text
    assert 'alert("x") & Söhne' not in text
    Reader(text)


def test_a_scene_stands_in_a_frame_of_its_own():
    text = render(data("siskin"), "", {"front": '<p id="x">"turning" & so on</p>'})
    assert 'srcdoc="&lt;p id=&quot;x&quot;&gt;&quot;turning&quot; &amp; so on&lt;/p&gt;"' in text
    assert "<iframe" not in render(data("siskin"), "", {})


def test_one_car_has_no_comparison_and_says_its_doubt():
    _, read = page("siskin")
    assert "What can be said" not in read.text
    assert "What kind of car it is" in read.text
    assert "Outside of what is usual: front kingpin inclination (under the range)" in read.text
    assert "common practice" in read.text
    assert "95 % band" in read.text
    assert "Roll-centre height" in read.text


def test_a_car_without_deviations_or_loaded_radius_still_has_a_page():
    bare = with_axle(with_sigma(car("siskin"), "front", 0.0), "front", loaded_radius_mm=None)
    read = Reader(render(collect([bare], None, TRAVEL, samples=300), "", {}))
    assert "loaded_radius_mm" in read.text
    assert "no loaded radius, so no construction" in read.text


def test_cars_of_different_kinds_say_what_is_not_comparable():
    _, read = page("dunlin", "plover", "siskin")
    assert "nothing can be attributed" in read.text
    assert "different kinds" in read.text
    assert [p.axle for p in data("dunlin", "plover", "siskin").axles] == ["front"]


def test_fitting_is_told():
    table = car("siskin").front.points
    other = moved(car("siskin"), "front", {p: [100.0, 0.0, 0.0] for p in table.names}, "Shifted")
    found = kin3d.report([car("siskin"), other], "front", [0.0], samples=0, align=True, scene=False)
    assert "Shifted: all points are moved by x -100.00" in Reader(found.html()).text


def test_a_difference_that_no_point_touches_is_said_to_be_exact():
    a = with_sigma(car("dunlin"), "front", {"spring_inner": [1.0, 1.0, 1.0]})
    b = changed(a, data=changed(a.data, front_brake_share=a.data.front_brake_share + 0.05))
    said = summary([compare([a, b], "front", [0.0], ["anti_dive_pct", "camber_deg"], samples=0)])
    assert re.search(r"taken as exact: anti-dive \(\+0.8\s%\)", said)


def test_the_path_of_the_roll_centre_is_seen_from_ahead():
    """A centre that goes to the left as the left side rises: its mark at +1 degree stands on the right of the page."""
    roll = np.array([-1.0, 0.0, 1.0])
    values = {"roll_centre_offset_mm": 50.0 * roll, "roll_centre_height_mm": 30.0 + 0.0 * roll}
    swept = SimpleNamespace(values={n: v.reshape(1, 3, 1, 1) for n, v in values.items()}, drives={"roll_deg": roll})
    made = migration(SimpleNamespace(axle="front", cars=[SimpleNamespace(roll=swept)]))
    at = {word: float(x) for x, word in re.findall(r'x="([\d.]+)"[^>]*>([−+]\d)</text>', made)}
    assert set(at) == {"−1", "+1"}
    assert at["+1"] > at["−1"] + 50.0


def test_the_same_input_gives_the_same_page():
    again = collect([car("siskin")], None, TRAVEL, samples=300)
    assert render(again, "kin3d report a.toml b.toml", {}, date(2026, 3, 1)) == page("siskin")[0]


def test_wrong_places_are_refused(tmp_path):
    with pytest.raises(RequestError, match="not known"):
        write_report(data("siskin"), tmp_path / "r.pdf", "")
    with pytest.raises(RequestError, match="is not there"):
        write_report(data("siskin"), tmp_path / "no" / "r.html", "")
    write_report(data("siskin"), tmp_path / "r.html", "")
    assert (tmp_path / "r.html").read_text("utf-8").endswith("</html>\n")


def test_cars_without_a_common_axle_are_refused():
    front_only = changed(car("dunlin"), rear=None)
    rear_only = changed(car("plover"), front=None)
    with pytest.raises(RequestError, match="no axle in common"):
        collect([front_only, rear_only], None, TRAVEL)


def test_an_axle_that_one_car_alone_has_is_told_and_why_turns_have_no_answer_once():
    """Dunlin without its rear axle stands in no turn: said once for all turns, by the car's name and not its path."""
    front_only = changed(car("dunlin"), rear=None)
    found = collect([front_only, car("plover")], None, [0.0], samples=0)
    assert [p.axle for p in found.axles] == ["front"]
    title = car("plover").title
    assert [f.text for f in found.findings] == [
        f"the rear axle is not on this page: of the cars, {title} alone has one"
    ]
    (note,) = [n for n in found.axles[0].asked.notes if "rear" in n]
    assert note.startswith(f"under 0.5, 1 and 1.5 g: {front_only.title}: has no [rear] axle")
    assert collect([front_only, car("plover")], ["front"], [0.0], samples=0).findings == ()


def test_there_is_no_picture_of_causes_where_there_are_none(tmp_path):
    """Of cars of different kinds, and of one car beside itself: no empty picture, and why."""
    other, same = (
        kin3d.compare([car("dunlin"), car(n)], "front", [0.0], ["camber_deg"], samples=0) for n in ("siskin", "dunlin")
    )
    with pytest.raises(RequestError, match=r"no causes to draw: .*different kinds"):
        other.plot(tmp_path / "causes.svg", figure="causes")
    with pytest.raises(RequestError, match="no causes to draw: no cause changes a measure"):
        same.plot(tmp_path / "causes.svg", figure="causes")
    assert list(tmp_path.iterdir()) == []


def test_a_threshold_that_is_no_probability_is_refused():
    with pytest.raises(RequestError, match=r"the threshold is 95; a probability over 0.5 and under 1 is expected"):
        collect([car("dunlin"), car("plover")], ["front"], TRAVEL, samples=0, threshold=95)


def test_the_answer_the_reason_and_the_rows_come_first():
    """In this order before any long table; places and screw axes are not among the rows."""
    text, _ = page("dunlin", "plover")
    order = ["What can be said", 'id="front-why-front-B-wide', 'class="glance"', "<details", 'class="scroll"']
    order[1] = "Front views of Dunlin, last season and Plover, this season over each other"
    at = [text.index(s) for s in order]
    assert at == sorted(at)
    rows = re.findall(r'<table class="glance">.*?</table>', text, re.S)
    assert rows
    for label in ("Screw axis", "Contact point, x", "Instant centre"):
        assert label.lower() not in " ".join(rows).lower()


def test_rows_at_a_glance_agree_with_the_verdicts():
    """A full mark where it can be said and nowhere else, at the difference over the half width of its band."""
    for part in data("dunlin", "plover").axles:
        for x in part.comparison.pairs[0].differences:
            drawn = bar_picture(x)
            assert ('class="full"' in drawn) == (x.verdict == "can be said"), x
            if np.isfinite(x.half_width) and not x.exact and not x.same and abs(x.difference) < 3.0 * x.half_width:
                middle, half = WIDE / 2.0, HALF
                at = float(re.search(r'cx="([\d.]+)"', drawn)[1])
                assert at == pytest.approx(middle + half * x.difference / x.half_width, abs=0.051)


def test_a_page_of_one_side_of_the_car():
    """The rear points of the first car are given for the right side; the page shows the front's, the left."""
    assert {p.comparison.side for p in data("dunlin", "plover").axles} == {"left"}


def test_pictures_follow_light_and_dark():
    text, _ = page("dunlin", "plover")
    drawn = "".join(re.findall(r"<svg.*?</svg>", text, re.S))
    for colour in DARK:
        assert f"--c{colour[1:]}:{colour};" in text
        assert colour not in drawn
    assert "prefers-color-scheme:dark" in text


def test_solids_have_their_least_gap_on_the_page():
    """The figure of `clearance`, which has its own tests, in words and in every view; cars without solids have none."""
    known = car("dunlin")
    found = kin3d.report([known], "front", [-20.0, 0.0, 20.0], samples=0, scene=False)
    page = found.html()
    gaps = kin3d.clearance(known, [-20.0, 0.0, 20.0], [-25.0, 0.0, 25.0], axle="front")
    part, row = gaps.nearest()
    assert "What comes near to what" in page
    assert f"least gap {part.least(row):.2f} mm" in page
    assert page.count(f">{part.least(row):.1f} mm<") >= 3  # beside the gap in each view
    assert "What comes near to what" not in kin3d.report([car("siskin")], "front", [0.0], samples=0, scene=False).html()
