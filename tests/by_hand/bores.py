"""How often the 95 % band of a bore's place holds the truth: ``python -m tests.by_hand.bores [PARTS]``; seeds 0 on."""

from __future__ import annotations

import sys

import numpy as np

from tests.unit.test_bores import misses


def main() -> None:
    """Count over so many parts, 30 by default."""
    parts = int(sys.argv[1]) if len(sys.argv) > 1 else 30
    size = np.abs(misses(range(parts)))
    print(f"{parts} parts, {len(size)} coordinates: {100 * (size < 1.96).mean():.1f} % within the 95 % band")


if __name__ == "__main__":
    main()
