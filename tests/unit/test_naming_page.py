"""The draft and the naming page, from a refused drawing to a right point table; the page runs in a headless browser.

What a person would know beside the drawing (names, which way views look, scale, unit, the place of one point) comes
from the truth that goes with it; every click goes to the place that the page numbers there.
"""

from __future__ import annotations

import csv
import html
import json
import re
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kin3d.errors import Finding, ReadingError
from kin3d.reading.dxf import read_drawing
from kin3d.studies.drawing_import import import_drawing
from tests.everything import browser
from tests.unit.drawings import FOLDER, HEADER_MM, load, sheet_place
from tests.unit.drawn import LINKS, POINTS, new, place, save, three_views

KNOWN = "upper_front"


def _data(page: Path) -> dict[str, Any]:
    found = re.search(r'id="data">(.*?)</script>', page.read_text("utf-8"), re.DOTALL)
    assert found is not None
    data: dict[str, Any] = json.loads(found.group(1))
    return data


def _nearest(data: dict[str, Any], at: Any, view: str | None = None) -> tuple[int, float]:
    """Number of the nearest place and its distance."""
    there = [p for p in data["places"] if view in (None, p["view"])]
    far = [float(np.linalg.norm(np.array(p["xyz"][: len(at)]) - at)) for p in there]
    return there[int(np.argmin(far))]["number"], min(far)


def _clicks(data: dict[str, Any], truth: dict[str, Any]) -> str:
    """The script of a person who knows the truth."""
    lines = [
        "const set = (id, v) => { const e = document.getElementById(id); e.value = v;"
        " e.dispatchEvent(new Event('input')); e.dispatchEvent(new Event('change')); };",
        "const click = s => document.querySelector(s).dispatchEvent(new MouseEvent('click', {bubbles: true}));",
        f"set('unit', '{truth['unit']}');",
    ]
    if truth["views"]:
        lines += [f"set('scale', '1:{truth['scale']:g}');", "document.getElementById('override').click();"]
    homes = {}
    for view in truth["views"]:
        middle = np.mean([sheet_place(view, p) for p in truth["points"].values()], axis=0)
        inside = [
            v
            for v in data["views"]
            if v["box"][0] <= middle[0] <= v["box"][2] and v["box"][1] <= middle[1] <= v["box"][3]
        ]
        assert len(inside) == 1, (view, data["views"])
        homes[view["name"]] = inside[0]["name"]
        k = [v["name"] for v in data["views"]].index(inside[0]["name"])
        for d, word in enumerate(view["axes"]):
            lines.append(
                f'{{const s = document.querySelector(\'#own select[data-view="{k}"][data-direction="{d}"]\');'
                f" s.value = '{word}'; s.dispatchEvent(new Event('change'));}}"
            )
    for name, xyz in truth["points"].items():
        spots = [(sheet_place(v, xyz), homes[v["name"]]) for v in truth["views"]] or [
            (np.array(xyz) / truth["mm"], None)
        ]
        lines.append(f"click('tr[data-name=\"{name}\"]');")
        for at, view in spots:
            number, far = _nearest(data, at, view)
            assert far < 0.02 * max(1.0, float(np.abs(at).max()) * 0.01), (name, at, far)
            lines.append(
                f"if (said.at['{name}']?.['{view or 'space'}']?.number !== {number})"
                f" click('[data-place=\"{number}\"]');"
            )
        lines.append(f"click('tr[data-name=\"{name}\"]');")
    if truth["views"]:
        lines.append(f"set('known', '{KNOWN}');")
        lines += [f"set('known_{a}', '{c}');" for a, c in zip("xyz", truth["points"][KNOWN], strict=True)]
    return "\n".join(lines)


def _run(page: Path, script: str) -> tuple[str, str]:
    """Names and views as the page would save them after a script of clicks."""
    tried = page.with_name("tried.html")
    tried.write_text(page.read_text("utf-8").replace("</body>", f"<script>{script}</script></body>"), "utf-8")
    command = [browser(), "--headless", "--no-sandbox", "--disable-gpu", "--dump-dom", "--virtual-time-budget=2000"]
    done = subprocess.run([*command, tried.as_uri()], capture_output=True, text=True, timeout=120, check=True)
    texts = [re.search(rf'<pre id="{n}-out">(.*?)</pre>', done.stdout, re.DOTALL) for n in ("names", "views")]
    assert all(texts), done.stderr[-600:]
    names, views = (html.unescape(t.group(1)) for t in texts if t)
    return names, views


