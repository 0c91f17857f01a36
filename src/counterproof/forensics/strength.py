"""How strong is the evidence: words for a Bayes factor, and a bound on it from a p value."""

from __future__ import annotations

import math

from counterproof.texts import text

LN10 = math.log(10.0)
SUBSTANTIAL = 0.5
"""log₁₀ of the Bayes factor from which a statement is made, or a rival set aside."""
STEPS = ((SUBSTANTIAL, "hardly"), (1.0, "substantial"), (2.0, "strong"), (math.inf, "decisive"))
"""Upper ends in log₁₀ and words, after Jeffreys' scale (Theory of Probability, from memory)."""


def in_words(log10_bayes_factor: float | None) -> str:
    """Return the word for a Bayes factor in favour of a statement; against it below 0.

    ``None`` stands for what was looked for and not found.
    """
    if log10_bayes_factor is None:
        return text("findings.none_found")
    if log10_bayes_factor < 0.0:
        return text("findings.against")
    word = next(word for top, word in STEPS if log10_bayes_factor <= top)
    return text(f"findings.{word}")


def bound_from_p(p_value: float) -> float:
    """Return the largest log₁₀ Bayes factor that a p value can stand for, at least 0.

    −1/(e p ln p) for p < 1/e (Sellke, Bayarri & Berger 2001, The American Statistician 55, 62).
    """
    p = max(p_value, 1e-300)
    if p >= 1.0 / math.e:
        return 0.0
    return -math.log10(-math.e * p * math.log(p))


def from_interval(distance_in_u: float, width_ratio: float) -> float:
    """Return log₁₀ of a Bayes factor for a difference against none, at least −log₁₀(width).

    A normal likelihood at ``distance_in_u`` standard uncertainties from no difference against a
    normal prior that is ``width_ratio`` times as wide (the unit-information form).
    """
    k = max(width_ratio, 1.0) ** 2
    ln = 0.5 * distance_in_u**2 * k / (1.0 + k) - 0.5 * math.log1p(k)
    return ln / LN10
