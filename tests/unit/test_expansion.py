"""The expansion about the design position on a tape against the same by jets over arrays."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from kin3d.linkage.names import AxleName
from kin3d.solve.drives import RACK, TRAVEL
from kin3d.solve.expansion import Expansion, RecordedExpansion
from kin3d.solve.model import AxleModel
from tests.laws.cars import CORNERS, car


@pytest.mark.parametrize(("name", "axle"), CORNERS)
@pytest.mark.parametrize("drives", [(TRAVEL,), (TRAVEL, RACK)], ids="-".join)
def test_tape_and_jets_agree(name: str, axle: AxleName, drives: tuple[str, ...]) -> None:
    model = AxleModel.of(car(name), axle)  # of its own: a system counts how often it was asked
    kernel = model.kernel
    if RACK in drives and RACK not in kernel.system.drives:
        drives = (TRAVEL,)
    spread = np.random.default_rng(4).normal(0.0, 0.3, (3, *model.variants.design[0].shape))
    variants = kernel.variants(model.variants.design[0] + spread, model.variants.rack_axis[0])
    by_jets = Expansion(kernel.system, variants, drives).coefficients
    taped = RecordedExpansion(kernel.system, drives).coefficients(variants)
    assert taped is not None
    size = np.abs(by_jets).max(axis=1, keepdims=True)
    assert_allclose(taped.reshape(by_jets.shape) / size, by_jets / size, rtol=0.0, atol=1e-12)
