"""The day sheet: empty, filled in, and its rows of sums."""
