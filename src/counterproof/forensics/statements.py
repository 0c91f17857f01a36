"""What a firmware inference found and what it could not tell, in sentences."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from counterproof.forensics.adequacy import CERTAIN_KIND
from counterproof.forensics.answer import ReadoutFit
from counterproof.quantities import Estimate
from counterproof.texts import text

FAR_CLOCK_S = 2.0
WIDE_SWITCH = 0.1


@dataclass(frozen=True)
class Circumstances:
    """What the sentences need beside the numbers."""

    one_level: bool
    silent_s: float
    unexplained_share: float
    reach_s: float
    restarted: bool
    one_way: bool


def shown(estimate: Estimate, unit: str | None = None) -> str:
    """Return an estimate in the digits that its interval allows."""
    width = max(estimate.high - estimate.low, abs(estimate.value) * 1e-6, 1e-12)
    digits = int(np.clip(1 - np.floor(np.log10(width)), 0, 6))
    label = estimate.unit if unit is None else unit
    ends = (estimate.value, estimate.low, estimate.high)
    value, low, high = (f"{x:.{digits}f}".replace("-", "−") for x in ends)
    return text("forensics.estimate", value=value, low=low, high=high, unit=label).strip()


def found(fit: ReadoutFit, about: Circumstances) -> tuple[str, ...]:
    """Return what was found, most important first."""
    said = []
    if len(fit.factors) == 2 and fit.switch is not None:
        low, high = (shown(f) for f in fit.factors)
        said.append(text("forensics.two_factors", low=low, high=high, switch=shown(fit.switch)))
    elif fit.factors:
        low, high = (f"{v:.3g}" for v in fit.seen_usv_h)
        key = "forensics.factor_at_level" if about.one_level else "forensics.one_factor"
        said.append(text(key, factor=shown(fit.factors[0]), low=low, high=high))
    scores = {(h.structure.factors, h.structure): h.score for h in fit.hypotheses}
    ones = [s for (n, _), s in scores.items() if n == 1]
    twos = [s for (n, _), s in scores.items() if n == 2]
    if fit.factors and ones and twos:
        lead = max(twos) - max(ones)
        key = "forensics.two_ahead" if len(fit.factors) == 2 else "forensics.one_stands"
        said.append(text(key, lead=f"{abs(lead):.0f}"))
    if fit.time_constant is not None or fit.window_pulses is not None:
        width = text("forensics.pulses", n=fit.window_pulses)
        if fit.time_constant is not None:
            width = shown(fit.time_constant)
        ahead = f"{min(fit.kind_log_lead, 1e6):.0f}"
        said.append(
            text("forensics.kind", kind=fit.kind, width=width, rival=fit.kind_rival, lead=ahead)
        )
    for name in ("hysteresis", "dead_time", "background"):
        value = getattr(fit, name)
        if value is not None:
            said.append(text(f"forensics.{name}", value=shown(value)))
    if fit.readings:
        said.append(
            text("forensics.reproduced", share=f"{100 * fit.exact_share:.1f}", n=fit.readings)
        )
    if fit.loss_share > 0.002:
        said.append(text("forensics.loss", share=f"{100 * fit.loss_share:.1f}"))
    if about.restarted:
        said.append(text("forensics.restarted"))
    late = [o.value for o in fit.clock_offsets if abs(o.value) > FAR_CLOCK_S]
    if late:
        said.append(text("forensics.clocks", offset=f"{late[0]:+.1f}"))
    return tuple(said)


def missing(fit: ReadoutFit, about: Circumstances) -> tuple[str, ...]:
    """Return what could not be told, each with what would help."""
    said = []
    if len(fit.factors) == 1 and about.one_level:
        said.append(text("forensics.only_one_level"))
    if fit.switch is not None and fit.switch.high > (1 + WIDE_SWITCH) * fit.switch.low:
        low, high = f"{fit.switch.low:.3g}", f"{fit.switch.high:.3g}"
        said.append(text("forensics.wide_switch", low=low, high=high))
    if about.one_way:
        said.append(text("forensics.one_way"))
    if fit.readings and fit.kind_log_lead < CERTAIN_KIND:
        said.append(text("forensics.kind_open", rival=fit.kind_rival))
    if about.silent_s > 0:
        said.append(text("forensics.silence", seconds=f"{about.silent_s:.0f}"))
    if about.unexplained_share > 0.01:
        said.append(text("forensics.unexplained", share=f"{100 * about.unexplained_share:.0f}"))
    if fit.quantum is None:
        said.append(text("forensics.no_quantum"))
    return tuple(said)
