"""Run the command line in this process and catch what it says."""

from __future__ import annotations

import contextlib
import io
import sys

from kin3d.cli import main


def run(*arguments: str) -> tuple[int, str, str]:
    """Exit code, standard output, standard error."""
    out, err = io.StringIO(), io.StringIO()
    before = sys.argv
    sys.argv = ["kin3d", *arguments]
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            try:
                main()
                code = 0
            except SystemExit as stop:
                code = int(stop.code or 0)
    finally:
        sys.argv = before
    return code, out.getvalue(), err.getvalue()
