"""Findings: statements about an instrument, each with evidence, strength, rivals and a refutation.

A finding is stated only where its evidence is at least substantial; what was looked for and not
found is a finding too, with the size of effect that would have been seen. Each room of evidence has
its own module: firmware, registers and scatter, ladder of numbers alone, interference and light,
dead time and fold-back, wall and cover, own background, ratios to a reference, nuclide of the
factor.
"""

from __future__ import annotations

from collections.abc import Sequence

from counterproof.forensics.answer import ReadoutFit
from counterproof.forensics.backgroundfindings import background_findings
from counterproof.forensics.deadtimefindings import dead_time_findings, fold_findings
from counterproof.forensics.disturbancefindings import disturbance_findings, light_findings
from counterproof.forensics.nuclidefindings import nuclide_findings
from counterproof.forensics.readoutfindings import readout_findings
from counterproof.forensics.registerfindings import register_findings, scatter_findings
from counterproof.forensics.responsefindings import response_findings
from counterproof.forensics.sensorfindings import Described, cover_findings, wall_findings
from counterproof.forensics.silentfindings import ladder_findings
from counterproof.records import Finding
from counterproof.trials.shape import Counter, Evidence


def findings_of(
    counter: Counter,
    evidence: Sequence[Evidence],
    fit: ReadoutFit | None,
    fit_runs: Sequence[str],
    described: Described | None = None,
) -> list[Finding]:
    """Return what the evidence says about a counter, firmware first.

    Args:
        counter: the counter under test.
        evidence: its own runs and those of the references.
        fit: its firmware, if one was inferred.
        fit_runs: ids of the runs behind ``fit``.
        described: what the bench says stands before the gas, set beside what is found.
    """
    own = [e for e in evidence if e.counter.name == counter.name]
    plain = [e for e in own if not e.run.is_altered]
    found: list[Finding] = []
    if fit is not None:
        found += readout_findings(counter.name, fit, tuple(fit_runs))
    found += ladder_findings(counter, evidence, fit)
    found += register_findings(counter.name, plain, fit)
    found += scatter_findings(counter.name, plain, fit)
    found += nuclide_findings(counter, evidence, fit)
    found += cover_findings(counter, evidence, described)
    found += wall_findings(counter, evidence, described)
    found += response_findings(counter, evidence)
    found += background_findings(counter, evidence, fit)
    found += dead_time_findings(counter, evidence)
    found += fold_findings(counter, evidence)
    found += disturbance_findings(counter.name, own)
    found += light_findings(counter, own)
    return [f.model_copy(update={"id": _key(f)}) for f in found]


def _key(finding: Finding) -> str:
    return f"{finding.instrument} {finding.subject}".replace(" ", "-")
