"""How a balance of the whole car is found: Newton's iteration, the loads brought on in steps.

A tyre that would have to pull lifts off and hangs on its springs; a lifted wheel whose free tyre would sink into the
ground comes down again. A state is accepted only if it is stable: one that balances on two wheels is none in which a
car stands.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.loads.load_transfer import GRAVITY_M_PER_S2
from kin3d.studies.attitude import LOAD, WHEELS, Attitude, Evaluated, solved_each
from kin3d.studies.steady_loads import Loads

Array = NDArray[np.float64]
FORCE_N, GAP_MM, MOMENT_NMM = 1e-7, 1e-8, 1e-4  # residuals of an accepted state
ITERATIONS = 15
FIRST_G, SMALLEST_G = 0.5, 1e-4  # steps in which the loads are brought on, as a share of the weight
RESOLVED = 5e-4  # the largest load that can be held is found to this part of it
CHANGES = 6  # of the wheels that are lifted, before the search gives up
_TRAVEL_STEP_MM = 15.0  # a Newton step is cut to this travel
DOWN = (False, False, False, False)
_TIPS = "the car tips over"
_ENDS = "a linkage comes to its end"
_NONE = "no balance is found"


class LoadSteps:
    """Newton's iteration of one car, loads in steps, wheels that lift; `y` and `lifted` are the last state that holds.

    States have the shape (13,).
    """

    def __init__(self, attitude: Attitude, start: Array) -> None:
        self.attitude = attitude
        self.y = start
        self.lifted: tuple[bool, ...] = DOWN
        self.reason = ""

    def run(self, loads: Loads, since: Loads | None = None) -> tuple[Array, tuple[bool, ...]]:
        """Bring the loads on; returns the state and which wheels are lifted.

        Parameters
        ----------
        since : Loads, optional
            Those that the last state holds; default: the car is brought to rest first.
        """
        before = since or loads.part(0.0)
        if since is None and not self.balance(before):
            text = "the springs do not hold the car up at rest: the linkage comes to its end first"
            raise RequestError([Finding("no-attitude", text, str(self.attitude.cars.model.car.source)), *self._why()])
        size = self._size(loads, before)
        done, step, halved = 0.0, min(1.0, FIRST_G / size), False
        while done < 1.0:
            ahead = min(step, 1.0 - done)
            if self.balance(loads.part(done + ahead, before)):
                done = 1.0 if ahead >= 1.0 - done else done + ahead
                step, halved = (step if halved else 2.0 * step), False
            elif ahead > max(RESOLVED * done, SMALLEST_G / size):
                step, halved = 0.5 * ahead, True
            else:
                raise RequestError([self._cannot(loads, loads.part(done, before)), *self._why()])
        return self.y, self.lifted

    def _size(self, loads: Loads, before: Loads) -> float:
        """Largest of the changes of load as a share of the weight."""
        weight = float(self.attitude.body.mass_kg[0]) * GRAVITY_M_PER_S2
        pairs = zip(loads.each, before.each, strict=True)
        braking, lateral, front, rear, vertical = (abs(new - old) for new, old in pairs)
        return max(braking, lateral, vertical, (front + rear) / weight, 1e-9)

    def balance(self, loads: Loads) -> bool:
        """Balance at these loads, lifting and lowering wheels as they ask for it; keeps the state when it is found."""
        lifted, y = self.lifted, self.y.copy()
        for _ in range(CHANGES):
            found = self.newton(y, loads, lifted)
            if found is None:
                return False
            y, here = found
            changed = contacts_after(self.attitude, y[:, None], here, lifted)[:, 0]
            if tuple(changed) == lifted:
                if not self.attitude.stable(here, lifted)[0]:
                    self.reason = _TIPS
                    return False
                self.y, self.lifted = y, lifted
                return True
            if on_two_wheels(changed):
                self.reason = _TIPS
                return False
            lifted = tuple(bool(c) for c in changed)
        self.reason = _NONE
        return False

    def newton(self, start: Array, loads: Loads, lifted: tuple[bool, ...]) -> tuple[Array, Evaluated] | None:
        """The balance near a state; None where there is none."""
        y, here = balance_near(self.attitude, start[:, None], loads, lifted)
        if is_small(here)[0]:
            return y[:, 0], here
        if np.isfinite(here.residual).all():
            self.reason = _NONE if solved_each(here.jacobian, here.residual.T[..., None])[1][0] else _TIPS
        else:
            self.reason = _ENDS
        return None

    def _cannot(self, loads: Loads, reached: Loads) -> Finding:
        rest = loads.part(0.0)
        done = self._size(reached, rest) / self._size(loads, rest)
        part = f" ({100.0 * done:.4g} % of what was asked for)" if done > 1e-9 else ""
        text = f"no attitude carries these loads: the largest that is held is {reached}{part}; beyond it {self.reason}"
        return Finding("no-attitude", text, str(self.attitude.cars.model.car.source))

    def _why(self) -> list[Finding]:
        up = [w for w, lifted in zip(WHEELS, self.lifted, strict=True) if lifted]
        travel = ", ".join(f"{w} {z:+.1f} mm" for w, z in zip(WHEELS, self.y[:4], strict=True))
        said = f"; lifted: {', '.join(up)}" if up else ""
        return [Finding("last-attitude", f"travels in the last state that holds: {travel}{said}")]


def balance_near(attitude: Attitude, start: Array, loads: Loads, lifted: tuple[bool, ...]) -> tuple[Array, Evaluated]:
    """Newton's iteration of all cars of an attitude, from states (13, cars); `is_small` says which are in balance."""
    y = start.copy()
    here = attitude.evaluate(y, loads, lifted)
    for _ in range(ITERATIONS):
        open_ = ~is_small(here)
        step, known = solved_each(here.jacobian[open_], -here.residual.T[open_, :, None])
        if not known.any():
            break
        step = step[..., 0].T
        step = step * np.minimum(1.0, _TRAVEL_STEP_MM / np.maximum(np.abs(step[:4]).max(axis=0), 1e-12))
        y[:, open_] += step
        here = attitude.evaluate(y, loads, lifted)
    return y, here


def contacts_after(attitude: Attitude, y: Array, here: Evaluated, lifted: tuple[bool, ...]) -> NDArray[np.bool_]:
    """Which wheels of states in balance would be in the air, shape (4, cars): loads that pull, tyres that sink in."""
    free = attitude.body.static_give_mm
    rows = [here.gap[k] >= free[k] - 1e-6 if up else y[LOAD][k] < -1e-6 for k, up in enumerate(lifted)]
    return np.stack(rows)


def on_two_wheels(lifted: Sequence[bool] | NDArray[np.bool_]) -> bool:
    """Whether an axle is in the air, or a side of the car: what stands on two wheels falls over."""
    return any(lifted[a] and lifted[b] for a, b in ((0, 1), (2, 3), (0, 2), (1, 3)))


def is_small(found: Evaluated) -> NDArray[np.bool_]:
    """Which cars are in balance, shape (cars,)."""
    r = np.abs(found.residual)
    forces, contacts, moments = r[[0, 1, 2, 3, 8, 9]], r[4:8], r[10:]
    small = (forces.max(axis=0) < FORCE_N) & (contacts.max(axis=0) < GAP_MM) & (moments.max(axis=0) < MOMENT_NMM)
    return np.asarray(small)
