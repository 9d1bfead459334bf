"""The suite runs on this checkout, and says at the end what does not run on this machine, with its reason."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from hypothesis import settings

# kin3d and kin3d_viewer of this checkout come before any that is installed, here and in every process started from here
ROOT = Path(__file__).parents[1]
SOURCES = [str(ROOT), str(ROOT / "viewer")]
sys.path[:0] = SOURCES
os.environ["PYTHONPATH"] = os.pathsep.join([*SOURCES, *filter(None, [os.environ.get("PYTHONPATH")])])

# a first call imports; how long an example takes says nothing about whether it is right
settings.register_profile("kin3d", deadline=None)
settings.load_profile("kin3d")


def pytest_terminal_summary(terminalreporter):
    """Print the reasons of tests that were not run."""
    for report in terminalreporter.stats.get("skipped", []):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
        terminalreporter.write_line(f"not run: {report.nodeid}: {reason}")
