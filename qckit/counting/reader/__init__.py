"""The reader: a trained network that proposes centres and stages, and what is made of its answers."""
