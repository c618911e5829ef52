"""From the pixels of a photo to objects, stages and counts: each step a function over arrays and tables."""
