"""Counter against counter: the photo counter against a person, people against people, and what follows.

From the same photos counted both ways come bias and limits of agreement, concordance, repeatability and
reproducibility, the detection rate and the confusion between stages with their intervals, a certificate with a date
to check again, and from it the correction of later counts with intervals that know about all of this. Everything
takes arrays and DataFrames and returns data; nothing here reads a file or the log.
"""

from qckit.arguments import attach

__getattr__, __dir__, __all__ = attach(__name__, __file__)
