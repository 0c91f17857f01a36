"""The invented workshop's bench without its sound: pulses and readings as they are, so it is quick.

``after`` adds Lantern's runs with a probe that holds Wren's tube, its box unchanged.
"""

from dataclasses import replace
from datetime import timedelta
from importlib.resources import files
from pathlib import Path
from zlib import crc32

import numpy as np

from counterproof.bench import Bench
from counterproof.kit import Probe, loads_item
from counterproof.signals.trains import PulseTrain
from counterproof.simulate import hollow_lane as hl
from counterproof.simulate.box import BoxRun, run_box
from counterproof.workshop import demo
from counterproof.workshop.demo_after import run_of

PROBE = "slim probe (invented)"


def make(folder: Path, after: bool = False) -> None:
    start = demo.FIRST_RUN
    kit = files("counterproof.workshop").joinpath("hollow_lane")
    with Bench.create(folder, hl.PLACE) as bench:
        with bench.transaction():
            for item in sorted(kit.iterdir(), key=lambda p: p.name):
                bench.add(loads_item(item.read_text(encoding="utf-8"), item.name))
            if PROBE not in bench.names(Probe):
                bench.add(Probe(name=PROBE, tube="slim steel"))
        for planned in hl.RUNS:
            if planned.kept == "counts":
                continue
            _add(bench, planned, hl.make_run(planned, with_sound=False), start, None)
            start += timedelta(seconds=planned.duration_s) + demo.PAUSE
        wren, lantern = hl.COUNTERS["Wren"], hl.COUNTERS["Lantern"]
        box = replace(lantern.box, tube=wren.box.tube)
        for planned in hl.RUNS if after else ():
            if planned.counter != "Lantern" or planned.kept != "sound":
                continue
            rate = hl.true_rate_per_s("Wren", planned.source, planned.distance_m)
            seed = np.random.SeedSequence([7, crc32(planned.key.encode())])
            made = run_box(box, rate, planned.duration_s, seed, warm_up_s=120.0, with_sound=False)
            _add(bench, replace(planned, key=f"after-{planned.key}"), made, start, PROBE)
            start += timedelta(seconds=planned.duration_s) + demo.PAUSE


def _add(bench: Bench, planned: hl.PlannedRun, made: BoxRun, start, probe: str | None) -> None:
    register = planned.kept == "register"
    log = made.reading_log("accumulated" if register else "momentary", every_s=5.0)
    signals = [log] if register else [PulseTrain(made.pulses_s, made.duration_s), log]
    run = run_of(planned, start, probe)
    bench.add_run(run, signals)
