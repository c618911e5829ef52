"""Practice material with known truth: an invented site history, simulated hatches and drawn photos, all from a seed.

The history feeds the demo; the simulated hatches, each with a planted cause, check how often the explanation of a poor
hatch is right; the drawn photos serve tests and teaching. Everything here is invented and says so.
"""

from qckit.arguments import attach

__getattr__, __dir__, __all__ = attach(__name__, __file__)
