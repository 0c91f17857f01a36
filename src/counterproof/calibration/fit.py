"""Joint Poisson likelihood of a calibration, with shared nuisances, and its budget.

True dose rate of level l at a counter whose effective centre lies o behind the mark, with δ the
error of placing it and a the relative error of the source's stated dose rate E::

    H = E·exp(a)·[(d/(d + o + δ))² + q·d]          q scatter per metre, d in metres there

Rate of the subject, whose background is worth B in µSv/h, and of a reference::

    R = exp(s + g)·(H + B)        R' = S'·exp(r)·H + b'        counted  m = R/(1 + R·τ)

s is one number, two (below and above a switch) or a line in ln(H + B). Counts are Poisson (the
loss of variance by dead time is neglected, which makes intervals a little too wide); priors are
normal. The estimate is the maximum of the posterior density; covariance and evidence are Laplace's
approximation there (MacKay, Information Theory, Inference, and Learning Algorithms, 2003, ch. 27).

The covariance C = (Jᵀ·diag(1/µ)·J + diag(1/u²))⁻¹ splits exactly into what each observation and
each prior contributes to var(s): (C·Jᵀ)²/µ and (C/u)². That is the budget.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from counterproof.calibration.problem import Counted, Level, Prior, Problem, checked
from counterproof.errors import UserError
from counterproof.texts import text

Floats = NDArray[np.float64]
FactorModel = Literal["one factor", "two factors", "curve"]
FREE = Prior(0.0, math.inf)
# weak priors of how a factor may differ from one: they weigh models and hardly move an estimate
LN_RATIO_U = 0.5
SLOPE_U = 0.2


@dataclass(frozen=True, slots=True)
class Nuisance:
    """A parameter beside the factor: its name, its group in the budget and its prior."""

    name: str
    group: str
    prior: Prior


@dataclass(frozen=True, eq=False)
class Fit:
    """A fitted calibration.

    Args:
        problem: what was fitted.
        model: form of the factor.
        switch: signal above which the second factor holds; ``nan`` without a second.
        nuisances: in the order of the parameters after the factor's own.
        parameters: at the maximum, shape (parameters,).
        covariance: of all parameters, shape (parameters, parameters); zero where held.
        parts: contributions to each parameter, shape (parameters, observations + parameters).
        observed: labels of the observations' groups, in the order of ``parts``.
        residuals: (n − µ)/√µ of every observation.
        deviance: twice the log-likelihood ratio to a perfect fit, prior pulls included.
        dof: observations less parameters that no prior holds.
        log_evidence: natural logarithm, comparable between models of one problem.
        x_usv_h: true dose rate at the subject, background included, at each level.
        net_usv_h: the same of the source alone, at each level.
        net_u_rel: relative standard uncertainty of that.
        x0_usv_h: pivot of the curve.
        counts: counts of each observation.
    """

    problem: Problem
    model: FactorModel
    switch: float
    nuisances: tuple[Nuisance, ...]
    parameters: Floats
    covariance: Floats
    parts: Floats
    observed: tuple[str, ...]
    residuals: Floats
    deviance: float
    dof: int
    log_evidence: float
    x_usv_h: Floats
    net_usv_h: Floats
    net_u_rel: Floats
    x0_usv_h: float
    counts: tuple[float, ...] = field(default=())

    @property
    def factors(self) -> int:
        """How many parameters the factor has."""
        return 1 if self.model == "one factor" else 2

    def weights(self, band: int = 0, x_usv_h: float = math.nan) -> Floats:
        """Return how ln S depends on the factor's parameters, in a band or at a dose rate."""
        if self.model == "curve":
            at = 0.0 if math.isnan(x_usv_h) else math.log(x_usv_h / self.x0_usv_h)
            return np.array([1.0, at])
        # the second parameter is the logarithm of the second factor over the first
        return np.array([1.0, 1.0 if band else 0.0][: self.factors])

    def ln_s(self, band: int = 0, x_usv_h: float = math.nan) -> tuple[float, float]:
        """Return ln S and its standard uncertainty."""
        w = self.weights(band, x_usv_h)
        k = self.factors
        return float(w @ self.parameters[:k]), math.sqrt(float(w @ self.covariance[:k, :k] @ w))

    def p_value(self) -> float:
        """Return the probability of a deviance at least as large, by χ²."""
        from scipy.special import chdtrc

        return float(chdtrc(self.dof, self.deviance)) if self.dof > 0 else math.nan


