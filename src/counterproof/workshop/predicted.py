"""What physics predicts of the tube under test, as curves beside the points of two trials.

The energy response asks for the response per µSv of H*(10) over energy, the angle trial for the
response over the angle by which the counter is turned. Both are the bare tube's with its filter,
without the box around it. The Monte Carlo takes seconds (the first time longer, while it is
compiled), so curves are made only for a trial that has runs to set beside them, and kept for as
long as the process lives.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from counterproof.bench import Bench
from counterproof.errors import UserError
from counterproof.kit import Instrument, Probe, Tube
from counterproof.kit.to_tube import tube_model
from counterproof.physics.tube.geometry import Tube as TubeDesign
from counterproof.progress import Report, silent, step
from counterproof.records import Series
from counterproof.texts import text
from counterproof.trials import angle, energy_response
from counterproof.trials.emitted import mean_photon_kev
from counterproof.trials.shape import Counter, Evidence

Floats = NDArray[np.float64]
ENERGIES_KEV = (30, 40, 50, 60, 80, 100, 150, 200, 300, 450, 662, 900, 1250, 1500)
ANGLES_DEG = (0, 30, 60, 75, 90, 105, 120, 150, 180)
PRECISION = 0.02
DESIGNS = 4  # of what is not known of the tube, for the spread
MODEL_U = 0.05  # of a ratio of two responses: transport, cross sections and the run's statistics


def with_predictions(
    bench: Bench,
    subject: Counter,
    trial: str,
    evidence: Sequence[Evidence],
    report: Report = silent,
) -> tuple[Counter, tuple[str, ...]]:
    """Return the counter with the curve that a trial sets beside its points, and what to tell.

    Args:
        bench: where tube and probe are described.
        subject: the counter under test.
        trial: the trial's name; any but energy response and angle gets the counter as it is.
        evidence: the runs to be analysed.
        report: progress of the Monte Carlo.

    Raises:
        Cancelled: if ``report`` says so.
    """
    if trial not in (energy_response.NAME, angle.NAME):
        return subject, ()
    own = [e for e in evidence if e.counter.name == subject.name and e.run.sources]
    if not own:
        return subject, ()
    try:
        tube = tube_in_use(bench, subject.name, own)
        if tube is None:
            return subject, (text("workshop.no_tube_curve", instrument=subject.name),)
        if trial == energy_response.NAME:
            curve = energy_curve(tube, report)
            return replace(subject, predicted_energy=curve), ()
        turned = [e for e in own if e.run.position.angle_deg] or own
        energy = mean_photon_kev(turned[0].nuclides)
        if energy is None:
            return subject, (text("workshop.no_angle_curve"),)
        return replace(subject, predicted_angle=angle_curve(tube, energy, report)), ()
    except UserError as error:
        return subject, (error.message,)


def tube_in_use(bench: Bench, instrument: str, runs: Sequence[Evidence]) -> Tube | None:
    """Return the tube that the runs were made with: of their probe, else the one built in.

    A probe's filter is put around its tube. ``None`` where no tube is named or the runs were made
    with several probes.

    Raises:
        UserError: if a tube or probe is named that is not on the bench.
    """
    probes = {e.run.probe for e in runs}
    if len(probes) > 1:
        return None
    name = next(iter(probes), None)
    if name is None:
        built_in = bench.get(Instrument, instrument).tube
        return None if built_in is None else bench.get(Tube, built_in)
    probe = bench.get(Probe, name)
    tube = bench.get(Tube, probe.tube)
    return tube.model_copy(update={"filter": (*tube.filter, *probe.filter)})


def energy_curve(tube: Tube, report: Report = silent) -> Series:
    """Return the H*(10) response relative to Cs-137 over photon energy, held as it usually is.

    Raises:
        UserError: if the description cannot be a tube.
        Cancelled: if ``report`` says so.
    """
    return _energy_curve(tube.dumps(), _Quietly(report))


def angle_curve(tube: Tube, energy_kev: float, report: Report = silent) -> Series:
    """Return the response to photons of one energy over the angle, relative to 0°.

    0° is a slim tube's side or a window's front; the counter is turned in the plane that holds the
    tube's axis.

    Raises:
        UserError: as :func:`energy_curve`.
        Cancelled: if ``report`` says so.
    """
    return _angle_curve(tube.dumps(), round(energy_kev), _Quietly(report))


class _Quietly:
    """A report that does not tell cache entries apart."""

    def __init__(self, report: Report) -> None:
        self.report = report

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Quietly)

    def __hash__(self) -> int:
        return 0


@lru_cache(maxsize=16)
def _energy_curve(described: str, told: _Quietly) -> Series:
    from counterproof.physics.tube.response import CS137_KEV, response_curve
    from counterproof.workshop.responses import side_angle

    tube = Tube.loads(described, "")
    energies = [CS137_KEV, *(float(e) for e in ENERGIES_KEV)]
    table = []
    designs = _designs(tube)
    for row, design in enumerate(designs):
        curve = response_curve(
            design,
            energies,
            angle_deg=side_angle(tube),
            precision=PRECISION if row == 0 else 2.0 * PRECISION,
            seed=1 + row,
        )
        table.append(curve.counts_per_usv)
        step(told.report, row + 1, len(designs))
    rows = np.array(table)
    return _relative(tube.name, ENERGIES_KEV, rows[:, 1:] / rows[:, :1])


@lru_cache(maxsize=16)
def _angle_curve(described: str, energy_kev: int, told: _Quietly) -> Series:
    from counterproof.physics.tube.response import response_curve
    from counterproof.workshop.responses import side_angle

    tube = Tube.loads(described, "")
    front = side_angle(tube)
    designs = _designs(tube)
    # without a window both ends are alike
    alike = front == 90.0
    angles = [a for a in ANGLES_DEG if a <= 90 or not alike]
    table = np.zeros((len(designs), len(angles)))
    for column, turned in enumerate(angles):
        for row, design in enumerate(designs):
            curve = response_curve(
                design,
                [float(energy_kev)],
                angle_deg=abs(front - turned),
                precision=PRECISION if row == 0 else 2.0 * PRECISION,
                seed=1 + row,
            )
            table[row, column] = curve.effective_area_cm2[0]
        step(told.report, column + 1, len(angles))
    if alike:
        table = table[:, [angles.index(min(a, 180 - a)) for a in ANGLES_DEG]]
    return _relative(tube.name, ANGLES_DEG, table / table[:, :1])


def _designs(tube: Tube) -> tuple[TubeDesign, ...]:
    """The nominal tube, and some of the designs that it might be."""
    model = tube_model(tube)
    return (model.nominal, *model.variants[:DESIGNS])


def _relative(name: str, x: Sequence[float], table: Floats) -> Series:
    """A curve relative to one of its points, with an interval of 95 %.

    Args:
        name: of the tube.
        x: energies or angles, shape (n,).
        table: relative responses, the nominal design first, shape (designs, n).
    """
    value = table[0]
    spread = table.std(axis=0, ddof=1) if len(table) > 1 else np.zeros(value.size)
    away = np.abs(value - 1.0) > 1e-9  # the point itself is exact
    half = 1.96 * np.hypot(spread, np.where(away, MODEL_U * value, 0.0))
    return Series(
        name=name,
        role="predicted",
        x=tuple(float(v) for v in x),
        y=tuple(float(v) for v in value),
        low=tuple(float(v) for v in np.maximum(value - half, 0.0)),
        high=tuple(float(v) for v in value + half),
    )
