"""The next measuring round: what one more reading is worth, ways one can walk, a plan in time."""
