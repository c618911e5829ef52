"""Seeds of the made beds: the usual one, and with ``QCKIT_SEEDS="1009 4711"`` others, a minute or two each."""

import os

SEEDS = [17, *map(int, os.environ.get("QCKIT_SEEDS", "").split())]
