"""A month reviewed: in control or not, what changed and since when, what goes with it."""
