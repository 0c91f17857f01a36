"""A publication with something in every chapter; every figure in it is invented."""

import base64
from datetime import date
from functools import cache

from counterproof.dossier import build_html
from counterproof.records import (
    Absorber,
    Chart,
    Finding,
    Item,
    Mark,
    Measured,
    NextMeasurement,
    Outlook,
    Predicted,
    Publication,
    Rival,
    Series,
)
from counterproof.records.calibration import (
    Advice,
    Band,
    BudgetRow,
    Calibration,
    CalibrationLevel,
    Link,
    Quantity,
    Validity,
    Weight,
)
from counterproof.records.comparison import Comparison, Placing, Ratio
from counterproof.records.publication import (
    Brief,
    Claim,
    Inspected,
    Photo,
    Seen,
    Sketch,
    Tally,
)
from counterproof.records.retest import Pair, Pull, Retest
from tests.dossier.test_html import publication

PNG = base64.b64encode(
    base64.b64decode(
        "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAIAAACQd1PeAAAADElEQVR4nGP4z8AAAAMBAQDJ/pLvAAAAAElFTkSuQmCC"
    )
).decode()


def m(value: float, u: float, unit: str = "", counts: float | None = None) -> Measured:
    low, high = value - 1.96 * u, value + 1.96 * u
    return Measured(value=value, u=u, low=low, high=high, unit=unit, counts=counts)


def calibration(probe: str | None = None, factor: float = 1.64) -> Calibration:
    band = Band(
        name="above the switch",
        low=0.9,
        high=3.2,
        response=m(1 / factor, 0.03),
        factor=m(factor, 0.08),
        sensitivity=m(114.0, 6.0, "cpm/(µSv/h)"),
        budget=(
            BudgetRow(
                name="counting, with the source",
                evaluation="A",
                distribution="Poisson",
                u=47.0,
                unit="counts",
                contribution_percent=3.7,
                dof=4462.0,
                source="2231 counts",
            ),
            BudgetRow(
                name="dose rate stated for the source: caesium disc",
                evaluation="B",
                distribution="normal",
                u=5.6,
                unit="%",
                sensitivity=-0.72,
                contribution_percent=4.1,
                source="activity, decay and cover of the source",
            ),
        ),
        expanded_percent=10.8,
        coverage_factor=1.96,
    )
    return Calibration(
        id=f"calibration-{probe or 'own'}-{factor}",
        instrument="Lantern",
        probe=probe,
        signal="display",
        standing="checked, not traceable",
        links=(
            Link(
                name="Wren",
                role="reference counter",
                certificate="comparison (invented)",
                dated=date(2026, 1, 10),
                nuclide="Cs-137",
                relative_u=0.025,
                why_not="its own calibration is not traceable",
            ),
        ),
        p_value=0.4,
        model="two factors",
        weighed=(
            Weight(model="one factor", log10_odds=0.0),
            Weight(model="two factors", log10_odds=14.5),
        ),
        bands=(band,),
        levels=(
            CalibrationLevel(
                label="caesium disc, 50 mm",
                runs=("r1",),
                distance_mm=50.0,
                true=m(1.30, 0.06, "µSv/h"),
                shown=m(0.88, 0.03, "µSv/h"),
                response=m(0.61, 0.02),
                factor=m(factor, 0.05),
                remaining_percent=2.4,
            ),
        ),
        nuisances=(
            Quantity(
                name="dead time",
                unit="s",
                assumed=120e-6,
                assumed_u=46e-6,
                found=1e-4,
                found_u=4e-5,
            ),
        ),
        advice=(
            Advice(
                setting="factor",
                unit="cpm/(µSv/h)",
                present=190.0,
                best=115.0,
                ideal=m(114.0, 6.0, "cpm/(µSv/h)"),
                worst_percent=2.4,
                worst_at="caesium disc, 50 mm",
            ),
        ),
        validity=Validity(
            nuclides=("Cs-137",),
            low_usv_h=0.08,
            high_usv_h=3.4,
            distances_mm=(50.0,),
            geometry="from the front, without absorber",
            place="a bench (invented)",
            dated=date(2026, 3, 14),
        ),
        charts=(
            Chart(
                question="By what must a reading be multiplied?",
                x_title="displayed dose rate in µSv/h",
                y_title="true over displayed",
                form="lines",
                log_x=True,
                series=(
                    Series(
                        name="levels", x=(0.9, 2.1), y=(1.6, 1.7), low=(1.5, 1.6), high=(1.7, 1.8)
                    ),
                    Series(
                        name="fitted, with 95 % band",
                        role="expected",
                        x=(0.8, 3.0),
                        y=(1.64, 1.64),
                        low=(1.5, 1.5),
                        high=(1.8, 1.8),
                    ),
                ),
                marks=(Mark(axis="y", at=1.0, dashed=False),),
            ),
        ),
        warnings=("Wren: its own calibration is not traceable.",),
        simulated=True,
        method="joint likelihood",
    )


