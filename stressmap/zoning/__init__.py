"""Zoning: fitted surfaces -> priority zones, ranked valve zones, and the value of further readings."""
