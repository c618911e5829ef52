"""What the harvest brings in of what hatched, and how clean it is."""
