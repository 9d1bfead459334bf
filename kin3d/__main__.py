"""``python -m kin3d``: the command line."""

from kin3d.cli import main

if __name__ == "__main__":
    main()
