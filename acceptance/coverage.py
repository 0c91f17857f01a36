"""Do intervals cover what they claim? Seeded experiments at 3, 30 and 3000 expected counts."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from acceptance import Row
from counterproof.counting import iso11929
from counterproof.counting.changepoints import find_changes
from counterproof.counting.deadtime import (
    non_paralysable,
    observed_rate,
    paralysable,
    true_rate_estimate,
    variance_ratio,
)
from counterproof.counting.deadtime_intervals import dead_time_from_intervals
from counterproof.counting.deadtime_series import dead_time_from_ladder
from counterproof.counting.deadtime_sources import dead_time_from_two_sources
from counterproof.counting.difference import net_rate
from counterproof.counting.dispersion import dispersion_test
from counterproof.counting.poisson import counts_limits, rate_estimate, rate_from_times
from counterproof.counting.ratio import rate_ratio, ratio_of
from counterproof.counting.readings import momentary_mean, register_rate
from counterproof.quantities import Estimate

TITLE = "Coverage of intervals over simulated experiments"
MEANS = (3.0, 30.0, 3000.0)
CLAIM = 0.95


def _covered(estimate: Estimate, true: float) -> bool:
    return estimate.low <= true <= estimate.high


def _share(n: int, experiment: Callable[..., tuple[Estimate, float]], *given: float) -> float:
    return float(np.mean([_covered(*experiment(*given)) for _ in range(n)]))


def _row(what: str, share: float, n: int, exact: bool, note: str = "") -> Row:
    """Judge a share at two standard deviations of the simulation itself."""
    slack = 2.0 * np.sqrt(CLAIM * (1.0 - CLAIM) / n)
    if exact:
        bar, good = "at least 95 %", share >= CLAIM - slack
        note = f"over-coverage {100 * (share - CLAIM):+.1f} %" + (f"; {note}" if note else "")
    else:
        bar, good = "94 … 96.5 %", 0.94 - slack <= share <= 0.965 + slack
    return Row(
        what, f"{bar} (± {100 * slack:.1f} of the run)", f"{100 * share:.2f} %", bool(good), note
    )


def _accepted(rng: np.random.Generator, rate: float, tau: float, span: float) -> int:
    """Counts of a non-paralysable counter."""
    room = int(rate * span / (1 + rate * tau) + 8 * np.sqrt(rate * span) + 20)
    ends = np.cumsum(rng.exponential(1.0 / rate, room)) + tau * np.arange(room)
    return int(np.searchsorted(ends, span))


def exact_rows(n: int, rng: np.random.Generator) -> list[Row]:
    from scipy.stats import poisson

    rows = []
    for mean in MEANS:
        low, high = counts_limits(rng.poisson(mean, n))
        share = float(np.mean((low <= mean) & (mean <= high)))
        k = np.arange(0, int(mean + 12 * np.sqrt(mean) + 20))
        low, high = counts_limits(k)
        whole = float(poisson.pmf(k, mean)[(low <= mean) & (mean <= high)].sum())
        rows.append(
            _row(f"Poisson limits, mean {mean:g}", share, n, True, f"summed exactly {whole:.4f}")
        )

    def plain(rate: float) -> tuple[Estimate, float]:
        got = _accepted(rng, rate, 4e-3, 60.0)
        return rate_estimate(got, 60.0, resolving_time_s=4e-3), rate

    def corrected(rate: float) -> tuple[Estimate, float]:
        efficiency, false = 0.95, 0.005
        got = rate_estimate(
            _accepted(rng, efficiency * rate + false, 4e-3, 60.0),
            60.0,
            resolving_time_s=4e-3,
            efficiency=min(1.0, rng.normal(efficiency, 0.015)),
            efficiency_u=0.015,
            false_rate_per_s=max(0.0, rng.normal(false, 0.001)),
            false_rate_u_per_s=0.001,
        )
        return got, rate

    def merging(rate: float) -> tuple[Estimate, float]:
        """A detector that reports an event within 4 ms of the last reported half of the time."""
        times = np.sort(rng.uniform(0, 60.0, rng.poisson(rate * 60.0)))
        heard = rng.uniform(size=times.size) < 0.5
        last, kept = -1.0, []
        for t, lucky in zip(times.tolist(), heard.tolist(), strict=True):
            if t > last + 4e-3 or lucky:
                kept.append(t)
                last = t
        return rate_from_times(kept, 60.0, resolving_time_s=4e-3), rate

    def ratio(mean: float) -> tuple[Estimate, float]:
        return rate_ratio(rng.poisson(mean), 60.0, rng.poisson(1.5 * mean), 180.0).ratio, 2.0

    def register(mean: float) -> tuple[Estimate, float]:
        begin = rng.uniform(0, 1e4)
        ends = np.floor(np.array([begin, begin + rng.poisson(mean)]) / 2.0) * 2.0
        return register_rate(*ends.tolist(), 60.0, 1.0, quantum=2.0), mean / 60.0

    def shortest(size: float) -> tuple[Estimate, float]:
        return dead_time_from_intervals(1e-3 + rng.exponential(0.5, int(size))), 1e-3

    for mean in MEANS:
        rate = mean / 60.0 / (1 - mean / 60.0 * 4e-3)
        few = n if mean < 1000 else max(n // 5, 200)
        anew = "efficiency 0.95 ± 0.015 and false rate estimated anew in each run"
        for what, experiment, given, runs, note in (
            ("rate after a dead time of 4 ms", plain, rate, n, ""),
            ("rate with efficiency, false events and dead time", corrected, rate, n, anew),
            ("rate from a list with some events closer than 4 ms", merging, rate, few, ""),
            ("ratio of two rates", ratio, mean, n, ""),
            ("rate from a register with a quantum of 2 counts", register, mean, n, ""),
        ):
            share = _share(runs, experiment, given)
            rows.append(_row(f"{what}, mean {mean:g}", share, runs, True, note))
    for size in (4, 100):
        share = _share(n, shortest, size)
        rows.append(_row(f"dead time from {size} exact intervals", share, n, True))
    return rows


def approximate_rows(n: int, rng: np.random.Generator) -> list[Row]:
    """Approximate intervals; the true means spread by ±30 % so that no lattice point decides."""
    rows = []
    spread = "true means uniform within ±30 %"

    def net(mean: float) -> tuple[Estimate, float]:
        b, s = mean * rng.uniform(0.7, 1.3, 2)
        return net_rate(rng.poisson(b + s), 60.0, rng.poisson(2 * b), 120.0), s / 60.0

    def net_ratio(mean: float) -> tuple[Estimate, float]:
        a, c = mean * rng.uniform(0.7, 1.3, 2)
        b = mean / 10
        one = net_rate(rng.poisson(a + b), 60.0, rng.poisson(10 * b), 600.0)
        two = net_rate(rng.poisson(c + b), 60.0, rng.poisson(10 * b), 600.0)
        return ratio_of(one, two), a / c

    def paralysed(mean: float) -> tuple[Estimate, float]:
        true = rng.uniform(0.7, 1.3) * mean / 20.0
        times = np.sort(rng.uniform(0, 20.0, rng.poisson(true * 20.0)))
        kept = int((np.diff(times, prepend=-1.0) > 1e-3).sum())
        return true_rate_estimate(kept, 20.0, paralysable(1e-3)).rate, true

    for mean in MEANS:
        name = f"net rate, background and net mean {mean:g}"
        rows.append(_row(name, _share(n, net, mean), n, False, spread))
    for mean in MEANS[1:]:
        name = f"ratio of two net rates, net mean {mean:g}"
        rows.append(_row(name, _share(n, net_ratio, mean), n, False, spread))
    why = "the denominator often reaches 0 and then nothing bounds the ratio above"
    rows.append(_told("ratio of two net rates, net mean 3", _share(n, net_ratio, 3.0), why))
    for mean in MEANS:
        # Garwood's limits go through the inverse: with few counts they over-cover as they do
        name = f"rate of a paralysable counter (dead 1 ms in 20 s), mean {mean:g}"
        rows.append(_row(name, _share(n, paralysed, mean), n, True, spread))

    rates = observed_rate([1001.0, 1201.0, 2201.0, 1.0], non_paralysable(1e-4))
    ratio = variance_ratio(rates, non_paralysable(1e-4))
    x = np.array([1.0, 3.0, 10.0, 30.0, 100.0])
    at = np.arange(40.0, 600.0, 5.0)

    def two_sources() -> tuple[Estimate, float]:
        a, b, ab, none = np.round(rng.normal(rates * 60, np.sqrt(rates * 60 * ratio))).tolist()
        return dead_time_from_two_sources((a, b, ab, none), (60.0,) * 4).tau, 1e-4

    def ladder() -> tuple[Estimate, float]:
        counts = [_accepted(rng, 5.0 * a + 0.5, 2e-4, 30.0) for a in x]
        return dead_time_from_ladder(x, counts, 30.0, rng.poisson(30), 60.0).tau, 2e-4

    def jittered() -> tuple[Estimate, float]:
        times = np.cumsum(2e-3 + rng.exponential(0.02, 1400)) + rng.normal(0, 5e-5, 1400)
        return dead_time_from_intervals(np.diff(times), timing_u_s=5e-5), 2e-3

    def display(factor: float) -> tuple[Estimate, float]:
        rate = rng.uniform(0.7, 1.3)
        times = np.sort(rng.uniform(0, 600, rng.poisson(rate * 600)))
        shown = (np.searchsorted(times, at) - np.searchsorted(times, at - 40.0)) / 40.0
        return momentary_mean(at, shown, 40.0, counts_per_s_per_unit=factor or None), rate

    m = max(200, n // 5)
    for name, experiment, runs in (
        ("dead time from two sources", two_sources, n),
        ("dead time from a ladder of five rates", ladder, m),
        ("dead time from intervals timed to 50 µs", jittered, m),
    ):
        rows.append(_row(name, _share(runs, experiment), runs, False))
    for name, factor in (("factor known", 1.0), ("from their scatter", 0.0)):
        share = _share(n, display, factor)
        rows.append(_row(f"mean of smoothed readings, {name}", share, n, False, spread))
    return rows


def _told(what: str, share: float, note: str) -> Row:
    return Row(what, "reported, not gated", f"{100 * share:.2f} %", True, note)


def iso_rows(n: int, rng: np.random.Generator) -> list[Row]:
    """ISO 11929: coverage averaged over the prior it assumes, and at fixed true values."""

    def modelled() -> tuple[Estimate, float]:
        """The standard's own model: a normal indication of u = 1, true values flat above 0."""
        true = rng.uniform(0.0, 60.0)
        y = rng.normal(true, 1.0)
        gross, blank = iso11929.known(10.0 + max(y, 0.0), 1.0), iso11929.known(10.0 - min(y, 0.0))
        return iso11929.characteristics(gross, blank).best, true

    def counted(blank: float, net: float) -> tuple[Estimate, float]:
        got = iso11929.characteristics(
            iso11929.counted(rng.poisson(blank + net), 60.0),
            iso11929.counted(rng.poisson(5 * blank), 300.0),
        )
        return got.best, net / 60.0

    def over_prior(blank: float) -> tuple[Estimate, float]:
        return counted(blank, rng.uniform(0.0, 20.0 * np.sqrt(blank) + blank))

    rows = [
        _row(
            "ISO 11929 interval over its prior",
            _share(n, modelled),
            n,
            False,
            "normal indications, true values uniform from 0 to 60 u",
        )
    ]
    for mean in MEANS:
        rows.append(
            _told(
                f"ISO 11929 interval over its prior, real counts, blank mean {mean:g}",
                _share(n, over_prior, mean),
                "Poisson counts: the standard's normal approximation is part of the figure",
            )
        )
        for depth, where in (
            (0.0, "0 (an interval that is symmetric in probability never holds it)"),
            (1.645, "the decision threshold"),
            (5.0, "three times the decision threshold"),
        ):
            share = _share(n, counted, mean, depth * float(np.sqrt(1.2 * mean)))
            rows.append(
                _told(
                    f"ISO 11929 interval, fixed true value, blank mean {mean:g}",
                    share,
                    f"true value at {where}",
                )
            )
    return rows


