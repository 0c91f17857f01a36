"""Trials: what can be asked of a counter, how to plan it, what was found."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.responses import Response

from counterproof.errors import UserError
from counterproof.kit import Source
from counterproof.progress import Report
from counterproof.records import Outcome, Plan
from counterproof.texts import text
from counterproof.trials.criteria import DEFAULT_PROFILE, shipped
from counterproof.trials.shape import Trial
from counterproof.web.asking import Ask, query
from counterproof.workshop import judging
from counterproof.workshop.registry import TRIALS, trial


@dataclass(frozen=True)
class _Line:
    trial: Trial
    slug: str
    outcome: Outcome | None


def slug(name: str) -> str:
    """Return a trial's name as it stands in an address."""
    return name.replace(" ", "-")


def listing(ask: Ask) -> Response:
    """Every trial with what is known of it for one counter."""
    counter = ask.counter()
    held = {o.trial: o for o in ask.bench.list(Outcome, counter)}
    lines = [_Line(t, slug(t.name), held.get(t.name)) for t in TRIALS]
    return ask.counter_page(
        "trials.html.j2", counter, lines=lines, profiles=shipped(), usual=DEFAULT_PROFILE
    )


def one(ask: Ask) -> Response:
    """A trial: question, plan, outcome."""
    counter, asked = ask.counter(), trial(ask.path("trial"))
    plan: Plan | None = None
    problem = ""
    uncertainty = ask.asked("uncertainty") or "5 %"
    sources = [s for s in ask.request.query_params.getlist("source") if s]
    try:
        plan = judging.plan_trial(
            ask.bench, asked.name, counter, sources=sources, relative_u=_share(uncertainty)
        )
    except UserError as error:
        problem = error.message
    held = [o for o in ask.bench.list(Outcome, counter) if o.trial == asked.name]
    return ask.counter_page(
        "trial.html.j2",
        counter,
        trial=asked,
        slug=slug(asked.name),
        plan=plan,
        outcome=held[0] if held else None,
        uncertainty=uncertainty,
        chosen=sources,
        sources=ask.bench.names(Source),
        problem=problem,
        profiles=shipped(),
        usual=DEFAULT_PROFILE,
    )


def _share(given: str) -> float:
    from counterproof.quantities import parse_quantity

    share = parse_quantity(f"{given} %" if given[-1:].isdigit() else given, "")
    if not 0.0 < share < 1.0:
        raise UserError(text("web.trials.which_share", given=given))
    return share


def _profile(ask: Ask) -> str:
    named = ask.typed("profile") or DEFAULT_PROFILE
    if named not in shipped():  # a path would be read: pages name shipped ones only
        raise UserError(text("web.trials.which_profile", given=named))
    return named


def judge(ask: Ask) -> Response:
    """Judge one trial from what lies on the bench."""
    asked, counter = trial(ask.path("trial")), ask.counter()
    found = judging.judge_trial(ask.bench, asked.name, counter, profile_name=_profile(ask))
    told = ask.desk.remark(text("web.trials.judged", trial=asked.name, verdict=found.verdict))
    return ask.go(f"/trials/{slug(asked.name)}", told, counter=counter)


def judge_everything(ask: Ask) -> Response:
    """Judge every trial that something was recorded for."""
    counter, bench, desk, profile = ask.counter(), ask.bench, ask.desk, _profile(ask)

    def work(report: Report) -> str:
        found = judging.judge_all(bench, counter, profile_name=profile, report=report)
        told = desk.remark(text("web.trials.judged_all", n=len(found), counter=counter))
        return "/trials" + query(counter=counter, told=told)

    return ask.work(text("web.trials.judging"), work, "/trials" + query(counter=counter))
