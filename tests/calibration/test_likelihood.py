"""The joint likelihood against published ladders, a general minimiser, and hand calculation."""

import math

import numpy as np
import pytest
from scipy.optimize import minimize

from counterproof.calibration.budget import budget
from counterproof.calibration.choice import choose
from counterproof.calibration.fit import fit
from counterproof.calibration.problem import Counted, Level, Prior, Problem, Reference
from counterproof.errors import UserError
from counterproof.quantities.budget import Budget, Component

FREE = Prior(0.0, math.inf)


def ladder(distances_mm: list[float], counts: list[int], seconds: list[float]) -> tuple[Level, ...]:
    """A source of unknown strength: only the inverse square is known."""
    rows = zip(distances_mm, counts, seconds, strict=True)
    return tuple(
        Level(f"{d:g}", Counted(n, t), d, 0.0, "disc", (100.0 / d) ** 2) for d, n, t in rows
    )


def test_a_real_ladder() -> None:
    # real counts: public course repository catacisneros/PHY3802L_Fall2025,
    # Counting_Statistics/Distance_Counts.data; background of 120 in 300 s assumed. An independent
    # weighted least squares gives k = 1262 ± 103 cm²/s, d0 = 0.38 ± 0.65 cm, χ² 10.4 for 4; ours
    # weighs by the expected counts and shares the background: near it, well within u
    levels = ladder(
        [100, 150, 220, 260, 290, 320],
        [227, 209, 202, 200, 202, 199],
        [20, 30, 65, 90, 119, 130],
    )
    found = fit(Problem(levels, Counted(120, 300), {"disc": FREE}, offset_mm=FREE))
    ln, u = found.ln_s()
    assert 100.0 * math.exp(ln) == pytest.approx(1262, abs=0.2 * 103)
    assert 100.0 * math.exp(ln) * u == pytest.approx(103, rel=0.1)
    offset = next(i for i, n in enumerate(found.nuisances) if n.name == "offset") + 1
    assert found.parameters[offset] == pytest.approx(3.8, abs=0.2 * 6.5)
    assert math.sqrt(found.covariance[offset, offset]) == pytest.approx(6.5, rel=0.1)
    assert found.deviance == pytest.approx(10.4, rel=0.1)
    assert found.dof == 4
    assert found.p_value() > 0.01


def test_a_real_ladder_that_does_not_fit_is_flagged() -> None:
    # counts of a student laboratory from memory; weighted least squares: d0 = 10.16 mm, χ² 52.8
    levels = ladder(
        [6.35, 12.7, 19.05, 25.4, 31.75, 38.1], [4004, 2482, 1339, 831, 668, 487], [60.0] * 6
    )
    found = fit(Problem(levels, Counted(37, 60), {"disc": FREE}, offset_mm=FREE))
    offset = next(i for i, n in enumerate(found.nuisances) if n.name == "offset") + 1
    assert found.parameters[offset] == pytest.approx(10.16, abs=0.3)
    assert found.deviance == pytest.approx(52.8, rel=0.1)
    assert found.p_value() < 1e-8


def test_one_level_by_hand() -> None:
    # S = (n/t − b/t_b)/H; u²(ln S) = [n/t² + b/t_b²]/(net)² + u_a² (GUM, equation 10)
    level = Level("a", Counted(4000, 1000), 100.0, 0.0, "disc", 1.5)
    found = fit(Problem((level,), Counted(900, 1800), {"disc": Prior(0.0, 0.03)}))
    ln, u = found.ln_s()
    net = 4.0 - 0.5
    assert math.exp(ln) == pytest.approx(net / 1.5, rel=1e-6)
    by_hand = math.sqrt((4000 / 1000**2 + 900 / 1800**2) / net**2 + 0.03**2)
    assert u == pytest.approx(by_hand, rel=1e-4)
    rows = {r.name: r for r in budget(found, found.weights()).rows}
    assert rows["counting, with the source"].contribution_percent == pytest.approx(
        100 * math.sqrt(4000) / 1000 / net, rel=1e-3
    )
    assert rows["dose rate stated for the source: disc"].contribution_percent == pytest.approx(3.0)


def test_a_reference_beside_it_at_an_unknown_place_by_hand() -> None:
    # S = S'·(net rate)/(net rate of the reference); all variances add (GUM, equation 10)
    wren = Reference("Wren", 4.0, Counted(720, 1800), Prior(0.0, 0.025))
    level = Level("somewhere", Counted(4000, 1000), references={"Wren": Counted(5400, 1000)})
    found = fit(Problem((level,), Counted(900, 1800), references=(wren,)))
    ln, u = found.ln_s()
    net, net_ref = 4.0 - 0.5, 5.4 - 0.4
    assert math.exp(ln) == pytest.approx(4.0 * net / net_ref, rel=1e-5)
    own = (4000 / 1000**2 + 900 / 1800**2) / net**2
    theirs = (5400 / 1000**2 + 720 / 1800**2) / net_ref**2
    assert u == pytest.approx(math.sqrt(own + theirs + 0.025**2), rel=1e-3)
    assert math.isnan(found.p_value())


