"""Whether a reading may be used, and where does it belong."""
