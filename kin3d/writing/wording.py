"""Sentences that terminal and page have in common."""

from __future__ import annotations

import numpy as np

from kin3d.studies.attribution import Attribution
from kin3d.studies.significance import Kind

ADDED_UP = 1e-6  # a remainder over this part of its difference is told by name

FIGURE_HEADS: dict[Kind, str] = {
    "design": "Measures in the design position",
    "rate": "Gradients: change per mm of wheel travel, in the design position",
    "range": "Ranges: greatest less smallest value over the travel",
}


def turned() -> tuple[tuple[str, str], ...]:
    """Angles of a wishbone's plane: attribute and what it is called."""
    return (
        ("front_deg", "front view, rise outboard"),
        ("side_deg", "side view, rise forward"),
        ("axis_side_deg", "hinge line, side view, rise forward"),
        ("axis_plan_deg", "hinge line, plan view, outboard in front"),
    )


def remainder_sentence(found: Attribution) -> str:
    """How well the parts add up, relative to each difference in the design position; what does not is named apart."""
    share = remainder_share(found)
    met = share <= ADDED_UP
    if not len(share):
        return "Nothing is split."
    kinked = [f"{m.name} ({r:.0e} left over)" for m, r in zip(found.measures, share, strict=True) if r > ADDED_UP]
    text = ""
    if met.any():
        worst = int(np.argmax(np.where(met, share, -1.0)))
        text = f"Parts add up to the differences within {share[worst]:.0e} of each"
        text += f" (largest for {found.measures[worst].name}); up to {found.nodes} nodes along the way."
    if kinked:
        text += f" Not so for {', '.join(kinked)}: a kink lies on the way, and the parts are not to be relied on."
    return text.strip()


def remainder_share(found: Attribution) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Remainder over difference for each measure, value and gradient in the design position, the greater of both.

    A difference that is rounding itself counts as met.
    """
    out = np.zeros(len(found.measures))
    pairs = (
        (found.start_remainder, found.start_difference, found.start_parts),
        (found.rate_remainder, found.rate_difference, found.rate_parts),
    )
    for remainder, difference, parts in pairs:
        size = np.maximum(np.abs(difference), 1e-6 * np.abs(parts).sum(axis=1))
        real = size > 1e-12
        out = np.maximum(out, np.where(real, np.abs(remainder) / np.where(real, size, 1.0), 0.0))
    return out