def _collected(code: str) -> tuple[Path, dict[str, Any]]:
    truth = load(next(FOLDER.glob(f"{code}*.truth.json")))
    mm = HEADER_MM.get(truth["insunits_in_file"]) or 1.0
    points = {n: p["xyz_mm"] for n, p in truth["points"].items() if n not in truth["unreadable"]}
    unit = {25.4: "in", 10.0: "cm"}.get(mm, "mm")
    scale = truth["mm_per_drawing_unit"] / mm
    return truth["path"], {"points": points, "views": truth["views"], "unit": unit, "scale": scale, "mm": mm}


def _drawn(tmp_path: Path, seed: int) -> tuple[Path, dict[str, Any]]:
    """Three views without a single word that names anything."""
    rng = np.random.default_rng(seed)
    points = {n: np.array(p) + rng.normal(0.0, 6.0, 3) for n, p in POINTS.items()}
    views, doc = three_views(), new()
    for view in views:
        at = {n: place(view, p) for n, p in points.items()}
        for a, b in LINKS:
            doc.modelspace().add_line(tuple(at[a]), tuple(at[b]))
        for uv in at.values():
            doc.modelspace().add_circle(tuple(uv), 0.7)
    told = [{"name": v["name"], "axes": v["axes"], "origin": v["origin"], "scale": 1.0 / v["m"]} for v in views]
    truth = {"points": {n: p.tolist() for n, p in points.items()}, "views": told, "unit": "mm", "scale": 5.0, "mm": 1.0}
    return save(doc, tmp_path / "drawn.dxf"), truth


CASES = ["fc04", "fc06", "ik01", "ez03", "lc01", "mk01", "wr01", "ps01", 1, 2]


def _refused(path: Path, draft: Path) -> Sequence[Finding]:
    """What is said of a drawing of which nothing can be read as it is."""
    try:
        found = import_drawing(path, draft=draft)
    except ReadingError as error:
        return error.findings
    assert found.reading.points == {}
    assert not found.complete
    return found.findings


@pytest.mark.slow
@pytest.mark.parametrize("which", CASES)
def test_from_a_refused_drawing_to_a_right_table(which: str | int, tmp_path: Path) -> None:
    path, truth = _collected(which) if isinstance(which, str) else _drawn(tmp_path, which)
    findings = _refused(path, tmp_path / "draft")
    assert any(f.code == "draft" for f in findings)
    page = tmp_path / "draft" / f"{path.stem}.naming.html"
    names, views = _run(page, _clicks(_data(page), truth))
    for file, said in (("names.csv", names), ("views.toml", views)):
        (tmp_path / file).write_text(said, "utf-8")
    reading = read_drawing(path, names=tmp_path / "names.csv", views=tmp_path / "views.toml")
    off = {n: float(np.abs(p.xyz_mm - truth["points"][n]).max()) for n, p in reading.points.items()}
    assert set(off) == set(truth["points"]), [str(f) for f in reading.findings if str(f.severity) == "error"]
    assert max(off.values()) < 0.06  # printed and rounded figures; the others are exact


def _short(name: str) -> str:
    return {"f": "front", "s": "side", "p": "plan", "t": "plan"}[name.lower()[0]]


def test_only_places_that_agree_light_up(tmp_path: Path) -> None:
    """Of a sheet without names: lower_front clicked in the front view leaves one place a view, the true one."""
    path, truth = _collected("fc06")
    _refused(path, tmp_path)
    page = tmp_path / f"{path.stem}.naming.html"
    data = _data(page)
    at = {_short(v["name"]): sheet_place(v, truth["points"]["lower_front"]) for v in truth["views"]}
    numbers = {view: _nearest(data, spot, view)[0] for view, spot in at.items()}
    script = (
        "const click = s => document.querySelector(s).dispatchEvent(new MouseEvent('click', {bubbles: true}));"
        f"click('tr[data-name=\"lower_front\"]'); click('[data-place=\"{numbers['front']}\"]');"
        "document.getElementById('names-out').textContent ="
        " [...document.querySelectorAll('.place.fits')].map(g => g.dataset.place).join();"
    )
    lit, _ = _run(page, script)
    assert sorted(map(int, lit.split(","))) == sorted([numbers["plan"], numbers["side"]])


