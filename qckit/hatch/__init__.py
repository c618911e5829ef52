"""From counts to hatch metrics: percentage, efficiency, rate, uncertainty, comparison, plan, dose, water."""
