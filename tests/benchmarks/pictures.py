"""Draw the pictures of the README from a finished run: ``python tests/benchmarks/pictures.py RUN_FOLDER``."""

import io
import shutil
import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers.chromium_pages import DESK, PHONE, Page, chromium
from PIL import Image

OUTPUTS = Path(__file__).parents[2] / "outputs"
GAP, GROUND = 16, "#8a9299"


def shot(page: Page, path: Path, size: tuple[int, int]) -> Image.Image:
    page.open(path, size)
    return Image.open(io.BytesIO(page.driver.get_screenshot_as_png())).convert("RGB")


def save(image: Image.Image, name: str) -> None:
    few = image.quantize(160, Image.Quantize.MAXCOVERAGE, kmeans=2, dither=Image.Dither.NONE)
    few.save(OUTPUTS / name, optimize=True)


def side_by_side(one: Image.Image, other: Image.Image) -> Image.Image:
    other = other.resize(
        (round(other.width * one.height / other.height), one.height), Image.Resampling.LANCZOS
    )
    both = Image.new("RGB", (one.width + GAP + other.width, one.height), GROUND)
    both.paste(one, (0, 0))
    both.paste(other, (one.width + GAP, 0))
    return both


run = Path(sys.argv[1])
with chromium() as opened:
    phone, desk = (shot(opened, run / "map.html", size) for size in (PHONE, DESK))
save(side_by_side(phone, desk), "map.png")
renderer = shutil.which("pdftoppm")
if renderer:
    pages = []
    for page in ("1", "2"):
        made = subprocess.run(
            [renderer, "-r", "80", "-f", page, "-l", page, "-png", str(run / "crew_sheet.pdf")],
            check=True, capture_output=True,
        )  # fmt: skip
        pages.append(Image.open(io.BytesIO(made.stdout)).convert("RGB"))
    sheet = side_by_side(*pages).convert("L")
    sheet.quantize(16, dither=Image.Dither.NONE).save(OUTPUTS / "crew_sheet.png", optimize=True)
