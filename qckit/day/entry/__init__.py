"""Entering the day: questions, forms and keys, and the rows that are made of the answers."""
