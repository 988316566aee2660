"""What a pressure means for that crop, date and weather."""
