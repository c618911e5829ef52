"""How many cones and subsamples a test needs, and what it risks."""
