"""Irrigation planning by operations research: ranked valves, limits and hours -> allocation and schedule."""