def test_guesses_by_the_linkage_and_by_words_are_right_and_stay_guesses(tmp_path: Path) -> None:
    path, truth = _collected("fc06")
    _refused(path, tmp_path)
    data = _data(tmp_path / f"{path.stem}.naming.html")
    views = {_short(v["name"]): v for v in truth["views"]}
    guessed = [p for p in data["places"] if p["guess"]]
    assert {p["confidence"] for p in guessed} == {"guess"}
    assert len({p["guess"] for p in guessed}) >= 4
    for p in guessed:
        true = sheet_place(views[p["view"]], truth["points"][p["guess"]])
        np.testing.assert_allclose(p["xyz"][:2], true, rtol=0.0, atol=1e-3, err_msg=str(p))
    rows = (tmp_path / f"{path.stem}.names.csv").read_text("utf-8").splitlines()
    assert all(row.split('"')[2].startswith(",,") for row in rows if row.startswith('"@'))


COVERED = """
const click = s => document.querySelector(s).dispatchEvent(new MouseEvent('click', {bubbles: true}));
const boxes = [...document.querySelectorAll('.place.named text')].map(t => [t.textContent, t.getBBox()]);
const over = (a, b) => Math.max(0, Math.min(a.x + a.width, b.x + b.width) - Math.max(a.x, b.x))
  * Math.max(0, Math.min(a.y + 0.7 * a.height, b.y + 0.7 * b.height) - Math.max(a.y, b.y)) / (a.width * a.height);
const told = {names: boxes.length, covered: [], nan: document.body.innerText.includes('NaN')};
const hits = ([n, a], i) => boxes.slice(i + 1)
  .filter(([, b]) => over(a, b) > 0.1).forEach(([m]) => told.covered.push([n, m]));
boxes.forEach(hits);
click('tr[data-name="lower_front"]');
document.getElementById('number').value = 6;
document.getElementById('number').dispatchEvent(new KeyboardEvent('keydown', {key: 'Enter'}));
told.typed = Object.values(said.at.lower_front).map(p => p.number);
document.getElementById('scale').value = '1:?';
document.getElementById('scale').dispatchEvent(new Event('input'));
told.unscaled = document.getElementById('names').innerText;
document.getElementById('names-out').textContent = JSON.stringify(told);
"""


def test_names_cover_no_others_and_places_are_named_by_number(tmp_path: Path) -> None:
    """Of a dense sheet with 37 names; without a scale no figure is shown, and nothing that is none."""
    path, _ = _collected("mk01")
    _refused(path, tmp_path)
    told = json.loads(_run(tmp_path / f"{path.stem}.naming.html", COVERED)[0])
    assert told["names"] > 25
    assert len(told["covered"]) <= 1, told["covered"]
    assert not told["nan"]
    assert told["typed"] == [6]
    assert "NaN" not in told["unscaled"]
    assert not re.search(r"\d\.\d", told["unscaled"])


def test_named_points_tell_which_way_the_views_look(tmp_path: Path) -> None:
    """Eleven names stand in two views of this sheet: the one way that is offered is the true one."""
    path, truth = _collected("mk01")
    _refused(path, tmp_path)
    data = _data(tmp_path / f"{path.stem}.naming.html")
    assert len(data["ways"]) == 1
    axes = {_short(v["name"].replace("REAR", "front")): list(v["axes"]) for v in truth["views"]}
    found = {
        _short(v["name"].replace("rear", "front")): way for v, way in zip(data["views"], data["ways"][0], strict=True)
    }
    assert found == axes


