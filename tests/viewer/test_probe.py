"""A missing system library ends in a sentence with the Debian line, not in a crash."""

from __future__ import annotations

import pytest

from kin3d.errors import RequestError
from kin3d_viewer import probe


@pytest.fixture
def crashing(monkeypatch):
    """Every trial ends as it does where the library is missing: the child is killed by a signal."""
    monkeypatch.setattr(probe, "_PICTURE", "import os; os.kill(os.getpid(), 11)")
    monkeypatch.setattr(probe, "_WINDOW", "raise ImportError('libxcb-cursor.so.0: cannot open shared object file')")
    monkeypatch.setattr(probe, "OFF_SCREEN", {})


def test_no_opengl_names_the_packages(crashing):
    with pytest.raises(RequestError) as told:
        probe.need_pictures()
    assert "apt-get install libegl1 libgl1" in str(told.value)
    assert "the trial ended with signal 11" in str(told.value)


def test_no_window_library_names_the_packages(crashing, monkeypatch):
    monkeypatch.setenv("DISPLAY", ":7")
    monkeypatch.setattr(probe, "missing_modules", list)
    with pytest.raises(RequestError) as told:
        probe.need_window()
    assert "apt-get install libegl1 libgl1 libfontconfig1" in str(told.value)
    assert "libxcb-cursor.so.0: cannot open shared object file" in str(told.value)


def test_missing_extra_is_told_with_what_works_without(monkeypatch):
    monkeypatch.setattr(probe, "missing_modules", lambda: ["PySide6", "pyvistaqt"])
    with pytest.raises(RequestError, match=r"needs PySide6 and pyvistaqt: pip install 'kin3d\[viewer\]'"):
        probe.need_window()


def test_a_trial_that_works_says_nothing(monkeypatch):
    monkeypatch.setattr(probe, "_PICTURE", "pass")
    monkeypatch.setattr(probe, "OFF_SCREEN", {})
    probe.need_pictures()