def test_dead_time_by_hand() -> None:
    # m = n/(1 − m·τ) (non-paralysable, Knoll): 1000 counted at 100 µs are 1111.11
    level = Level("hot", Counted(1_000_000, 1000), 100.0, 0.0, "disc", 500.0)
    problem = Problem((level,), Counted(1, 100_000), {"disc": Prior(0.0)}, dead_time_s=Prior(1e-4))
    assert 500.0 * math.exp(fit(problem).ln_s()[0]) == pytest.approx(1111.11, abs=0.02)


def busy_problem() -> Problem:
    rng = np.random.default_rng(3)
    levels = []
    for d in (60.0, 100.0, 160.0, 260.0):
        h = 40.0 * (60.0 / d) ** 2
        own, ref = 2.5 * (h + 0.1), 4.0 * h + 0.4
        beside = {"Wren": Counted(float(rng.poisson(200 * ref)), 200.0)}
        seen = Counted(float(rng.poisson(200 * own / (1 + own * 1e-4))), 200.0)
        levels.append(Level(f"{d:g}", seen, d, 0.5, "disc", h, beside))
    wren = Reference(
        "Wren", 4.0, Counted(700, 1800), Prior(0.0, 0.025), Prior(0.0, 2.0), Prior(1e-4, 3e-5)
    )
    return Problem(
        tuple(levels),
        Counted(450, 1800),
        {"disc": Prior(0.0, 0.05)},
        (wren,),
        Prior(0.0, 2.0),
        Prior(0.05, 0.03),
        Prior(1e-4, 3e-5),
    )


def test_the_maximum_is_where_a_general_minimiser_finds_it() -> None:
    # scipy's quasi-Newton knows nothing of our derivatives; the posterior is written anew
    problem = busy_problem()
    found = fit(problem)
    wren = problem.references[0]
    scale = np.array([0.02, 0.05, 0.05, 0.05, 2, 2, 0.03, 3e-5, 3e-5, 0.025, *([0.5] * 8)])
    start = np.array([math.log(2.5), math.log(0.1), math.log(0.4), 0, 0, 0, 0.05, 1e-4, 1e-4])
    start = np.concatenate([start, np.zeros(9)])

    def minus_log(z: np.ndarray) -> float:
        p = start + z * scale
        s, b, br, a, o, o_r, q, tau, tau_r, r = p[:10]
        place = p[10:]
        pull = (a / 0.05) ** 2 + (o / 2) ** 2 + (o_r / 2) ** 2 + ((q - 0.05) / 0.03) ** 2
        pull += ((tau - 1e-4) / 3e-5) ** 2 + ((tau_r - 1e-4) / 3e-5) ** 2 + (r / 0.025) ** 2
        pull += float(np.sum((place / 0.5) ** 2))
        total = 0.5 * pull

        def take(c: Counted, rate: float, dead: float) -> float:
            mu = rate / (1 + rate * dead) * c.seconds
            return mu - c.counts * math.log(mu)

        for i, lv in enumerate(problem.levels):
            d = lv.distance_mm or 1.0
            h = lv.nominal_usv_h * math.exp(a)
            mine = h * ((d / (d + o + place[i])) ** 2 + q * d / 1000)
            theirs = h * ((d / (d + o_r + place[4 + i])) ** 2 + q * d / 1000)
            total += take(lv.seen, math.exp(s) * (mine + math.exp(b)), tau)
            rate = 4.0 * math.exp(r) * theirs + math.exp(br)
            total += take(lv.references["Wren"], rate, tau_r)
        total += take(problem.background, math.exp(s + b), tau)
        return total + take(wren.background, math.exp(br), tau_r)

    best = minimize(
        minus_log,
        np.zeros(18),
        method="L-BFGS-B",
        options={"ftol": 1e-15, "gtol": 1e-6, "maxfun": 200_000, "maxiter": 9000},
    )
    ln, u = found.ln_s()
    assert start[0] + best.x[0] * scale[0] == pytest.approx(ln, abs=0.02 * u)
    # curvature by differences of that other function
    hessian = np.empty((18, 18))
    step = 0.02

    def at(i: int, j: int, si: int, sj: int) -> float:
        z = best.x.copy()
        z[i] += si * step
        z[j] += sj * step
        return minus_log(z)

    for i in range(18):
        for j in range(i, 18):
            bent = at(i, j, 1, 1) - at(i, j, 1, -1) - at(i, j, -1, 1) + at(i, j, -1, -1)
            hessian[i, j] = hessian[j, i] = bent / (4 * step**2)
    theirs = math.sqrt(float(np.linalg.inv(hessian)[0, 0])) * scale[0]
    assert u == pytest.approx(theirs, rel=0.02)


