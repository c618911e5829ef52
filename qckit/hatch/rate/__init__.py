"""Hatching over the hours: T10, T50, T90 and synchrony."""
