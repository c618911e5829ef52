"""``python -m qckit`` is the command line."""

from qckit.cli import main

if __name__ == "__main__":
    main()
