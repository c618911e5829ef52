"""Photos as they arrive: which sample each belongs to, by cards, names or order."""
