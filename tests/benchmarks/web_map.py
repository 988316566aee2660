"""How long the map of a 250-block ranch takes to draw and to open: ``python tests/benchmarks/web_map.py``."""

import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers.chromium_pages import DESK, PHONE, chromium
from helpers.drawn_content import large

from stressmap.output.web.map_page import write_map

with tempfile.TemporaryDirectory() as folder, chromium() as page:
    path = Path(folder) / "map.html"
    content = large()
    began = time.perf_counter()
    write_map(content, path)
    print(f"written in {time.perf_counter() - began:.2f} s, {path.stat().st_size / 1e6:.2f} MB")
    for name, size in (("phone", PHONE), ("desk", DESK)):
        opened = []
        for _ in range(5):
            page.open(path, size)
            opened.append(page.js("return performance.now()") / 1000)
        print(f"{name}: first view after {statistics.median(opened):.2f} s (median of 5)")
