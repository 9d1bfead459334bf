"""The drawings of tests/files/drawings: what a user would supply for each, taken from the truth that goes with it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

FOLDER = Path(__file__).parents[1] / "files" / "drawings"
TRUTHS = sorted(FOLDER.glob("*.truth.json"))
HEADER_MM = {None: None, 0: None, 1: 25.4, 4: 1.0, 5: 10.0}
LINKS = {
    "LOWER_ARM_FRONT": ("lower_front lower_outer", "inboard first"),
    "LOWER_ARM_REAR": ("lower_rear lower_outer", "inboard first"),
    "UPPER_ARM_FRONT": ("upper_front upper_outer", "inboard first"),
    "UPPER_ARM_REAR": ("upper_rear upper_outer", "inboard first"),
    "TIE_ROD": ("tie_inner tie_outer", "inboard first"),
    "ROD": ("rod_inner rod_outer", "inboard first"),
    "ROCKER_AXIS": ("rocker_axis_1 rocker_axis_2", "rear first"),
    "SPRING": ("spring_inner spring_outer", "inboard first"),
}


def load(path: Path) -> dict[str, Any]:
    truth: dict[str, Any] = json.loads(path.read_text("utf-8"))
    truth["path"] = FOLDER / truth["file"]
    return truth


def sheet_place(view: dict[str, Any], xyz: list[float]) -> tuple[float, float]:
    """Place of a point of the car on the sheet."""
    u, v = (
        o + view["scale"] * (-1.0 if a.startswith("-") else 1.0) * xyz["xyz".index(a[-1])]
        for a, o in zip(view["axes"], view["origin"], strict=True)
    )
    return u, v


def wants(truth: dict[str, Any], word: str) -> bool:
    return any(word in item for item in truth["user_must_supply"])


def supplied(truth: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Arguments of read_drawing that say exactly what the truth says the user must supply."""
    give: dict[str, Any] = {}
    if wants(truth, "unit"):
        give["units"] = "mm"
    if wants(truth, "side:"):
        give["side"] = "left"
    views: dict[str, Any] = {}
    if wants(truth, "scale"):
        unit = HEADER_MM[truth["insunits_in_file"]] or 1.0
        views["scale"] = f"1:{truth['mm_per_drawing_unit'] / unit:g}"
    if truth["views"]:
        views["views"] = {v["name"].lower(): {"axes": v["axes"], "origin": v["origin"]} for v in truth["views"]}
    if wants(truth, "origin: ISO"):
        views["origin"] = [1000, 200, 0]
    if wants(truth, "text table"):
        views["source"] = "text table"
    rows = name_rows(truth)
    if rows:
        give["names"] = folder / "names.csv"
        give["names"].write_text("label,point,ends\n" + "".join(f'"{a}",{b},{c}\n' for a, b, c in rows), "utf-8")
    if truth["insunits_in_file"] == 0 and "unit" not in " ".join(truth["user_must_supply"]):
        give["units"] = "mm"  # "unit not stated" is among its warnings
    if views:
        give["views"] = views
    return give


def name_rows(truth: dict[str, Any]) -> list[tuple[str, str, str]]:
    if wants(truth, "name map"):
        return [(p["label"], name, "") for name, p in truth["points"].items()]
    if wants(truth, "which line is which link"):
        return [(layer, *LINKS[link]) for layer, link in truth["layer_to_link"].items()]
    if truth["kind"] == "3d_lines":
        return [(layer, *ends) for layer, ends in LINKS.items()]
    if wants(truth, "names"):
        return [
            ("@{:.4f},{:.4f}".format(*sheet_place(v, p["xyz_mm"])), name, "")
            for v in truth["views"]
            for name, p in truth["points"].items()
        ]
    return []


def wrong(truth: dict[str, Any], points: dict[str, Any]) -> dict[str, np.ndarray]:
    """Points that are off by more than the truth's tolerance, or that nobody can know."""
    out = {}
    for name, point in points.items():
        true = truth["points"].get(name)
        if true is None or name in truth["unreadable"]:
            out[name] = point.xyz_mm
        elif not np.allclose(point.xyz_mm, true["xyz_mm"], rtol=0.0, atol=true["tol_mm"]):
            out[name] = point.xyz_mm - true["xyz_mm"]
    return out