def test_a_table_of_texts_is_read_by_its_draft(tmp_path: Path) -> None:
    """The source is offered, rows are guessed by their words, the deviation is that of rounding to 0.1 mm."""
    path, truth = _collected("ez13")
    _refused(path, tmp_path)
    views, names = tmp_path / f"{path.stem}.views.toml", tmp_path / f"{path.stem}.names.csv"
    views.write_text(views.read_text("utf-8").replace("# source", "source"), "utf-8")
    rows = list(csv.reader(names.read_text("utf-8").splitlines()[3:]))
    assert not any(re.fullmatch(r"'?-?\d+,\d", r[0]) for r in rows)  # figures are no labels
    names.write_text("label,point\n" + "".join(f'"{r[0]}",{r[4]}\n' for r in rows[1:] if r[4]), "utf-8")
    reading = read_drawing(path, names=names, views=views)
    assert set(reading.points) == set(truth["points"])
    for name, point in reading.points.items():
        np.testing.assert_allclose(point.xyz_mm, truth["points"][name], rtol=0.0, atol=0.05)
        np.testing.assert_allclose(point.sigma_mm, 0.0289, rtol=0.0, atol=1e-4)


WORDS = {
    "Querlenker unten vorn": "lower_front",
    "Spurstange innen": "tie_inner",
    "Umlenkhebel Achse 2": "rocker_axis_2",
    "Stößelstange außen": "rod_outer",
    "triangle supérieur arrière": "upper_rear",
    "rotule inférieure": "lower_outer",
    "centre de roue": "wheel_centre",
    "brazo inferior delantero": "lower_front",
    "muelle interior": "spring_inner",
    "bielletta sterzo esterna": "tie_outer",
    "braccio superiore posteriore": "upper_rear",
    "LCAF": "lower_front",
    "weld all round": None,
}


@pytest.mark.parametrize(("words", "point"), WORDS.items())
def test_words_of_the_trade(words: str, point: str | None) -> None:
    from kin3d.studies.drawing_words import point_meant

    assert point_meant(words, POINTS) == point


def test_the_draft_is_whole_and_its_tables_are_read_as_they_stand(tmp_path: Path) -> None:
    """What is sure is filled in, what is a guess is not; unknown keys are comments, so the file is TOML."""
    path, _ = _collected("ez03")
    with pytest.raises(ReadingError):
        import_drawing(path, draft=tmp_path)
    views, names = tmp_path / f"{path.stem}.views.toml", tmp_path / f"{path.stem}.names.csv"
    text = views.read_text("utf-8")
    for word in ("[views.front]", 'scale = "1:5"', "# origin = [?, ?]", '# axes = ["y", "z"]', "titled"):
        assert word in text
    rows = names.read_text("utf-8").splitlines()
    assert any(r.endswith('sure,"by leader of ""spring_outer"""') for r in rows)
    assert (tmp_path / f"{path.stem}.places.png").stat().st_size > 20_000
    page = (tmp_path / f"{path.stem}.naming.html").read_text("utf-8")
    assert "http://" not in page.replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in page
    # filled in as a person would: the axes that are offered and the datum
    filled = re.sub(r"# (axes = .*?)\s+# a guess", r"\1", text)
    filled = filled.replace("# [known] ", "[known] #").replace(
        "# wheel_centre = [0, ?, ?]", "wheel_centre = [0, 740, 270]"
    )
    views.write_text(filled, "utf-8")
    reading = read_drawing(path, names=names, views=views)
    truth = load(next(FOLDER.glob("ez03*.truth.json")))["points"]
    assert set(reading.points) == set(truth)
    for name, point in reading.points.items():
        np.testing.assert_allclose(point.xyz_mm, truth[name]["xyz_mm"], rtol=0.0, atol=1e-6)


def test_an_edited_draft_is_not_written_over(tmp_path: Path) -> None:
    from kin3d.errors import RequestError

    path, _ = _collected("ez03")
    with pytest.raises(ReadingError):
        import_drawing(path, draft=tmp_path)
    names = tmp_path / f"{path.stem}.names.csv"
    names.write_text(names.read_text("utf-8") + "A,tie_inner,,,,,\n", "utf-8")
    with pytest.raises(RequestError, match="is there already"):
        import_drawing(path, draft=tmp_path)
