"""The water of a hatch: its readings in one unit each, the standard, and seawater by TEOS-10."""
