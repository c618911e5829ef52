"""Uncertainty budgets: what dominates a figure's uncertainty, and what would shrink it."""
