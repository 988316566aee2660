"""Sheets and pictures."""
