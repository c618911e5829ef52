"""Control charts: limits and signals as data first, drawing apart."""
