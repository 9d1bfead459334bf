"""What does not run on this machine is said at the end, with its reason."""

from __future__ import annotations

from hypothesis import settings

# a first call imports; how long an example takes says nothing about whether it is right
settings.register_profile("kin3d", deadline=None)
settings.load_profile("kin3d")


def pytest_terminal_summary(terminalreporter):
    """Print the reasons of tests that were not run."""
    for report in terminalreporter.stats.get("skipped", []):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
        terminalreporter.write_line(f"not run: {report.nodeid}: {reason}")