def test_the_budget_adds_up_to_the_uncertainty() -> None:
    found = fit(busy_problem())
    table = budget(found, found.weights())
    total = math.hypot(*(r.contribution_percent for r in table.rows))
    assert total == pytest.approx(100 * found.ln_s()[1], rel=2e-3)
    assert {r.evaluation for r in table.rows} == {"A", "B"}
    assert table.expanded_percent == pytest.approx(table.k * table.u_percent)
    assert table.k == pytest.approx(1.96, abs=0.02)


def test_a_budget_in_per_cent() -> None:
    # arithmetic of JCGM 100:2008, equation 11a, and 4.3.7 for the rectangular ones
    lines = (
        Component("reference", u=2.5),
        Component("distance", half_width=2.0, distribution="rectangular", sensitivity=2 / 3.0),
        Component("counts", u=2.236, kind="A"),
        Component("background", u=0.5, kind="A"),
        Component("resolution", u=0.289),
        Component("scatter", half_width=3.0, distribution="rectangular"),
        Component("positioning", u=1.0),
        Component("decay", u=0.1),
    )
    found = Budget(100.0, lines)
    assert lines[1].contribution == pytest.approx(0.770, abs=0.001)
    assert lines[5].contribution == pytest.approx(1.732, abs=0.001)
    assert found.u == pytest.approx(4.023, abs=0.001)
    assert found.expanded(2.0) == pytest.approx(8.05, abs=0.01)


def shown(factors: tuple[float, float], switch: float, slope: float = 0.0) -> Problem:
    """A display's means at seven levels of a known source, with their scatter as counts."""
    rng = np.random.default_rng(11)
    levels = []
    for d in (60.0, 85.0, 120.0, 170.0, 240.0, 340.0, 480.0):
        h = 30.0 * (60.0 / d) ** 2
        x = h + 0.1
        response = (factors[0] if x < switch else factors[1]) * x**slope
        counts = float(rng.poisson(600 * 2.0 * x))
        levels.append(Level(f"{d:g}", Counted(counts, counts / (response * x)), d, 0.5, "disc", h))
    return Problem(
        tuple(levels),
        Counted(400, 400 / (factors[0] * 0.1)),
        {"disc": Prior(0.0, 0.03)},
        offset_mm=Prior(0.0, 2.0),
        unit="µSv/h",
    )


def test_one_factor_two_or_a_curve() -> None:
    one, _ = choose(shown((0.8, 0.8), 1.0))
    two, weighed = choose(shown((1.0, 0.6), 1.0))
    bent, _ = choose(shown((0.8, 0.8), 1.0, slope=0.15))
    assert one.model == "one factor"
    assert two.model == "two factors"
    assert [w.model for w in weighed] == ["one factor", "two factors", "curve"]
    assert math.exp(two.ln_s(0)[0]) == pytest.approx(1.0, abs=4 * two.ln_s(0)[1])
    assert math.exp(two.ln_s(1)[0]) == pytest.approx(0.6, abs=4 * 0.6 * two.ln_s(1)[1])
    assert bent.model == "curve"
    assert bent.parameters[1] == pytest.approx(0.15, abs=0.05)


@pytest.mark.parametrize(
    "problem",
    [
        Problem((), Counted(10, 100)),
        Problem(ladder([100], [-1], [10]), Counted(10, 100), {"disc": FREE}),
        Problem(ladder([100], [50], [0]), Counted(10, 100), {"disc": FREE}),
        Problem(ladder([-5], [50], [10]), Counted(10, 100), {"disc": FREE}),
        Problem(ladder([100], [50], [10]), Counted(0, 100), {"disc": FREE}),
        Problem(ladder([100], [1], [100]), Counted(100, 100), {"disc": FREE}),
        Problem(ladder([100], [50], [10]), Counted(10, 100), {"disc": Prior(0.0, -1.0)}),
        Problem(ladder([100], [50], [10]), Counted(10, 100), {"disc": Prior(0.0, math.nan)}),
    ],
)
def test_bad_input_gets_a_sentence(problem: Problem) -> None:
    with pytest.raises(UserError) as caught:
        fit(problem)
    assert caught.value.message.endswith(".")
