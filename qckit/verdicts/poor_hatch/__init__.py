"""A poor hatch explained: how poor, the count, the causes and their weights, what to check and to do next."""
