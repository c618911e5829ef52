"""Field sheets: cells, headings and rows as people write them, and empty sheets to fill in."""
