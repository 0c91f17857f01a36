"""Judge an estimate against a criterion: met, not met, or cannot tell yet.

The interval decides (:func:`counterproof.counting.planning.decide`): wholly inside the criterion's
bounds is *met*, wholly outside *not met*, astride a bound *cannot tell yet*, with the minutes that
would settle it. Those shrink only the counting part of the uncertainty; where the rest alone
reaches over the bound, no time will tell, and the statement says that instead.
"""

from __future__ import annotations

import math

from counterproof.counting.planning import decide
from counterproof.quantities import Estimate
from counterproof.records import Criterion, Judgement, Measured
from counterproof.texts import text


def judge(
    quantity: str,
    estimate: Estimate,
    criterion: Criterion | None,
    seconds: float,
    fixed_u: float = 0.0,
) -> Judgement:
    """Judge one quantity.

    Args:
        quantity: what is judged, in words.
        estimate: its value with interval.
        criterion: the bounds; ``None`` states the value without a verdict.
        seconds: recording time that the estimate rests on.
        fixed_u: the part of ``estimate.u`` that more time cannot take away, same unit.
    """
    measured = Measured.of(estimate)
    if criterion is None or math.isnan(estimate.value):
        return Judgement(
            quantity=quantity,
            measured=measured,
            criterion=criterion,
            verdict="no criterion" if criterion is None else "cannot tell yet",
            statement=text(
                "trials.no_criterion" if criterion is None else "trials.not_measurable",
                quantity=quantity,
            ),
        )
    decision = decide(
        estimate,
        -math.inf if criterion.low is None else criterion.low,
        math.inf if criterion.high is None else criterion.high,
        seconds,
        fixed_u=fixed_u,
    )
    minutes = decision.more_s / 60.0 if math.isfinite(decision.more_s) else None
    open_key = "trials.time_cannot_tell" if minutes is None else "trials.cannot_tell"
    key = {"met": "trials.met", "not met": "trials.not_met"}.get(decision.verdict, open_key)
    return Judgement(
        quantity=quantity,
        measured=measured,
        criterion=criterion,
        verdict=decision.verdict,
        more_minutes=minutes if decision.verdict == "cannot tell yet" else None,
        statement=text(
            key,
            quantity=quantity,
            criterion=criterion.statement,
            minutes=max(1, math.ceil(minutes or 0.0)),
        ),
    )
