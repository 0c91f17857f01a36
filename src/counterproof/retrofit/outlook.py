"""What each candidate tube would bring: the outlook, from injected responses and a box.

Physics enters as :class:`~counterproof.retrofit.draws.Effects` (the workshop computes them), so
that everything here is quick, pure and testable. All uncertain things live in one joint sample:
tubes' dimensions, models, activities, the place's background, dead times; evidence (data sheets,
rates that today's tube was measured to have) corrects all of it at once.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from counterproof.kit.instrument import Instrument
from counterproof.kit.probe import Probe
from counterproof.kit.tube import Tube
from counterproof.quantities import Estimate
from counterproof.readout import ReadoutModel
from counterproof.readout.menu import Aim
from counterproof.records import CandidateOutlook, Measured, Series
from counterproof.records.outlook import CheckLine, SourceOutlook
from counterproof.retrofit import display
from counterproof.retrofit.box import Box
from counterproof.retrofit.compatibility import Compatibility
from counterproof.retrofit.draws import Effects, Floats, Sample, estimate_of
from counterproof.retrofit.endurance import endurance
from counterproof.retrofit.remaining import settings_of, uncorrectable
from counterproof.texts import text

SHEET_U = 0.2 / math.sqrt(3.0)
"""Data sheets' sensitivities hold within ±20 % of a single tube; common practice, no source."""
OWN_PER_S_CM2, OWN_U = 0.002, 0.7
"""Counts of a tube's own per cm² of its inner wall, and a factor of two; common practice, no
source."""
DEAD_US = (50.0, 200.0)
"""Dead times of small halogen tubes where a sheet is silent; common practice, no source."""
DEAD_U = 0.2
"""Relative uncertainty of a sheet's dead time: it is stated as a typical value."""
CPS_PER = "1/s per µSv/h"
NO_BETAS = 1e-9
"""Counts per second below which a wall is said to let no beta through."""


@dataclass(frozen=True)
class SourceAt:
    """A source at a place, the same for every tube.

    Args:
        key: short, unlike any other.
        name: of the source.
        distance_mm: to the middle of the tube's gas.
        distance_u_mm: how well a retest can repeat it.
        photon_usv_h: H*(10) of its photons there, by its stated activity.
        activity_u: relative standard uncertainty of the activity.
    """

    key: str
    name: str
    distance_mm: float
    distance_u_mm: float
    photon_usv_h: float
    activity_u: float

    @property
    def place_u(self) -> float:
        """Relative standard uncertainty from the distance: inverse square."""
        return 2.0 * self.distance_u_mm / self.distance_mm


@dataclass(frozen=True)
class Candidate:
    """A tube, where it sits, and what physics says of it.

    Args:
        name: of the probe, or of the tube.
        tube: as described.
        probe: ``None`` for a tube in the box.
        compatible: with the box.
        effects: columns ``caesium`` (1/s per µSv/h), ``background`` (1/s), ``E:<keV>`` (1/s per
            µSv/h), ``photon:<key>`` and ``beta:<key>`` (1/s) for each source, ``sheet`` (1/s per
            µSv/h at the sheet's nuclide) where the sheet states one.
        inner_cm2: inner surface of the wall.
        energies_kev: of the columns ``E:``.
        electrons_per_s: electrons of each source that strike the tube.
        sheet_per_s: what its sheet states, 1/s per µSv/h of H*(10) for the sheet's nuclide.
        unknown: what had to be taken from ranges, in words.
        today: whether it is in use now.
    """

    name: str
    tube: Tube
    probe: Probe | None
    compatible: Compatibility
    effects: Effects
    inner_cm2: float
    energies_kev: tuple[float, ...]
    electrons_per_s: Mapping[str, float] = field(default_factory=dict)
    sheet_per_s: float | None = None
    unknown: tuple[str, ...] = ()
    today: bool = False


@dataclass(frozen=True)
class Seen:
    """A rate that a tube was measured to have.

    Args:
        tube: name of the candidate (usually today's).
        key: of the source at its place; empty for the background.
        per_s: net rate, or the background's.
        relative_u: relative standard uncertainty of counting, the position apart.
    """

    tube: str
    key: str
    per_s: float
    relative_u: float


@dataclass(frozen=True)
class Ask:
    """What the person wants to know.

    Args:
        range_usv_h: dose rates over which the display should be right.
        background_usv_h: natural background's H*(10) rate at the bench.
        background_u: its relative standard uncertainty.
        detection_minutes: counting time of the detection limit, with and without the source.
        aim: what the best setting makes small.
        retest_minutes: counting time of each retest run.
        seed: of the sample.
    """

    range_usv_h: tuple[float, float] = (0.1, 20.0)
    background_usv_h: float = 0.10
    background_u: float = 0.25
    detection_minutes: float = 10.0
    aim: Aim = "worst"
    retest_minutes: float = 10.0
    seed: int = 1


