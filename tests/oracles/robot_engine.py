"""The corner as a robot: joint angles and loop closures of pinocchio, a general robotics library.

Joints instead of natural coordinates: arms and rocker are revolute joints, the upright hangs on the lower
arm by a ball joint, links have a ball joint at one end. The library's own constraint models close upper ball
joint, tie link and rod; its Jacobian of them drives Newton. Links may spin about themselves: the smallest
step leaves that alone.
"""

from __future__ import annotations

import numpy as np
import pinocchio as pin
from numpy.typing import NDArray

Array = NDArray[np.float64]
Points = dict[str, Array]


class RobotCorner:
    """A double wishbone corner with rod and rocker, kept in its last position."""

    def __init__(self, points: Points, rod_on: str) -> None:
        self.points = points
        self.model = pin.Model()
        self.origin: dict[int, Array] = {0: np.zeros(3)}
        lower = self._hinge("lower arm", "lower_front", "lower_rear")
        upright = self._add(lower, pin.JointModelSpherical(), "upright", "lower_outer")
        upper = self._hinge("upper arm", "upper_front", "upper_rear")
        self.rack = self._add(0, pin.JointModelPY(), "rack", "tie_inner")
        tie = self._add(self.rack, pin.JointModelSpherical(), "tie link", "tie_inner")
        rocker = self._hinge("rocker", "rocker_axis_1", "rocker_axis_2")
        rod = self._add(rocker, pin.JointModelSpherical(), "rod", "rod_inner")
        carrier = {"lower arm": lower, "upper arm": upper, "upright": upright}[rod_on]
        self.wheel = self._frame("wheel_centre", upright)
        self.spring = self._frame("spring_outer", rocker)
        loops = [("upper_outer", upper, upright), ("tie_outer", tie, upright), ("rod_outer", rod, carrier)]
        self.loops = pin.StdVec_RigidConstraintModel()
        for name, first, second in loops:
            self.loops.append(self._loop(name, first, second))
        self.data = self.model.createData()
        self.loop_data = pin.StdVec_RigidConstraintData()
        for loop in self.loops:
            self.loop_data.append(loop.createData())
        self.q = pin.neutral(self.model)

    def _add(self, parent: int, joint: pin.JointModel, name: str, at: str) -> int:
        shift = self.points[at] - self.origin[parent]
        made = self.model.addJoint(parent, joint, pin.SE3(np.eye(3), shift), name)
        self.origin[made] = self.points[at]
        return made

    def _hinge(self, name: str, first: str, second: str) -> int:
        axis = self.points[second] - self.points[first]
        return self._add(0, pin.JointModelRevoluteUnaligned(axis / np.linalg.norm(axis)), name, first)

    def _frame(self, name: str, joint: int) -> int:
        place = pin.SE3(np.eye(3), self.points[name] - self.origin[joint])
        return self.model.addFrame(pin.Frame(name, joint, 0, place, pin.FrameType.OP_FRAME))

    def _loop(self, name: str, first: int, second: int) -> pin.RigidConstraintModel:
        places = [pin.SE3(np.eye(3), self.points[name] - self.origin[joint]) for joint in (first, second)]
        kind, frame = pin.ContactType.CONTACT_3D, pin.ReferenceFrame.LOCAL
        return pin.RigidConstraintModel(kind, self.model, first, places[0], second, places[1], frame)

    def _errors(self, height: float, rack: float) -> tuple[Array, Array]:
        pin.forwardKinematics(self.model, self.data, self.q)
        pin.updateFramePlacements(self.model, self.data)
        pin.computeJointJacobians(self.model, self.data, self.q)
        for loop, store in zip(self.loops, self.loop_data, strict=True):
            if hasattr(loop, "calc"):  # from version 4 on the library leaves this to the caller
                loop.calc(self.model, self.data, store)
        rows = [pin.getConstraintsJacobian(self.model, self.data, self.loops, self.loop_data)]
        gaps = []
        for loop in self.loops:
            ends = [self.data.oMi[loop.joint1_id] * loop.joint1_placement]
            ends.append(self.data.oMi[loop.joint2_id] * loop.joint2_placement)
            gaps.append(ends[0].rotation.T @ (ends[0].translation - ends[1].translation))
        world = pin.ReferenceFrame.LOCAL_WORLD_ALIGNED
        rows.append(pin.getFrameJacobian(self.model, self.data, self.wheel, world)[2:3])
        slide = np.zeros((1, self.model.nv))
        slide[0, self.model.joints[self.rack].idx_v] = 1.0
        rows.append(slide)
        up = self.data.oMf[self.wheel].translation[2] - self.points["wheel_centre"][2] - height
        along = self.q[self.model.joints[self.rack].idx_q] - rack
        return np.concatenate([*gaps, [up, along]]), np.vstack(rows)

    def move(self, height: float, rack: float = 0.0) -> tuple[Array, float]:
        """Close the loops at a height of the wheel centre and a rack displacement, from where it last stood.

        Returns
        -------
        wheel_centre : ndarray, shape (3,), mm
        spring_length : float, mm
        """
        for _ in range(40):
            error, jacobian = self._errors(height, rack)
            step = np.linalg.lstsq(jacobian, -error, rcond=1e-12)[0]
            self.q = pin.integrate(self.model, self.q, step)
            if np.abs(error).max() < 1e-10 and np.abs(step).max() < 1e-11:
                break
        else:
            raise AssertionError(f"the robot does not close at {height} mm: {np.abs(error).max():.1e} mm")
        wheel = np.array(self.data.oMf[self.wheel].translation)
        spring = self.data.oMf[self.spring].translation - self.points["spring_inner"]
        return wheel, float(np.linalg.norm(spring))

    def forces(self, place: Array, force: Array, couple: Array) -> dict[tuple[str, str], Array]:
        """Forces at the loops where the wheel is loaded and the spring holds it, from the library's Jacobians.

        Parameters
        ----------
        place, force : ndarray, shape (3,)
            On the upright, in the position where it stands.
        couple : ndarray, shape (3,)
            On the upright.

        Returns
        -------
        dict of (point, body) to ndarray
            On the first body of a loop: upper arm, tie link, rod.
        """
        _, jacobian = self._errors(0.0, 0.0)
        world = pin.ReferenceFrame.LOCAL_WORLD_ALIGNED
        wheel = pin.getFrameJacobian(self.model, self.data, self.wheel, world)
        arm = place - self.data.oMf[self.wheel].translation
        load = wheel[:3].T @ force + wheel[3:].T @ (np.cross(arm, force) + couple)
        out = self.data.oMf[self.spring].translation - self.points["spring_inner"]
        spring = pin.getFrameJacobian(self.model, self.data, self.spring, world)[:3].T @ (out / np.linalg.norm(out))
        rows = np.vstack([jacobian[: 3 * len(self.loops)], jacobian[-1:], spring[None]])  # loops, rack, spring
        scale = np.linalg.norm(rows, axis=1)[:, None]
        found = np.linalg.lstsq((rows / scale).T, -load, rcond=1e-12)[0] / scale[:, 0]
        assert np.abs(rows.T @ found + load).max() < 1e-6 * np.abs(load).max(), "the loads are not in balance"
        forces = {}
        firsts = ("upper_outer", "upper arm"), ("tie_outer", "tie link"), ("rod_outer", "rod")
        for k, (name, body) in enumerate(firsts):
            first = self.data.oMi[self.loops[k].joint1_id] * self.loops[k].joint1_placement
            forces[name, body] = first.rotation @ found[3 * k : 3 * k + 3]
        return forces
