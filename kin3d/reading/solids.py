"""Solids of the car file: profiles out of DXF files, meshes that must be there."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Kin3dError, ReadingError
from kin3d.linkage.checking import in_heading
from kin3d.linkage.part_keys import SolidPart
from kin3d.linkage.record import changed
from kin3d.reading.meshes import ENDINGS
from kin3d.reading.text import FindingLog
from kin3d.units import length_factor

Array = NDArray[np.float64]
SAGITTA_MM = 0.01  # by which a chord of an arc may miss it
MEET_MM = 0.01  # ends of lines that are nearer than this are one corner
MOST_CORNERS = 2000


def read_solids(
    solids: Sequence[SolidPart], axle: str, folder: Path, units: str | None, log: FindingLog
) -> tuple[SolidPart, ...]:
    """Solids with the profiles of their DXF files; what is wrong with files goes to the log.

    Parameters
    ----------
    units : str or None
        Of the axle's files, where a solid says none of its own.
    """
    out = []
    missing = '"{}" is not there; the path is relative to the car file'
    for solid in solids:
        place = f"[{axle}.solids.{in_heading(solid.name)}]"
        factor = _factor(solid.units or units, place, log) if solid.profile_file or solid.mesh else 1.0
        for key, path, endings in (("mesh", solid.mesh, ENDINGS), ("profile_file", solid.profile_file, (".dxf",))):
            if path is None:
                continue
            kind = "a mesh" if key == "mesh" else "a section"
            if path.suffix.lower() not in endings:
                text = f'"{path}" is not {kind}; expected a file ending in {" or ".join(endings)}'
                log.error(f"{key.split('_')[0]}-kind", text, f"{place} {key}")
            elif not (folder / path).is_file():
                log.error("file-missing", missing.format(path), f"{place} {key}")
            elif key == "profile_file" and factor:
                corners = _section(folder / path, factor, log)
                pairs = tuple((float(w), float(r)) for w, r in corners)
                solid = changed(solid, profile=pairs, profile_file=None) if pairs else solid
        out.append(solid)
    return tuple(out)


def _factor(units: str | None, place: str, log: FindingLog) -> float:
    if units is None:
        log.error("units-missing", "is missing and never guessed; give the unit of the file", f"{place} units")
        return 0.0
    try:
        return length_factor(units)
    except Kin3dError as error:
        for finding in error.findings:
            log.error(finding.code, finding.text, f"{place} units")
        return 0.0


def _section(path: Path, factor: float, log: FindingLog) -> Array:
    """The one chain of lines, arcs and polylines of a drawing, as corners in mm; empty where it is none."""
    from ezdxf import path as paths

    from kin3d.reading.dxf_file import faults, open_drawing

    own = FindingLog(path.name)
    try:
        document, _ = open_drawing(path, own)
        drawn = list(document.modelspace().query("LINE ARC LWPOLYLINE POLYLINE SPLINE ELLIPSE CIRCLE"))
        parts = [np.array([(v.x, v.y) for v in paths.make_path(e).flattening(SAGITTA_MM / factor)]) for e in drawn]
    except ReadingError as error:
        log.adopt(error.findings)
        return np.empty((0, 2))
    except faults() as error:
        log.error("section-damaged", f"cannot be read as a section ({type(error).__name__})", path.name)
        return np.empty((0, 2))
    chain = _chain([factor * p for p in parts])
    if chain is None:
        text = (
            f"has {len(parts)} lines, arcs and polylines that are no one chain; expected half a section of one solid: "
            "x is the width outboard from the wheel centre, y the radius"
        )
        log.error("section-form", text, path.name)
        return np.empty((0, 2))
    if (chain[:, 1] < -MEET_MM).any() or len(chain) > MOST_CORNERS:
        text = (
            f"reaches from y = {chain[:, 1].min():.4g} to {chain[:, 1].max():.4g} mm with {len(chain)} corners; y is "
            f"the radius, 0 or more, and at most {MOST_CORNERS} corners are expected"
        )
        log.error("section-range", text, path.name)
        return np.empty((0, 2))
    return np.maximum(chain, [-np.inf, 0.0])


def _chain(parts: list[Array]) -> Array | None:
    """Parts end to end; None where they do not make one line."""
    if not parts:
        return None
    line, rest = parts[0], parts[1:]
    while rest:
        for k, part in enumerate(rest):
            joined = _joined(line, part)
            if joined is not None:
                line = joined
                del rest[k]
                break
        else:
            return None
    closed = len(line) > 3 and np.hypot(*(line[0] - line[-1])) < MEET_MM
    return np.vstack([line[:-1], line[:1]]) if closed else line


def _joined(line: Array, part: Array) -> Array | None:
    for first, second in ((line, part), (line, part[::-1]), (part, line), (part[::-1], line)):
        if np.hypot(*(first[-1] - second[0])) < MEET_MM:
            return np.vstack([first, second[1:]])
    return None
