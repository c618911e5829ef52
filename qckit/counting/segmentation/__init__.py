"""From the light of a photo to pieces of its foreground and what they measure."""
