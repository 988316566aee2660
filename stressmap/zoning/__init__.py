"""Surfaces -> priorities by zone and by valve."""