class _Model:
    """Indices of a problem's parameters and its expected counts, for many vectors at once."""

    def __init__(self, problem: Problem, model: FactorModel, upper: NDArray[np.bool_]) -> None:
        self.problem, self.model = problem, model
        self.upper = upper
        self.factors = 1 if model == "one factor" else 2
        self.nuisances: list[Nuisance] = []
        levels = problem.levels
        weak = LN_RATIO_U if model == "two factors" else SLOPE_U
        self.priors: list[Prior] = [FREE, Prior(0.0, weak)][: self.factors]
        self.b = self._add("background", "background", FREE)
        self.b_ref = [self._add(f"background {r.name}", "", FREE) for r in problem.references]
        self.a = {k: self._add(f"source {k}", "source", p) for k, p in problem.sources.items()}
        self.o = self._add("offset", "offset", problem.offset_mm)
        self.o_ref = [
            self._add(f"offset {r.name}", "offset", r.offset_mm) for r in problem.references
        ]
        self.q = self._add("scatter", "scatter", problem.scatter_per_m)
        self.tau = self._add("dead time", "dead time", problem.dead_time_s)
        self.tau_ref = [
            self._add(f"dead time {r.name}", "dead time", r.dead_time_s) for r in problem.references
        ]
        self.r = [
            self._add(f"reference {r.name}", "reference", r.relative) for r in problem.references
        ]
        self.g = self._add("gain", "gain", problem.gain)
        self.place: list[int] = []
        self.h: list[int | None] = []
        self.pairs: list[tuple[int, int, Counted, int]] = []
        for i, lv in enumerate(levels):
            near = lv.distance_u_mm if lv.distance_mm is not None else 0.0
            u = Prior(0.0, near, source=text("calibration.placed"))
            self.place.append(self._add(f"placing {lv.label}", "distance", u))
            free = lv.source is None
            self.h.append(self._add(f"dose rate {lv.label}", "", FREE) if free else None)
            for j, ref in enumerate(problem.references):
                if ref.name in lv.references:
                    where = self._add(f"placing {ref.name}, {lv.label}", "distance", u)
                    self.pairs.append((i, j, lv.references[ref.name], where))
        self.d_mm = np.array([lv.distance_mm or 100.0 for lv in levels])
        self.nominal = np.array([lv.nominal_usv_h for lv in levels])
        self.seen = [
            *(lv.seen for lv in levels),
            problem.background,
            *(c for _, _, c, _ in self.pairs),
            *(r.background for r in problem.references),
        ]
        self.groups = (
            *("counts" for _ in levels),
            "background counts",
            *("reference counts" for _ in self.pairs),
            *("reference counts" for _ in problem.references),
        )
        self.n = np.array([c.counts for c in self.seen])
        self.t = np.array([c.seconds for c in self.seen])
        self.x0 = 1.0

    def _add(self, name: str, group: str, prior: Prior) -> int:
        self.nuisances.append(Nuisance(name, group, prior))
        self.priors.append(prior)
        return len(self.priors) - 1

    def dose(self, p: Floats, i: int, offset: Floats, placing: Floats) -> Floats:
        """Net dose rate of level i at a counter, for parameters of shape (..., parameters)."""
        lv: Level = self.problem.levels[i]
        d = self.d_mm[i]
        direct = (d / np.maximum(d + offset + placing, 0.05 * d)) ** 2
        free = self.h[i]
        if free is not None or lv.source is None:
            return np.asarray(np.exp(p[..., free]) * direct)
        shape = direct + p[..., self.q] * d / 1000.0
        return np.asarray(self.nominal[i] * np.exp(p[..., self.a[lv.source]]) * shape)

    def net(self, p: Floats) -> Floats:
        """Dose rate of the source alone at the subject, shape (..., levels)."""
        doses = [self.dose(p, i, p[..., self.o], p[..., w]) for i, w in enumerate(self.place)]
        return np.stack(doses, axis=-1)

    def truth(self, p: Floats) -> Floats:
        """Dose rate at the subject at each level and without source, background included."""
        background = np.exp(p[..., self.b, None])
        return np.concatenate([self.net(p) + background, background], axis=-1)

    def ln_s(self, p: Floats, x: Floats) -> Floats:
        """Logarithm of the factor at each of the subject's observations."""
        base = p[..., :1] + p[..., self.g, None]
        if self.model == "two factors":
            return np.asarray(base + np.where(self.upper, p[..., 1:2], 0.0))
        if self.model == "curve":
            return np.asarray(base + p[..., 1:2] * np.log(x / self.x0))
        return np.asarray(base + np.zeros_like(x))

    def expected(self, p: Floats) -> Floats:
        """Expected counts, shape (..., observations)."""
        x = self.truth(p)
        rate = np.exp(self.ln_s(p, x)) * x
        per = np.array([c.cps_per_unit for c in self.seen[: x.shape[-1]]])
        own = rate / (1.0 + rate * per * p[..., self.tau, None])
        columns = [own[..., i] for i in range(x.shape[-1])]
        refs = self.problem.references
        for i, j, _, where in self.pairs:
            net = self.dose(p, i, p[..., self.o_ref[j]], p[..., where])
            true = refs[j].cps_per_usv_h * np.exp(p[..., self.r[j]]) * net
            true = true + np.exp(p[..., self.b_ref[j]])
            columns.append(true / (1.0 + true * p[..., self.tau_ref[j]]))
        for j in range(len(refs)):
            true = np.exp(p[..., self.b_ref[j]])
            columns.append(true / (1.0 + true * p[..., self.tau_ref[j]]))
        return np.asarray(np.stack(columns, axis=-1) * self.t)

    def start(self) -> Floats:
        """Return where to begin."""
        p = np.array([q.value for q in self.priors])
        refs = self.problem.references
        for j, ref in enumerate(refs):
            p[self.b_ref[j]] = math.log(max(ref.background.rate, 0.5 / ref.background.seconds))
        net_ref: dict[int, float] = {}
        for i, j, c, _ in self.pairs:
            net = (c.rate - refs[j].background.rate) / refs[j].cps_per_usv_h
            net_ref.setdefault(i, max(net, 0.3 / c.seconds / refs[j].cps_per_usv_h))
        for name, k in self.a.items():
            seen = [i for i, lv in enumerate(self.problem.levels) if lv.source == name]
            known = [math.log(net_ref[i] / self.nominal[i]) for i in seen if i in net_ref]
            if math.isinf(self.priors[k].u) and known:
                p[k] = float(np.median(known))
        for i, free in enumerate(self.h):
            if free is not None:
                p[free] = math.log(net_ref[i])
        background = self.problem.background.rate
        tops, bottoms = [], []
        for i, lv in enumerate(self.problem.levels):
            tops.append(max(lv.seen.rate - background, 0.0))
            bottoms.append(float(self.dose(p, i, p[self.o], p[self.place[i]])))
        value = sum(tops) / sum(bottoms)
        p[0] = math.log(value)
        p[self.b] = math.log(background / value)
        x = self.truth(p)
        self.x0 = float(np.exp(np.mean(np.log(x[:-1]))))
        if self.model == "two factors":
            up = self.upper[:-1]
            net = np.array(tops) / np.array(bottoms)
            low = net[~up].mean() if (~up).any() and net[~up].mean() > 0 else value
            p[0] = math.log(low)
            p[1] = math.log(max(net[up].mean() / low, 0.05))
            p[self.b] = math.log(background / low)
        return p


