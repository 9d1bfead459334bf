"""The adjustment of photographs against a general optimiser that shares no code and no formulation with it."""

from __future__ import annotations

import numpy as np
import pytest

from kin3d.photographs.adjust import adjust, spread
from tests import photo_scenes as scenes
from tests.oracles import photo_twin
from tests.photo_scenes import FRONT, LOW, QUARTER


@pytest.mark.parametrize(("cars", "shots"), [(["plover"], [QUARTER, LOW]), (["dunlin", "plover"], [FRONT, QUARTER])])
def test_estimates_and_covariance_are_those_of_the_twin(cars, shots):
    scene = scenes.scene(cars, shots, 11, template_off=25.0)
    fit = adjust(scene.model, scene.truth, settled=1e-10)
    index, value, covariance = photo_twin.solve(scene.model, scene.truth)
    found = spread(fit).covariance[np.ix_(index, index)]
    sigma = np.sqrt(np.diag(covariance))
    np.testing.assert_allclose((fit.state.numbers[index] - value) / sigma, 0.0, rtol=0.0, atol=1e-6)
    apart = (found - covariance) / np.outer(sigma, sigma)
    np.testing.assert_allclose(apart, 0.0, rtol=0.0, atol=1e-8)
