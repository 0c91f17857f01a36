"""Findings over retellings of the invented demonstration: what was hidden, and nothing else.

Lantern hides two factors (110 and 190 cpm per µSv/h), a switch at 0.6 µSv/h (0.54 on
the way down), a window of 40 s, a
sleeve of 1.5 mm of brass and 3.3 counts per minute of its own. Wren hides nothing: it is put under
test beside Heron as the control. Seeds 52000…, fixed before anything was tuned on them. Pulses go
in as the tube made them: what the detection of clicks adds is measured elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime

from acceptance import Row
from counterproof.forensics import ReadoutFit, fit_readout
from counterproof.forensics.findings import findings_of
from counterproof.forensics.readout_trial import paired_runs
from counterproof.quantities import Estimate
from counterproof.records import Finding, Run
from counterproof.records.run import Position
from counterproof.signals.trains import PulseTrain
from counterproof.simulate.hollow_lane import RUNS, SEED, PlannedRun, make_run
from counterproof.trials.shape import Counter, Evidence

TITLE = "Findings of the demonstration, told again with other counts"
FIRST_SEED = 52_000
TELLINGS = 40
NUCLIDES = {
    "caesium": ("Cs-137",),
    "barium": ("Ba-133",),
    "strontium": ("Sr-90", "Y-90"),
    "rods": ("Th-232",),
    "salt": ("K-40",),
}
SENSITIVITY = {"Wren": 2.5, "Heron": 5.0}
OWN_PER_S = {"Wren": 0.030, "Heron": 0.20}
BRASS_MG_CM2 = 1.5 * 8.5 * 100.0 + 79.0


def evidence_of(planned: PlannedRun, seed: int = SEED, subject: str = "Lantern") -> Evidence:
    """Return one run of the demonstration as evidence, without a sound in between."""
    made = make_run(planned, seed=seed, with_sound=False)
    known = None if planned.counter == subject else SENSITIVITY.get(planned.counter)
    stated = {"Cs-137": Estimate(known, 0.05, known - 0.1, known + 0.1)} if known else {}
    own = OWN_PER_S.get(planned.counter, 0.0) if known else 0.0
    run = Run(
        id=planned.key,
        instrument=planned.counter,
        position=Position(distance_mm=None if planned.source is None else 1e3 * planned.distance_m),
        sources=() if planned.source is None else (planned.source,),
        started_utc=datetime(2026, 3, 14, 9, 0, tzinfo=UTC),
        duration_s=planned.duration_s,
        simulated=True,
    )
    logs = tuple(made.reading_log(n) for n in ("momentary", "average", "accumulated"))
    return Evidence(
        run,
        Counter(planned.counter, sensitivity_per_s_per_usv_h=stated, own_background_per_s=own),
        PulseTrain(made.pulses_s, planned.duration_s),
        None,
        logs,
        NUCLIDES.get(planned.source or "", ()),
    )


def told(seed: int, subject: str) -> tuple[list[Finding], ReadoutFit]:
    """Return what is found about a counter in one telling."""
    evidence = [evidence_of(r, seed, subject) for r in RUNS if r.kept == "sound"]
    pairs = paired_runs(subject, evidence)
    fit = fit_readout([p for _, p in pairs])
    return findings_of(Counter(subject), evidence, fit, [name for name, _ in pairs]), fit


FALSE = (
    "double pulses",
    "mains pickup",
    "unsteady",
    "too regular",
    "fold-back",
    "average register",
    "dose register",
    "scatter of the display",
)
"""Subjects that would claim something that is in neither counter, where they claim anything."""
CLAIMS = ("is not the", "leave the", "scatter less", "scatter more", "The display falls")


def false_claims(found: list[Finding]) -> list[str]:
    """Return the subjects of findings that claim what neither counter has."""
    return [
        f.subject
        for f in found
        if f.subject in FALSE[:5]
        or (f.subject in FALSE and any(words in f.statement for words in CLAIMS))
    ]


@dataclass
class Tally:
    """What was counted over the tellings."""

    factors: list[bool] = field(default_factory=list)
    switch: list[bool] = field(default_factory=list)
    window: list[bool] = field(default_factory=list)
    cover: list[bool] = field(default_factory=list)
    beyond: list[bool] = field(default_factory=list)
    own: list[bool] = field(default_factory=list)
    false: list[str] = field(default_factory=list)
    tests: int = 0
    control_two: list[bool] = field(default_factory=list)
    control_cover: list[bool] = field(default_factory=list)
    control_ladder: list[bool] = field(default_factory=list)

    def enter(self, found: list[Finding], fit: ReadoutFit) -> None:
        """Count one telling of Lantern."""
        by_subject = {f.subject: f for f in found}
        factors = by_subject.get("factors")
        self.factors.append(factors is not None and "two factors" in factors.statement)
        # the display returns at 0.54: which of the two was crossed, the recordings decide
        ends = None if fit.switch is None else (fit.switch.low, fit.switch.high)
        self.switch.append(ends is not None and ends[0] <= 0.6 and ends[1] >= 0.54)
        t = fit.time_constant
        self.window.append(t is not None and abs(t.value / 40.0 - 1.0) < 0.01)
        cover = by_subject.get("cover of the gas")
        self.cover.append(cover is not None)
        if cover is not None and cover.measured is not None:
            self.beyond.append((cover.measured.low or 0.0) > BRASS_MG_CM2)
        own = by_subject.get("counts of its own")
        if own is not None and own.measured is not None:
            low, high = own.measured.low, own.measured.high
            self.own.append((low or 0.0) <= 3.3 <= (high or 0.0))
        self.false += false_claims(found)
        self.tests += len(FALSE)

    def control(self, found: list[Finding], fit: ReadoutFit) -> None:
        """Count one telling of Wren, which hides nothing."""
        by_subject = {f.subject: f for f in found}
        self.control_two.append(len(fit.factors) == 2)
        self.control_cover.append("cover of the gas" in by_subject)
        ladder = by_subject.get("display over a ladder")
        self.control_ladder.append(ladder is not None and "change of factor" in ladder.statement)
        self.false += false_claims(found)
        self.tests += len(FALSE)


def measure(quick: bool) -> list[Row]:
    """Tell the story again and again, and set what is found against what was hidden."""
    tally = Tally()
    for seed in range(FIRST_SEED, FIRST_SEED + (1 if quick else TELLINGS)):
        tally.enter(*told(seed, "Lantern"))
        tally.control(*told(seed + 500, "Wren"))

    def row(what: str, required: float, hits: list[bool], note: str = "") -> Row:
        share = sum(hits) / max(len(hits), 1)
        bar = "always" if required == 1.0 else f"≥ {100 * required:.0f} %"
        return Row(what, bar, f"{sum(hits)} of {len(hits)}", share >= required, note)

    def never(what: str, hits: list[bool], note: str = "") -> Row:
        return Row(what, "never", f"{sum(hits)} of {len(hits)}", not any(hits), note)

    return [
        row("two factors found", 1.0, tally.factors),
        row("switch bracketed (0.6 up, 0.54 down)", 1.0, tally.switch),
        row("window within 1 %", 1.0, tally.window),
        row("sleeve found as a cover of the gas", 1.0, tally.cover),
        never("cover called thicker than it is", tally.beyond),
        row(
            "counts of its own inside their interval", 0.9, tally.own, "with 10 % for the response"
        ),
        never("control: one factor called two", tally.control_two),
        never("control: a cover that is not there", tally.control_cover),
        never("control: a step of the ladder that is not there", tally.control_ladder),
        Row(
            "interference, fold-back, registers or scatter that are not there",
            "≤ 1 %",
            f"{len(tally.false)} of {tally.tests} tests"
            + (f" ({', '.join(sorted(set(tally.false)))})" if tally.false else ""),
            len(tally.false) <= 0.01 * tally.tests,
        ),
    ]
