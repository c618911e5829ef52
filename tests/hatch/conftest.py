"""Steady property tests: the same examples every time, and no deadline on a busy machine."""

from hypothesis import settings

settings.register_profile("steady", deadline=None, derandomize=True)
settings.load_profile("steady")
