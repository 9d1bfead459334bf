"""The suite runs on this checkout, and says at the end what does not run on this machine, with its reason."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest
from hypothesis import settings

# kin3d and kin3d_viewer of this checkout come before any that is installed, here and in every process started from here
ROOT = Path(__file__).parents[1]
SOURCES = [str(ROOT), str(ROOT / "viewer")]
sys.path[:0] = SOURCES
# small matrices: threads of the linear algebra would wait on each other and on the other worker
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ["PYTHONPATH"] = os.pathsep.join([*SOURCES, *filter(None, [os.environ.get("PYTHONPATH")])])

# a first call imports; how long an example takes says nothing about whether it is right
settings.register_profile("kin3d", deadline=None)
settings.load_profile("kin3d")

# whole studies, pictures, windows, commands of the guide, many damaged drawings: files that take more than some six
# seconds of processor time. `pytest -m "not slow"` leaves them out; the rest takes about 75 seconds of it in all, so
# that it is done within a minute with -n 2
SLOW = (
    "tests/test_packaging.py",
    "tests/test_readme.py",
    "tests/cli/",
    "tests/viewer/test_editing.py",
    "tests/viewer/test_files.py",
    "tests/viewer/test_pictures.py",
    "tests/viewer/test_scene.py",
    "tests/viewer/test_window.py",
    "tests/laws/test_attribution_laws.py",
    "tests/laws/test_axle_settle.py",
    "tests/laws/test_coverage.py",
    "tests/laws/test_fusion_laws.py",
    "tests/laws/test_kernel_laws.py",
    "tests/laws/test_limits.py",
    "tests/laws/test_other_engine.py",
    "tests/laws/test_photo_",
    "tests/laws/test_pieces.py",
    "tests/laws/test_same_again.py",
    "tests/laws/test_random_linkages.py",
    "tests/laws/test_sensitivity_laws.py",
    "tests/laws/test_settle_limits.py",
    "tests/laws/test_swap.py",
    "tests/laws/test_tape_laws.py",
    "tests/laws/test_tolerance_laws.py",
    "tests/laws/test_verdicts.py",
    "tests/published/test_chessboards.py",
    "tests/unit/test_compare.py",
    "tests/unit/test_dxf_damaged.py",
    "tests/unit/test_dxf_size.py",
    "tests/unit/test_dxf_writing.py",
    "tests/unit/test_face.py",
    "tests/unit/test_figure_errors.py",
    "tests/unit/test_naming_page.py",
    "tests/unit/test_outside.py",
    "tests/unit/test_photo_",
    "tests/unit/test_plausibility.py",
    "tests/unit/test_report.py",
)


def pytest_collection_modifyitems(items):
    """Mark what is slow; the list stands here, so that one look says what the quick run leaves out."""
    for item in items:
        if item.nodeid.startswith(SLOW):
            item.add_marker(pytest.mark.slow)


def pytest_terminal_summary(terminalreporter):
    """Print the reasons of tests that were not run."""
    for report in terminalreporter.stats.get("skipped", []):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
        terminalreporter.write_line(f"not run: {report.nodeid}: {reason}")
