"""Water-stress maps of orchards from midday stem water potential readings.

Importing this package is light; ``from stressmap import agronomy`` (or any other room) loads what it needs.
"""

__version__ = "0.1.0"
