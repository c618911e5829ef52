"""Read a photo from disk: pixels, orientation, time, size, scale; judge whether it can be counted."""
