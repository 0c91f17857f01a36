"""Light: the same place dark, by a lamp, by an ultraviolet lamp.

Answers whether the counter counts light. The test is the exact conditional one of two rates; where
nothing is seen, the smallest excess that these runs would have noticed is stated beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from counterproof.counting.difference import difference_of
from counterproof.counting.planning import power_to_tell_apart, time_to_tell_apart
from counterproof.counting.ratio import rate_ratio
from counterproof.quantities import Estimate
from counterproof.quantities.format import format_estimate
from counterproof.records import Judgement, Measured, Outcome, Plan, PlannedRun, Row
from counterproof.records.outcome import worst
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.criteria import Profile
from counterproof.trials.judge import judge
from counterproof.trials.pictures import ratio_chart
from counterproof.trials.shape import Ask, Counter, Evidence, Trial
from counterproof.trials.shared import common_signal, counts_of, not_yet, plan_of

NAME = "light"
LIT = ("lamp", "ultraviolet")
NOTICED = 0.8  # power that "would have noticed" stands for
SEEN = 0.01  # two-sided significance of an excess; common practice, no source
PLANNED_EXCESS = 1.25


def plan(ask: Ask) -> Plan:
    """Plan runs that would notice a quarter more counts."""
    rate = ask.background_per_s
    minutes = time_to_tell_apart(PLANNED_EXCESS * rate, rate, alpha=SEEN, power=NOTICED) / 60.0
    runs = [
        PlannedRun(
            instrument=ask.subject.name, what=text(f"trials.light.run_{light}"), minutes=minutes
        )
        for light in ("dark", *LIT)
    ]
    return plan_of(TRIAL, runs, text("trials.light.expected", percent="25"))


def _used(subject: Counter, evidence: Sequence[Evidence]) -> list[Evidence]:
    return [e for e in evidence if e.counter.name == subject.name and e.word("light") is not None]


def serves(subject: Counter, evidence: Sequence[Evidence]) -> bool:
    """Whether any run names the light."""
    return bool(_used(subject, evidence))


def analyse(subject: Counter, evidence: Sequence[Evidence], profile: Profile) -> Outcome:
    """Compare lit runs with dark ones.

    Args:
        subject: the counter under test.
        evidence: runs with the condition ``light``, everything else the same.
        profile: its ``light_excess`` judges the rate when lit over the dark one.
    """
    runs = _used(subject, evidence)
    dark = [e for e in runs if e.word("light") == "dark"]
    warnings, judgements, rows = [], [], []
    ratios: list[tuple[str, Estimate]] = []
    if not dark:
        warnings.append(text("trials.light.no_dark"))
    if len({(e.run.sources, e.run.position) for e in runs}) > 1:
        warnings.append(text("trials.light.moved"))
        dark = []
    seen = []
    used = list(dark)
    for light in LIT:
        lit = [e for e in runs if e.word("light") == light]
        words = text(f"trials.light.{light}")
        if not lit:
            warnings.append(text("trials.light.no_lit", light=words))
            continue
        pair = common_signal(lit, dark) if dark else None
        if pair is None:
            if dark:
                warnings.append(text("trials.light.no_signal", light=words))
            continue
        used += lit
        row, ratio, p = _compared(subject, words, lit, dark, pair)
        rows.append(row)
        ratios.append((words, ratio))
        if p is not None and p < SEEN and ratio.value > 1.0:
            seen.append((words, ratio, p))
        judgements.append(_judged(subject, words, ratio, profile, pair))
    if not judgements:
        nothing = text("trials.light.nothing", instrument=subject.name)
        return not_yet(NAME, subject, nothing, warnings, text("trials.light.method"))
    return Outcome(
        trial=NAME,
        instrument=subject.name,
        verdict=worst([j.verdict for j in judgements]),
        statement=_statement(subject, rows, seen),
        runs=tuple(e.run.id for e in used),
        judgements=tuple(judgements),
        table=tuple(rows),
        charts=(
            ratio_chart(
                text("trials.light.question_excess"),
                [(subject.name, ratios)],
                text("trials.light.axis_ratio"),
                profile.criterion("light_excess"),
            ),
        ),
        warnings=tuple(warnings),
        method=text("trials.light.method"),
    )


def _compared(
    subject: Counter,
    words: str,
    lit: Sequence[Evidence],
    dark: Sequence[Evidence],
    pair: tuple[lv.Level, lv.Level],
) -> tuple[Row, Estimate, float | None]:
    on, off = pair
    values: dict[str, Measured | str | float | int | None] = {
        "lit": Measured.of(on.estimate),
        "dark": Measured.of(off.estimate),
        "excess": Measured.of(difference_of(on.estimate, off.estimate)),
    }
    first, second = counts_of(lit), counts_of(dark)
    p = None
    if first is not None and second is not None:
        test = rate_ratio(*first, *second)
        p, ratio = test.p_value, test.ratio
        least = smallest_excess(second[0] / second[1], first[1], second[1])
        values["p"] = p
        values["would have noticed above"] = least
    else:
        ratio = lv.over(on.estimate, off.estimate)
    values["lit over dark"] = Measured.of(ratio)
    return Row(label=words, instrument=subject.name, values=values), ratio, p


def smallest_excess(rate_per_s: float, lit_s: float, dark_s: float) -> float | None:
    """Return the smallest relative excess that would be noticed with 80 % power.

    ``None`` when not even tenfold counts would be, or nothing was counted in the dark.
    """
    if rate_per_s <= 0.0:
        return None

    def noticed(excess: float) -> bool:
        return power_to_tell_apart(rate_per_s * (1 + excess), rate_per_s, lit_s, dark_s, SEEN) >= (
            NOTICED
        )

    if not noticed(9.0):
        return None
    # around what the normal approximation says, (z + z') √(1/n + 1/n'), with room on both sides
    about = 3.42 * math.sqrt((1.0 / lit_s + 1.0 / dark_s) / rate_per_s)
    low, high = 0.5 * about, about
    while not noticed(high):
        low, high = high, min(1.4 * high, 9.0)
    while high - low > 0.02 * high:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if noticed(middle) else (middle, high)
    return high


def _judged(
    subject: Counter,
    words: str,
    ratio: Estimate,
    profile: Profile,
    pair: tuple[lv.Level, lv.Level],
) -> Judgement:
    return judge(
        text("trials.light.ratio", instrument=subject.name, light=words),
        ratio,
        profile.criterion("light_excess"),
        min(level.seconds for level in pair),
    )


def _statement(
    subject: Counter, rows: Sequence[Row], seen: Sequence[tuple[str, Estimate, float]]
) -> str:
    if seen:
        parts = [
            text("trials.light.seen", light=words, ratio=format_estimate(ratio), p=f"{p:.1g}")
            for words, ratio, p in seen
        ]
        return f"{subject.name}: " + "; ".join(parts) + "."
    known = [
        v for row in rows if isinstance(v := row.values.get("would have noticed above"), float)
    ]
    if not known:
        return text("trials.light.not_seen_unsure", instrument=subject.name)
    return text("trials.light.not_seen", instrument=subject.name, percent=f"{100 * max(known):.0f}")


TRIAL = Trial(
    name=NAME,
    question=text("trials.light.question"),
    needs=(text("trials.light.need_dark"), text("trials.light.need_lamps")),
    bench_substitute=text("trials.light.substitute"),
    cautions=(text("trials.light.caution"),),
    plan=plan,
    analyse=analyse,
    serves=serves,
)