def fit(problem: Problem, model: FactorModel = "one factor", switch: float = math.nan) -> Fit:
    """Fit one form of the factor.

    Args:
        problem: levels, references and priors.
        model: ``"one factor"``, ``"two factors"`` (then ``switch``) or ``"curve"``.
        switch: signal (background included) from which the second factor holds.

    Raises:
        UserError: as :func:`counterproof.calibration.problem.checked`, or if the fit does not
            settle.
    """
    problem = checked(problem)
    rates = np.array([*(lv.seen.rate for lv in problem.levels), problem.background.rate])
    upper = rates >= switch if model == "two factors" else np.zeros(rates.shape, dtype=bool)
    m = _Model(problem, model, upper)
    p = m.start()
    u = np.array([q.u for q in m.priors])
    free = u > 0
    centre = np.array([q.value for q in m.priors])
    with np.errstate(divide="ignore"):
        weight = np.where(np.isfinite(u) & free, 1.0 / u**2, 0.0)
    steps = np.where(np.isfinite(u) & free, 1e-3 * u, 1e-4)[free]
    shifts = np.zeros((int(free.sum()), p.size))
    shifts[:, free] = np.diag(steps)

    def log_posterior(at: Floats) -> float:
        mu = np.maximum(m.expected(at), 1e-300)
        return float(np.sum(m.n * np.log(mu) - mu) - 0.5 * np.sum(weight * (at - centre) ** 2))

    best = log_posterior(p)
    for _ in range(200):
        mu, jac, info = _curvature(m, p, shifts, steps, weight[free])
        slope = jac.T @ (m.n / mu - 1.0) - (weight * (p - centre))[free]
        move = _solve(info, slope)
        size = float(np.max(np.abs(move * np.sqrt(np.diag(info)))))
        gain = 1.0
        while True:
            trial = p.copy()
            trial[free] += gain * move
            reached = log_posterior(trial)
            if reached >= best - 1e-9 * (1.0 + abs(best)) or gain < 1e-6:
                break
            gain *= 0.5
        p, best = trial, reached
        if size < 1e-6:
            break
    else:
        raise UserError(text("calibration.not_settled"))
    mu, jac, info = _curvature(m, p, shifts, steps, weight[free])
    inverse = _solve(info, np.eye(info.shape[0]))
    ln_net = (np.log(m.net(p + shifts)) - np.log(m.net(p - shifts))) / (2.0 * steps[:, None])
    net_u = np.sqrt(np.einsum("il,ij,jl->l", ln_net, inverse, ln_net))
    return _finished(m, p, free, weight, centre, mu, jac, info, inverse, net_u, switch)