def joint_sample(
    candidates: Sequence[Candidate],
    sources: Sequence[SourceAt],
    seen: Sequence[Seen],
    ask: Ask,
) -> tuple[Sample, tuple[str, ...]]:
    """Draw everything uncertain, let the evidence correct it; returns sample and warnings."""
    sample = Sample(seed=ask.seed)
    sample.add("natural", 1.0, ask.background_u)
    for name, u in {s.name: s.activity_u for s in sources}.items():
        sample.add(f"activity:{name}", 1.0, u)
    warnings = []
    for c in candidates:
        sample.add_tube(c.name, c.effects)
        sample.add(f"{c.name}/own", OWN_PER_S_CM2 * c.inner_cm2, OWN_U)
        _add_dead_time(sample, c)
        if c.sheet_per_s is not None:
            pull = sample.observe(sample[f"{c.name}/sheet"], c.sheet_per_s, SHEET_U)
            if abs(pull) > 3.0:
                warnings.append(text("retrofit.sheet_pull", tube=c.tube.name, pull=f"{pull:+.1f}"))
    by_key = {s.key: s for s in sources}
    for each in seen:
        place_u = by_key[each.key].place_u if each.key else 0.0
        predicted = (
            net_rate(sample, each.tube, by_key[each.key])
            if each.key
            else background_rate(sample, each.tube)
        )
        pull = sample.observe(predicted, each.per_s, math.hypot(each.relative_u, place_u))
        if abs(pull) > 3.0:
            where = by_key[each.key].name if each.key else text("retrofit.background")
            warnings.append(
                text("retrofit.seen_pull", tube=each.tube, where=where, pull=f"{pull:+.1f}")
            )
    return sample, tuple(warnings)


def _add_dead_time(sample: Sample, c: Candidate) -> None:
    sheet = c.tube.datasheet.dead_time_us
    recharge = c.compatible.figures.recharge_s if c.compatible.figures else 0.0
    if sheet is None:
        low, high = DEAD_US
        sample.add_range(
            f"{c.name}/dead", max(low * 1e-6, 0.5 * recharge), max(high * 1e-6, recharge)
        )
    else:
        sample.add(f"{c.name}/dead", max(sheet.middle * 1e-6, 0.5 * recharge), DEAD_U)


def net_rate(sample: Sample, tube: str, source: SourceAt) -> Floats:
    """Net events per second with a source at its place, shape (draws,)."""
    both = sample[f"{tube}/photon:{source.key}"] + sample[f"{tube}/beta:{source.key}"]
    return sample[f"activity:{source.name}"] * both


def background_rate(sample: Sample, tube: str) -> Floats:
    """Events per second without a source, shape (draws,)."""
    return sample[f"{tube}/own"] + sample["natural"] * sample[f"{tube}/background"]


def counted_of(sample: Sample, tube: str, ask: Ask) -> display.Counted:
    """What the display is computed from."""
    return display.Counted(
        sample[f"{tube}/own"],
        sample["natural"] * sample[f"{tube}/background"],
        ask.background_usv_h * sample["natural"],
        sample[f"{tube}/caesium"],
        sample[f"{tube}/dead"],
    )


def detection_limit_usv_h(
    per_usv_h: Floats, background_per_s: Floats, seconds: float, per_usv_h_u: float
) -> Floats:
    """Detection limit after ISO 11929-1 (α = β = 5 %) of a net dose rate, equal times.

    Its closed form for w = 1/S with relative uncertainty u: y* = k√(2b/t)/S,
    y# = (2y* + k²/(S t))/(1 − k²u²); ``inf`` where S is too uncertain for any.
    """
    k = 1.6448536
    threshold = k * np.sqrt(2.0 * background_per_s / seconds) / per_usv_h
    left = 1.0 - (k * per_usv_h_u) ** 2
    if left <= 0.0:
        return np.full_like(per_usv_h, np.inf)
    return np.asarray((2.0 * threshold + k * k / (per_usv_h * seconds)) / left)


