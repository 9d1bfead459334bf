"""The process of the command line: ``kin3d`` and ``python -m kin3d``."""

from __future__ import annotations

import gc


def main() -> None:
    """Run the command line."""
    # a command is short and makes many small objects while it imports: collecting them would take a tenth of its time
    gc.set_threshold(200_000)
    from kin3d.cli import main as run

    run()


if __name__ == "__main__":
    main()
