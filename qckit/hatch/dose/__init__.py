"""How many grams to wet, when, and what there is to feed."""
