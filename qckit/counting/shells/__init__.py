"""Cysts and empty shells told apart by the round bodies of the photo itself."""
