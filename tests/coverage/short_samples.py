"""Coverage of the mean of few readings, by simulation: `python -m tests.coverage.short_samples [trials]` prints the table.

The noise is generated here, apart from the service: white, first-order autoregressive, 1/f over 4,096 readings (its true mean is
that of all), and white noise with a slow autoregression in equal parts.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from compute.statistics.gum import coverage_factor
from compute.statistics.short_samples import mean_uncertainty

COUNTS = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 30, 45, 60, 100, 300)
FLICKER_LENGTH = 4096
WARM_UP = 400
Noise = Callable[[np.random.Generator, int], np.ndarray]


def autoregression(correlation: float) -> Noise:
    def noise(rng: np.random.Generator, count: int) -> np.ndarray:
        shocks = rng.normal(size=count + WARM_UP)
        return np.asarray(lfilter([math.sqrt(1 - correlation**2)], [1, -correlation], shocks)[WARM_UP:])

    return noise


def flicker(rng: np.random.Generator, count: int) -> np.ndarray:
    half = FLICKER_LENGTH // 2
    tones = (rng.normal(size=half + 1) + 1j * rng.normal(size=half + 1)) / np.sqrt(
        np.maximum(np.arange(half + 1), 1)
    )
    tones[0] = 0
    return np.fft.irfft(tones, FLICKER_LENGTH)[:count]


def white_and_slow(rng: np.random.Generator, count: int) -> np.ndarray:
    return (rng.normal(size=count) + autoregression(0.95)(rng, count)) / math.sqrt(2)


NOISES: dict[str, Noise] = {
    "white": autoregression(0.0),
    "0.3": autoregression(0.3),
    "0.6": autoregression(0.6),
    "0.8": autoregression(0.8),
    "0.9": autoregression(0.9),
    "0.95": autoregression(0.95),
    "1/f": flicker,
    "white + 0.95": white_and_slow,
}


@dataclass(frozen=True)
class Simulated:
    """Share of 95 % intervals that contain the true mean of 0, and their median width over that of Student's interval."""

    coverage: float
    width: float
    short: float


def simulated(noise: Noise, count: int, trials: int) -> Simulated:
    rng = np.random.default_rng(count)
    held, short, halves, students = 0, 0, [], []
    for _ in range(trials):
        log = noise(rng, count)
        found = mean_uncertainty([log])
        half = coverage_factor(0.95, found.degrees_of_freedom) * found.standard_uncertainty
        held += abs(log.mean()) <= half
        short += found.correlated >= 0.9 and found.effective_sample_size < 10
        halves.append(half)
        students.append(coverage_factor(0.95, count - 1) * log.std(ddof=1) / math.sqrt(count))
    return Simulated(held / trials, float(np.median(halves) / np.median(students)), short / trials)


def main() -> None:
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    names = "".join(f"{name:>13}" for name in NOISES)
    sys.stdout.write(f"   n  {names}   width (white)  short (white, 0.95)\n")
    for count in COUNTS:
        row = {name: simulated(noise, count, trials) for name, noise in NOISES.items()}
        shares = "".join(f"{one.coverage:13.3f}" for one in row.values())
        white, slow = row["white"], row["0.95"]
        sys.stdout.write(f"{count:4d}  {shares}{white.width:10.2f}{white.short:10.3f}{slow.short:8.3f}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