def _curvature(
    m: _Model, p: Floats, shifts: Floats, steps: Floats, weight: Floats
) -> tuple[Floats, Floats, Floats]:
    mu = np.maximum(m.expected(p), 1e-300)
    jac = ((m.expected(p + shifts) - m.expected(p - shifts)) / (2.0 * steps[:, None])).T
    return mu, jac, jac.T @ (jac / mu[:, None]) + np.diag(weight)


def _solve(info: Floats, right: Floats) -> Floats:
    """Solve with the information scaled to a unit diagonal: parameters differ by magnitudes.

    Raises:
        UserError: if the data leave a parameter undetermined.
    """
    scale = 1.0 / np.sqrt(np.maximum(np.diag(info), 1e-300))
    try:
        if right.ndim == 1:
            return np.asarray(np.linalg.solve(info * scale[:, None] * scale, right * scale) * scale)
        inner = np.linalg.inv(info * scale[:, None] * scale)
    except np.linalg.LinAlgError:
        raise UserError(text("calibration.undetermined")) from None
    return np.asarray(inner * scale[:, None] * scale)


def _finished(
    m: _Model,
    p: Floats,
    free: NDArray[np.bool_],
    weight: Floats,
    centre: Floats,
    mu: Floats,
    jac: Floats,
    info: Floats,
    inverse: Floats,
    net_u: Floats,
    switch: float,
) -> Fit:
    from scipy.special import gammaln

    size = p.size
    covariance = np.zeros((size, size))
    covariance[np.ix_(free, free)] = inverse
    if not np.all(np.diag(inverse) > 0):
        raise UserError(text("calibration.undetermined"))
    parts = np.zeros((size, mu.size + size))
    parts[free, : mu.size] = inverse @ (jac / np.sqrt(mu)[:, None]).T
    parts[:, mu.size :] = covariance * np.sqrt(weight)
    logs = m.n * np.log(np.where(m.n > 0, m.n, 1.0) / mu)
    pulls = float(np.sum(weight * (p - centre) ** 2))
    deviance = 2.0 * float(np.sum(logs - m.n + mu)) + pulls
    held = weight[free] > 0
    _, log_det = np.linalg.slogdet(info)
    evidence = (
        float(np.sum(m.n * np.log(mu) - mu - gammaln(m.n + 1.0)))
        - 0.5 * pulls
        + 0.5 * float(np.sum(np.log(weight[free][held])))
        + 0.5 * float((~held).sum()) * math.log(2.0 * math.pi)
        - 0.5 * float(log_det)
    )
    return Fit(
        m.problem,
        m.model,
        switch,
        tuple(m.nuisances),
        p,
        covariance,
        parts,
        m.groups,
        (m.n - mu) / np.sqrt(mu),
        deviance,
        int(mu.size - (~held).sum()),
        evidence,
        m.truth(p),
        m.net(p),
        net_u,
        m.x0,
        tuple(float(n) for n in m.n),
    )
