"""Models fitted to photos of known truth, and a camera learnt from photos that people have settled."""
