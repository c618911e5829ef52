"""One lot over its hatches: its tests, its level, its ageing."""