def candidate_outlook(
    c: Candidate,
    today: Candidate | None,
    sample: Sample,
    instrument: Instrument,
    box: Box,
    sources: Sequence[SourceAt],
    ask: Ask,
) -> tuple[CandidateOutlook, display.BestSettings]:
    """Return everything predicted of one candidate, and its best settings."""
    counted = counted_of(sample, c.name, ask)
    levels = display.levels_of(*ask.range_usv_h)
    best = display.best_settings(box, counted, levels, ask.aim)
    after = display.ratio_at(best.firmware, counted, levels)
    errors = after - 1.0
    worst_at = int(np.argmax(np.abs(np.median(errors, axis=0))))
    background = background_rate(sample, c.name)
    per = sample[f"{c.name}/caesium"]
    per_u = float(np.std(np.log(per), ddof=1))
    seconds = 60.0 * ask.detection_minutes
    limit = detection_limit_usv_h(per, background, seconds, per_u)
    energy, departure = _energy(sample, c)
    top, because = _top(best.firmware, counted, box.top_usv_h)
    hours = endurance(instrument, c.compatible, background)
    found = CandidateOutlook(
        name=c.name,
        tube=c.tube.name,
        probe=c.probe.name if c.probe else None,
        today=c.today,
        verdict=c.compatible.verdict,
        checks=tuple(
            CheckLine(key=x.key, verdict=x.verdict, statement=x.statement)
            for x in c.compatible.checks
        ),
        unknown=c.unknown,
        sensitivity=_measured(per, CPS_PER),
        sheet_over_physics=_sheet_ratio(c),
        background=_measured(background, "1/s"),
        time_to_10_percent=_measured(100.0 / background, "s"),
        detection_limit=_measured(limit, "µSv/h"),
        detection_minutes=ask.detection_minutes,
        top_of_range=Measured.of(top),
        top_because=because,
        energy=energy,
        energy_departure=departure,
        endurance_h=None if hours is None else Measured.of(hours),
        sources=tuple(_source(sample, c, today, s) for s in sources),
        settings=settings_of(best, counted),
        worst_error=_measured(errors[:, worst_at], ""),
        uncorrectable=uncorrectable(box, best.firmware, counted, ask.range_usv_h),
        display=(
            _series(
                text("retrofit.before"), levels, display.ratio_at(box.firmware, counted, levels)
            ),
            _series(text("retrofit.after"), levels, after),
        ),
    )
    return found, best


def _measured(values: Floats, unit: str) -> Measured:
    return Measured.of(estimate_of(values, unit))


def _sheet_ratio(c: Candidate) -> float | None:
    if c.sheet_per_s is None:
        return None
    return c.sheet_per_s / float(c.effects.nominal[c.effects.names.index("sheet")])


def _series(name: str, x: Floats, values: Floats) -> Series:
    low, middle, high = np.quantile(values, [0.025, 0.5, 0.975], axis=0)
    return Series(
        name=name, role="predicted", x=tuple(map(float, x)), y=tuple(map(float, middle)),
        low=tuple(map(float, low)), high=tuple(map(float, high)),
    )  # fmt: skip


def _energy(sample: Sample, c: Candidate) -> tuple[Series, Measured]:
    """Response relative to caesium, and the one from 60 keV to 1.25 MeV that departs most."""
    energies = np.array(c.energies_kev)
    columns = np.stack([sample[f"{c.name}/E:{e:g}"] for e in energies], axis=1)
    relative = columns / sample[f"{c.name}/caesium"][:, None]
    inside = (energies >= 59.0) & (energies <= 1260.0)
    logs = np.where(inside, np.abs(np.log(np.median(relative, axis=0))), -1.0)
    return _series(c.name, energies, relative), _measured(relative[:, int(np.argmax(logs))], "")


def _top(
    firmware: ReadoutModel, counted: display.Counted, top: float | None
) -> tuple[Estimate, str]:
    by_losses, by_display = display.top_of_range_usv_h(firmware, counted, top)
    losses = bool(np.median(by_losses) <= np.median(by_display))
    both = np.minimum(by_losses, by_display)
    if not np.all(np.isfinite(both)):
        return Estimate(math.nan, math.inf, -math.inf, math.inf, unit="µSv/h"), text(
            "retrofit.top_none"
        )
    return estimate_of(both, "µSv/h"), text(
        "retrofit.top_losses" if losses else "retrofit.top_display"
    )


def _source(sample: Sample, c: Candidate, today: Candidate | None, s: SourceAt) -> SourceOutlook:
    activity = sample[f"activity:{s.name}"]
    rate = net_rate(sample, c.name, s)
    beta = sample[f"{c.name}/beta:{s.key}"]
    strikes = c.electrons_per_s.get(s.key, 0.0)
    if float(np.median(beta)) < NO_BETAS:
        strikes = 0.0
    gain = None
    if today is not None and today.name != c.name:
        gain = _measured(rate / net_rate(sample, today.name, s), "")
    return SourceOutlook(
        source=s.name,
        distance_mm=s.distance_mm,
        true_usv_h=_measured(s.photon_usv_h * activity, "µSv/h"),
        counts_per_s=_measured(rate, "1/s"),
        beta_counts_per_s=_measured(activity * beta, "1/s") if strikes > 0.0 else None,
        beta_efficiency=_measured(beta / strikes, "") if strikes > 0.0 else None,
        gain=gain,
    )