def alarm_rows(n: int, rng: np.random.Generator) -> list[Row]:
    rows = []

    def row(what: str, share: float, claimed: float, m: int) -> Row:
        slack = 2.0 * np.sqrt(claimed * (1 - claimed) / m)
        return Row(
            what,
            f"at most {100 * claimed:g} % (+ {100 * slack:.1f} of the run)",
            f"{100 * share:.2f} %",
            share <= claimed + slack,
        )

    for mean in MEANS:
        got = [dispersion_test(rng.poisson(mean, 60)).scatter for _ in range(n)]
        share = float(np.mean([s != "as Poisson" for s in got]))
        rows.append(row(f"false alarm of the dispersion test, mean {mean:g}", share, 0.05, n))
    m = max(200, n // 5)
    for mean in (0.3, 3.0, 30.0):
        found = [bool(find_changes(rng.poisson(mean, 500), None, 0.05).changes) for _ in range(m)]
        rows.append(row(f"false change points, mean {mean:g}", float(np.mean(found)), 0.05, m))
    return rows


def measure(quick: bool) -> list[Row]:
    n = 200 if quick else 10_000
    rng = np.random.default_rng(20261125)
    return [
        *exact_rows(n, rng),
        *approximate_rows(n, rng),
        *iso_rows(n, rng),
        *alarm_rows(n, rng),
    ]
