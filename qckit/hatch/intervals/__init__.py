"""Intervals: over cones, by counting alone, of rare counts, and how much counts scatter."""
