"""How often intervals of catch rates hold the truth over 2,000 simulated seasons, and what ranking gains.

`python -m tests.bench.rates [SEASONS]`: a row for each way in which rates may differ from ground to ground.
"""

from __future__ import annotations

import sys
import time

from tests.review.rate_simulation import TRUTHS, simulate


def main() -> None:
    """Print a table."""
    seasons = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    print("truth: coverage shrunken, raw; regret of the first ground shrunken, raw; mean square error, ratio")
    for k, truth in enumerate(TRUTHS):
        start = time.process_time()
        held = simulate(truth, seasons=seasons, seed=20261125 + k)
        took = time.process_time() - start
        print(
            f"{truth}: {held.shrunken_cover:.3f}, {held.raw_cover:.3f}; {held.shrunken_regret:.3f}, "
            f"{held.raw_regret:.3f}; {held.shrunken_square / held.raw_square:.2f} ({took:.0f} CPU s)"
        )


if __name__ == "__main__":
    main()
