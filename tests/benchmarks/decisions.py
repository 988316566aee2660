"""How good the decisions are, on simulated ranches whose truth is known; run by hand.

``python tests/benchmarks/decisions.py [RANCHES]`` prints the table of docs/benchmarks.md.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers import decided

if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    print(decided.table([decided.decide(seed) for seed in range(count)]))
