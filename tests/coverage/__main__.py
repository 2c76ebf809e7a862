"""Coverage of every kind of survey, as a table: `python -m tests.coverage [TRIALS] [--case TEXT]`."""

from __future__ import annotations

import argparse

from tests.coverage.cases import CASES
from tests.coverage.counting import HEADER, coverage


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.coverage", description=__doc__)
    parser.add_argument("trials", nargs="?", type=int, default=10_000)
    parser.add_argument("--case", default="", help="only the cases whose name contains this")
    options = parser.parse_args()
    print(HEADER)
    for case in CASES:
        if options.case in case.name:
            print(coverage(case, options.trials).line(), flush=True)


if __name__ == "__main__":
    main()
