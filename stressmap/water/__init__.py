"""Limited water -> which valve gets how much, and when."""
