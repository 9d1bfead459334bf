"""The page on which a person names the places of a drawing: one file, which fetches nothing and saves two tables."""

from __future__ import annotations

import json
from importlib import resources
from typing import Any

from kin3d.errors import Severity
from kin3d.studies.drawing_places import Axes
from kin3d.studies.drawing_sketch import Sketch
from kin3d.writing.files import MARK
from kin3d.writing.html import tag, text

POLICY = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'"
MOST_STROKES = 20_000
MOST_TEXTS = 2_000
USUAL = (
    "lower_front", "lower_rear", "lower_outer", "upper_front", "upper_rear", "upper_outer", "tie_inner", "tie_outer",
    "wheel_centre", "wheel_axis", "rod_outer", "rod_inner", "rocker_axis_1", "rocker_axis_2", "spring_outer",
    "spring_inner",
)  # fmt: skip
BODY = """<div id="sheet" aria-label="the drawing"></div>
<aside><h1>{title}</h1><p id="hint" role="status"></p>
<div class="list"><table>
<thead><tr><th>point</th><th>places</th><th>x</th><th>y</th><th>z mm</th><th>apart</th></tr></thead>
<tbody id="names"></tbody></table></div>
<div class="row by-key"><label>place by number <input type="number" id="number" min="1"></label>
<button id="take">Take the likely guesses too</button></div>
<svg id="spatial" viewBox="-130 -105 260 210" role="img" aria-label="the linkage in space"></svg>
<h2>Unit and scale</h2><div class="row"><label>unit <select id="unit"><option>mm</option><option>cm</option>
<option>m</option><option>in</option><option>ft</option></select></label>
<label class="for-sheet">scale <input type="text" id="scale"></label>
<label class="for-sheet">views agree within <input type="number" id="tolerance" value="2" step="0.1"> mm</label></div>
<label class="for-sheet"><input type="checkbox" id="override"> what the drawing says of unit and scale is wrong</label>
<label class="for-space">axes of the drawing <input type="text" id="axes"></label>
<div class="for-sheet"><h2>Which way the views look</h2><div id="ways"></div>
<details><summary>otherwise: right and up</summary><div id="own"></div></details>
<h2>A point whose place is known</h2><div class="row three"><label><select id="known"></select></label><br>
<label>x <input type="number" id="known_x"></label><label>y <input type="number" id="known_y"></label>
<label>z <input type="number" id="known_z"></label></div>
<p>Without it, or an origin, places are those on the sheet and not on the car.</p></div>
<h2>Save</h2><p><button id="save-names">{names}</button> <button id="save-views">{views}</button></p>
<details><summary>what is saved</summary><pre id="names-out"></pre><pre id="views-out"></pre></details>
<p>Then: <code>kin3d import {title} --names {names} --views {views} --out points.csv</code></p>
<details class="findings"><summary>what the reader said</summary>{findings}</details></aside>
"""


def naming_page(found: Sketch, names_file: str, views_file: str) -> str:
    """Return the page; `names_file` and `views_file` are what it saves."""
    source = found.job.reading.source.name
    errors = [f for f in found.findings if f.severity is not Severity.NOTE]
    said = tag("ul", "".join(tag("li", text(f.text)) for f in errors[:40]))
    body = BODY.format(title=text(source), names=text(names_file), views=text(views_file), findings=said)
    data = json.dumps(_data(found, names_file, views_file), ensure_ascii=False, allow_nan=False).replace("<", "\\u003c")
    files = resources.files("kin3d.studies")
    style, script = (files.joinpath(f"naming.{kind}").read_text("utf-8") for kind in ("css", "js"))
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><!-- {MARK} -->'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{text(source)}: name the places</title><style>{style}</style></head>\n<body>{body}"
        f'<script type="application/json" id="data">{data}</script>\n<script>{script}</script></body></html>\n'
    )


def _data(found: Sketch, names_file: str, views_file: str) -> dict[str, Any]:
    """Return everything that the page knows."""
    content, known = found.job.content, found.job.names.known
    names = [*(n for n in USUAL if n in known), *(n for n in known if n not in USUAL)]
    return {
        "form": found.form,
        "unit": found.unit,
        "scale": found.scale,
        "axes": found.job.axes or "",
        "files": [names_file, views_file],
        "names": names,
        "labels": [[label, point] for label, point in found.job.names.labels.items()],
        "views": [
            {"name": v.name, "box": list(v.box), "origin": None if v.origin is None else list(v.origin)}
            for v in found.views
        ],
        "ways": [[_words(axes) for axes in way] for way in found.ways],
        "places": [
            {
                "number": p.number, "xyz": [float(c) for c in p.mark.xyz], "view": p.view, "label": p.label,
                "guess": p.guess, "confidence": p.confidence, "reason": p.reason, "solid": p.mark.kind != "end",
            }
            for p in found.places
        ],
        "strokes": [
            [round(float(c), 5) for c in (*s.start, *s.end)] for s in content.strokes[:MOST_STROKES]
        ],
        "texts": [
            {"words": t.whole[:60], "xyz": [float(c) for c in t.anchor], "height": t.height}
            for t in content.texts[:MOST_TEXTS]
        ],
    }  # fmt: skip


def _words(axes: Axes | None) -> list[str] | None:
    return None if axes is None else [f"{'-' if sign < 0 else ''}{'xyz'[k]}" for k, sign in axes]
