"""The output folder: made ready, replaced whole, recorded."""
