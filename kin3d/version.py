"""Which version of kin3d this is."""

from __future__ import annotations

__version__ = "0.1.0"
