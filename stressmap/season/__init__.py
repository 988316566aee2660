"""Visits and sets of a season: courses, irrigation cycles, drying, days left."""
