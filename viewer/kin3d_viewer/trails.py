"""Where the centres go over a sweep, as they are seen over level ground."""

from __future__ import annotations

import numpy as np

from kin3d_viewer.curves import Curves
from kin3d_viewer.primitives import Array
from kin3d_viewer.scene_axes import REACH_MM
from kin3d_viewer.snapshot import SIDES


def trails(curves: Curves, roll_deg: float) -> dict[str, Array]:
    """Paths of roll centre and instant centres by their names in the scene.

    Parameters
    ----------
    curves : Curves
    roll_deg : float
        Of the body, where the curves do not run over it.

    Returns
    -------
    dict of str to ndarray, shape (k, 3)
        In the picture's frame of each position (`kin3d_viewer.level`), mm; NaN where there is no centre within sight.
    """
    contacts = _vectors(curves, "contact_x_mm", "contact_y_mm", "contact_z_mm")
    if contacts is None:
        return {}
    middle = contacts.mean(axis=0)
    roll = np.radians(curves.at if curves.drive == "roll_deg" else np.full(len(curves.at), roll_deg))
    out = {} if "roll_centre_height_mm" not in curves.values else {"roll centre": _roll_centre(curves, middle)}
    names = {
        "front centre": ("contact_x_mm", "front_ic_y_mm", "front_ic_z_mm"),
        "side centre": ("side_ic_x_mm", "contact_y_mm", "side_ic_z_mm"),
    }
    for name, three in names.items():
        places = _vectors(curves, *three)
        if places is not None:
            for number, corner in enumerate(SIDES):
                out[f"{corner}/{name}"] = _level(places[number], contacts[number], middle, roll)
    return {name: path for name, path in out.items() if np.isfinite(path).all(axis=1).sum() > 1}


def _vectors(curves: Curves, *names: str) -> Array | None:
    """Three measures as places, shape (2, k, 3); None where one is missing."""
    if any(n not in curves.values for n in names):
        return None
    return np.stack([curves.values[n] for n in names], axis=-1)


def _roll_centre(curves: Curves, middle: Array) -> Array:
    """Height over the middle of the contact points, offset to the left of it."""
    left, right = curves.values["roll_centre_height_mm"]
    offset = curves.values.get("roll_centre_offset_mm")
    with np.errstate(all="ignore"):
        # corners at one travel: both must say the same, and the roll centre stands in the middle
        same = np.abs(left - right) <= 1e-6 * np.maximum(1.0, np.abs(left))
        agreed = same if offset is None else np.isfinite(left)
        aside = offset[0] if offset is not None else np.zeros(len(left))
        seen = agreed & (np.hypot(left, aside) <= REACH_MM)
    path: Array = middle + np.stack([np.zeros(len(left)), aside, left], axis=-1)
    path[~seen] = np.nan
    return path


def _level(places: Array, contacts: Array, middle: Array, roll: Array) -> Array:
    """Places of each position turned about its middle of the contact points; those out of sight left out."""
    away = places - middle
    y, z = away[:, 1], away[:, 2]
    with np.errstate(all="ignore"):
        turned = np.stack([away[:, 0], np.cos(roll) * y - np.sin(roll) * z, np.sin(roll) * y + np.cos(roll) * z], -1)
        near = np.linalg.norm(places - contacts, axis=-1) <= REACH_MM
    return np.where(near[:, None], middle + turned, np.nan)
