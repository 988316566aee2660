"""What every room may use: problems and notes, settings, units, progress, interrupts, safe reading."""
