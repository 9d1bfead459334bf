"""A settled car in words, rows and JSON."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from kin3d.errors import Finding, RequestError
from kin3d.studies.settled import ElementState, Settled
from kin3d.writing.numbers import number

Rows = tuple[list[str], list[list[str]]]
_DIGITS = 12


def heading(found: Settled) -> str:
    """Title, loads and attitude of the body, two lines."""
    loads = found.loads
    parts = []
    if loads.braking_g:
        parts.append(f"{'braking' if loads.braking_g > 0 else 'driving'} {abs(loads.braking_g):g} g")
    if loads.lateral_g:
        parts.append(f"{abs(loads.lateral_g):g} g to the {'left' if loads.lateral_g > 0 else 'right'}")
    if loads.aero_front_n or loads.aero_rear_n:
        parts.append(f"downforce {loads.aero_front_n:g} N front, {loads.aero_rear_n:g} N rear")
    if loads.rack_mm:
        parts.append(f"rack {loads.rack_mm:g} mm")
    body = (
        f"heave {number(found.heave_mm, 'mm')} mm, pitch {number(found.pitch_deg, 'deg')}° (nose down positive), "
        f"roll {number(found.roll_deg, 'deg')}° (left side up positive), "
        f"mass centre {number(found.centre_rise_mm, 'mm')} mm higher than designed"
    )
    return f"{found.title}, {', '.join(parts) or 'at rest'}\n{body}"


def wheel_rows(found: Settled) -> Rows:
    """A row a wheel."""
    head = ["wheel", "travel mm", "load N", "side force N", "long. force N", "camber °", "toe °", ""]
    rows = []
    for w in found.wheels:
        cells = [w.name, number(w.travel_mm, "mm")]
        cells += [number(v, "%") for v in (w.load_n, w.side_n, w.along_n)]
        cells += [number(v, "deg") for v in (w.camber_ground_deg, w.toe_ground_deg)]
        rows.append([*cells, "lifted" if w.lifted else ""])
    return head, rows


def element_rows(found: Settled) -> Rows:
    """A row a spring, bar or stop; turns in degrees, torques in N·m."""
    head = ["element", "deflection", "force", ""]
    rows = []
    for e in found.elements:
        deflection, unit, force, of = _outside(e)
        note = "loose" if e.kind == "spring" and e.force < 0.0 else ""
        rows.append([f"{e.axle} {e.name}", f"{number(deflection, 'mm')} {unit}", f"{number(force, '%')} {of}", note])
    return head, rows


def _outside(e: ElementState) -> tuple[float, str, float, str]:
    if e.unit == "rad":
        return float(np.degrees(e.deflection)), "deg", e.force / 1000.0, "N·m"
    return e.deflection, "mm", e.force, "N"


def write_settled(found: Settled, path: Path) -> None:
    """Write every figure as JSON, 12 significant digits.

    Raises
    ------
    RequestError
        When the place cannot be written to.
    """
    elements = []
    for e in found.elements:
        deflection, unit, force, of = _outside(e)
        names = {"axle": e.axle, "name": e.name, "kind": e.kind}
        elements.append(names | {"deflection": deflection, "unit": unit, "force": force, "force_unit": of})
    content = {
        "title": found.title,
        "loads": asdict(found.loads),
        "heave_mm": found.heave_mm,
        "pitch_deg": found.pitch_deg,
        "roll_deg": found.roll_deg,
        "centre_height_mm": found.centre_height_mm,
        "centre_rise_mm": found.centre_rise_mm,
        "wheels": [asdict(w) for w in found.wheels],
        "elements": elements,
        "error_n": found.error_n,
        "error_n_m": found.error_n_m,
        "findings": [str(f) for f in found.findings],
    }
    text = json.dumps(_plain(content), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    try:
        path.write_text(text, "utf-8")
    except OSError as error:
        raise RequestError(Finding("not-written", f"cannot be written: {error.strerror or error}", str(path))) from None


def _plain(x: Any) -> Any:
    if isinstance(x, dict):
        return {k: _plain(v) for k, v in x.items()}
    if isinstance(x, list | tuple | np.ndarray):
        return [_plain(v) for v in x]
    return float(f"{x:.{_DIGITS}g}") if isinstance(x, float) else x
