"""Tests that need a graphics library, a display server or the window's packages say why they do not run without."""

from __future__ import annotations

import shutil

import pytest

from kin3d.errors import RequestError
from kin3d_viewer.probe import missing_modules, need_pictures
from tests.everything import not_here


@pytest.fixture(scope="session")
def graphics():
    """OpenGL off screen."""
    try:
        need_pictures()
    except RequestError as error:
        not_here(str(error))


@pytest.fixture(scope="session")
def display_tools():
    """Xvfb, xdotool and the packages of the extra `viewer`."""
    missing = [t for t in ("Xvfb", "xdotool") if shutil.which(t) is None]
    if missing:
        not_here(f"{' and '.join(missing)} not found: apt-get install xvfb xauth xdotool")
    if missing_modules():
        not_here(f"{' and '.join(missing_modules())} not installed: pip install 'kin3d[viewer]'")
