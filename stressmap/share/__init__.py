"""Results -> files people use."""
