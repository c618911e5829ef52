"""Drawn practice photos and an invented site history, from one random seed."""