def retest() -> Retest:
    criterion = publication().outcomes[0].judgements[0].criterion
    return Retest(
        id="retest-1",
        instrument="Lantern",
        after="slim probe",
        statement="With slim probe, 1 of 1 judged quantities of Lantern are better and 1 worse.",
        pairs=(
            Pair(
                trial="source response",
                quantity="net indication of Lantern over Wren, caesium disc",
                before=m(0.56, 0.04),
                after=m(0.97, 0.05),
                gain=m(1.73, 0.15),
                change=m(0.41, 0.06),
                criterion=criterion,
                verdict_before="not met",
                verdict_after="met",
                turn="better",
            ),
            Pair(
                trial="background",
                quantity="Lantern: count rate",
                before=m(0.245, 0.01, "1/s"),
                after=m(0.281, 0.01, "1/s"),
                gain=m(1.15, 0.06),
                change=m(0.036, 0.014, "1/s"),
                turn="changed",
            ),
        ),
        pulls=(
            Pull(
                key="a",
                statement="slim probe, net count rate before the caesium disc",
                expected=m(3.3, 0.3, "1/s"),
                measured=m(3.5, 0.2, "1/s"),
                pull=0.6,
                inside=True,
            ),
            Pull(
                key="b",
                statement="slim probe, net count rate before the thoriated rods",
                expected=m(2.0, 0.2, "1/s"),
                measured=m(3.1, 0.2, "1/s"),
                pull=3.9,
                inside=False,
            ),
        ),
        missed=1,
        outlook="outlook-1",
        regressions=("background, ratio: worse, 1.05 before and 1.40 after",),
        missing=("Not checked: gain at the jar of potassium salt. The runs for it are missing.",),
        simulated=True,
        method="pairs",
    )


def full() -> Publication:
    base = publication()
    prediction = Predicted(
        key="a",
        quantity="net count rate",
        statement="slim probe, net count rate before the caesium disc",
        tube="slim steel",
        probe="slim probe",
        sources=("caesium disc",),
        distance_mm=50.0,
        minutes=5.0,
        expected=m(3.3, 0.3, "1/s"),
        retest=m(3.3, 0.35, "1/s"),
    )
    finding = Finding(
        instrument="Lantern",
        subject="sleeve",
        statement="the sleeve stops betas",
        runs=("r1",),
        strength="decisive",
        log10_bayes_factor=4.2,
        refuted_by="Betas behind the sleeve.",
        rivals=(Rival(statement="the tube is too thick"),),
        next_measurement=NextMeasurement(
            what="A run without the sleeve.", minutes=15.0, separates="Sleeve from wall."
        ),
    )
    return base.model_copy(
        update={
            "brief": Brief(
                verdict="Lantern does not do what was asked of it: 1 of 1 judged quantities miss.",
                sure="Each judgement holds with 95 % confidence.",
                points=("The display shows two thirds of what is there.",),
                advice=("With slim probe: set factor to 115 cpm/(µSv/h).",),
                basis="It rests on 1 run.",
            ),
            "claims": (Claim(what="accuracy", value="±15 %", source="box, 2026 (invented)"),),
            "items": (
                Item(name="Lantern", kind="instrument", facts={"description": "invented"}),
                Item(
                    name="disc",
                    kind="source",
                    facts={"nuclide": "Cs-137"},
                    missing=("Its reference date is not stated.",),
                ),
            ),
            "sketches": (
                Sketch(label="background", source="", instruments=("Lantern", "Wren")),
                Sketch(
                    label="disc",
                    source="disc",
                    instruments=("Lantern",),
                    distance_mm=50.0,
                    angle_deg=30.0,
                    absorbers=(Absorber(material="Al", thickness_mm=0.5),),
                ),
            ),
            "findings": (*base.findings, finding),
            "outlooks": (
                Outlook(
                    id="outlook-1",
                    instrument="Lantern",
                    present="Lantern's tube",
                    statement="The slim probe counts half as much again.",
                    candidates=(),
                    range_usv_h=(0.1, 10.0),
                    background_usv_h=0.1,
                    predictions=(prediction,),
                ),
            ),
            "calibrations": (calibration(), calibration("slim probe", 1.02)),
            "retests": (retest(),),
            "comparisons": (
                Comparison(
                    instruments=("Lantern", "Wren"),
                    sources=("disc",),
                    truth={"disc": "Wren"},
                    ratios=(Ratio(instrument="Lantern", source="disc", ratio=m(0.6, 0.04)),),
                    ranking=(
                        Placing(
                            instrument="Lantern",
                            deviation_percent=40.0,
                            deviation_low=35.0,
                            deviation_high=45.0,
                            first=1.0,
                            grade="none",
                            at_best="none",
                            worst_source="disc",
                            sources=1,
                        ),
                    ),
                    order_probability=1.0,
                    method="ranking",
                ),
            ),
            "inspections": (
                Inspected(
                    of="Lantern",
                    dated=date(2026, 3, 13),
                    by="A. Invented",
                    seen=(
                        Seen(part="tube", note="in a brass sleeve", measured={"length": "75 mm"}),
                    ),
                    handling={"loudness": "too loud"},
                    changes=(("a socket was cut", "close it with the cover"),),
                ),
            ),
            "photos": (
                Photo(
                    of="Lantern", caption="Lantern", media="image/png", sha256="cd" * 32, data=PNG
                ),
            ),
            "tallies": (
                Tally(run="r1", counts=12, live_s=60.0, rate=m(0.2, 0.06, "1/s"), how="clicks"),
            ),
            "gaps": {"runs": ("2 runs that something here rests on are gone: r8, r9.",)},
        }
    )


@cache
def page() -> str:
    """The page of all that, built once."""
    return build_html(full())
