"""Pages for a browser: the map."""
