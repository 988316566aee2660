"""Where the repository and its demo ranch lie."""

from pathlib import Path

REPOSITORY = Path(__file__).parents[2]
DEMO = REPOSITORY / "config" / "demo_ranch.toml"
ASSETS = Path(__file__).parent / "assets"
