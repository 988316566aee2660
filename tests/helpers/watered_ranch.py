"""What the small ranch needs for a water plan: settings and columns of the valves."""

import pandas as pd

WATER = """
[water]
available = "2500 m3"
pump = "90 m3/h"
from = 2026-07-16
days = 4
hours = ["20:00", "06:00"]
out_of_service = ["N2"]
rest_hours = 4
dear_hours = []
days_apart = { micro_sprinkler = 0, sprinkler = 0 }
sets_a_week = { micro_sprinkler = 7, sprinkler = 7, flood = 7 }
"""
MORE_COLUMNS = pd.DataFrame(
    {
        "valve": ["N1", "N2", "S1", "S2"],
        "rate_mm_h": [1.5, 1.5, 1.0, 1.2],
        "min_hours": [2.0, 2.0, 4.0, 4.0],
        "max_hours": [24.0, 24.0, 30.0, 30.0],
    }
)
