"""What a machine lacks: tests that need it say so, and fail where everything is meant to be there."""

from __future__ import annotations

import os
import shutil
from typing import NoReturn

import pytest

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")


def not_here(reason: str) -> NoReturn:
    """Skip with the reason; where KIN3D_EVERYTHING is set (the CI script installs all that is needed), fail."""
    if os.environ.get("KIN3D_EVERYTHING"):
        pytest.fail(f"KIN3D_EVERYTHING is set, but {reason}")
    pytest.skip(reason)


def browser() -> str:
    """The Chromium that is installed."""
    found = next((b for b in map(shutil.which, BROWSERS) if b), None)
    if found is None:
        not_here(f"none of {', '.join(BROWSERS)} is installed: apt-get install chromium")
    return found
