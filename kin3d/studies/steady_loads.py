"""Steady loads on a car: braking or driving, cornering, downforce, in steps from rest or from one another."""

from __future__ import annotations

from dataclasses import dataclass

from kin3d.linkage.keys import LoadCase


@dataclass(frozen=True, slots=True)
class Loads:
    """Steady loads on a car.

    Attributes
    ----------
    braking_g, lateral_g : float
        Deceleration (negative: driving) and acceleration to the left, in g.
    aero_front_n, aero_rear_n : float
        Downforce at the axles, N.
    rack_mm : float
        Displacement of the front rack.
    vertical_g : float
        Weight over that at rest: 1 on a flat road.
    """

    braking_g: float = 0.0
    lateral_g: float = 0.0
    aero_front_n: float = 0.0
    aero_rear_n: float = 0.0
    rack_mm: float = 0.0
    vertical_g: float = 1.0

    @staticmethod
    def of(case: LoadCase, rack_mm: float = 0.0) -> Loads:
        """The loads of a case of the settled car."""
        along = (case.braking_g or 0.0) - (case.driving_g or 0.0)
        vertical = 1.0 if case.vertical_g is None else case.vertical_g
        return Loads(along, case.lateral_g or 0.0, rack_mm=rack_mm, vertical_g=vertical)

    def __str__(self) -> str:
        parts = []
        if self.braking_g:
            parts.append(f"{'braking' if self.braking_g > 0 else 'driving'} {abs(self.braking_g):.4g} g")
        if self.lateral_g:
            parts.append(f"{abs(self.lateral_g):.4g} g to the {'left' if self.lateral_g > 0 else 'right'}")
        if self.aero_front_n or self.aero_rear_n:
            parts.append(f"downforce {self.aero_front_n:.4g} N front, {self.aero_rear_n:.4g} N rear")
        if self.vertical_g != 1.0:
            parts.append(f"{self.vertical_g:.4g} g vertically")
        if self.rack_mm:
            parts.append(f"rack {self.rack_mm:g} mm")
        return ", ".join(parts) or "at rest"

    def part(self, share: float, since: Loads | None = None) -> Loads:
        """The same with accelerations and downforce at a share of the way from others, by default from rest."""
        before = (0.0, 0.0, 0.0, 0.0, 1.0) if since is None else since.each
        each = (old + share * (new - old) for new, old in zip(self.each, before, strict=True))
        braking, lateral, front, rear, vertical = each
        return Loads(braking, lateral, front, rear, self.rack_mm, vertical)

    @property
    def each(self) -> tuple[float, float, float, float, float]:
        """Braking, lateral, downforce front and rear, vertical."""
        return self.braking_g, self.lateral_g, self.aero_front_n, self.aero_rear_n, self.vertical_g

    @property
    def field_g(self) -> tuple[float, float, float]:
        """Weight and inertia of a mass in g, along the ground's x, y and normal."""
        return self.braking_g, -self.lateral_g, -self.vertical_g
