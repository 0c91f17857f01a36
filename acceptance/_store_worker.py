"""Writes to a bench without pause until it is killed; prints a line for what it was promised.

``python -m acceptance._store_worker FOLDER SEED`` is started and killed by ``acceptance.store``.
"""

from __future__ import annotations

import datetime as dt
import itertools
import sys

import numpy as np

from counterproof.bench import Bench
from counterproof.kit import Instrument
from counterproof.records import Run
from counterproof.signals.trains import PulseTrain

RATE_PER_S = 1000


def main(folder: str, seed: int) -> None:
    """Add, amend, store runs and record live, over and over."""
    generator = np.random.default_rng(seed)
    bench = Bench.open(folder)
    run = Run(id="", instrument="Lantern", started_utc=dt.datetime.now(dt.UTC), duration_s=0.0)
    live = bench.start_live(run)
    print("live", live.run.id, 0.0, flush=True)
    for number in itertools.count():
        bench.add(Instrument(name=f"{seed}-{number}"))
        print("item", f"{seed}-{number}", 1, flush=True)
        bench.amend(Instrument(name=f"{seed}-{number}", serial="7"))
        print("item", f"{seed}-{number}", 2, flush=True)
        times = np.cumsum(generator.exponential(1e-3, int(generator.integers(1, 200_000))))
        stored = bench.add_run(run, [PulseTrain(times, float(times[-1]))])
        print("run", stored.id, times.size, flush=True)
        for _ in range(10):  # ten stretches of a quarter of a second of a run's own time
            start = live.reached_s
            live.append(start + np.arange(RATE_PER_S // 4) / RATE_PER_S, start + 0.25)
            print("live", live.run.id, live.reached_s, flush=True)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
