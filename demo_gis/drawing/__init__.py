"""How the invented ranches are drawn: plans, ground, weather, truth, readings, log, files."""
