"""An assessment written by hand, with the awkward text of a real one. The figures are plausible, not computed."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import product
from typing import Any

from lasersafe.records import (
    ClassCheck,
    Criterion,
    ExtendedResult,
    EyewearNeed,
    KnobEffect,
    LineShare,
    MarkingVerdict,
    ModuleResult,
    RuleLine,
    ScaleNeed,
    ScanPlace,
    ScanResult,
    SettingReport,
    Step,
    SumResult,
    UltravioletDay,
    Zone,
)
from lasersafe.results import (
    Assessment,
    BarrierResult,
    ChartData,
    ChartMark,
    Control,
    Curve,
    Decision,
    InputLine,
    LimitLine,
    RuleSetDifference,
    Scenario,
    SetupResult,
)
from lasersafe.wording import load_wording

FINGERPRINT = "3fa94c0e7b1d5286aa10cf6e92d4b7730851e6c29f4ad8b3c7e015926db84f3a"
HOSTILE = '<img src="x"> a<b&c </para> <b>not bold</b> &amp; %s {0} ${HOME} \\n'
LONG_WORD = "Donaudampfschifffahrtselektrizitätenhauptbetriebswerkbauunterbeamtengesellschaft" * 2
LASER = "hand-held fibre welder, 1.5 kW, serial ENG-0042"
SETUPS = ("long-focus lens, f = 150 mm", "bare head after a lost lens")
PEOPLE = (
    ("Αλεξάνδρα Παπαδοπούλου", "operator", 0.4, 10.0),
    ("Пётр Жуковский", "assistant", 1.2, 10.0),
    ("front row of the spectators, children on shoulders included", "spectator", 6.0, 10.0),
    ("camera operator at the balcony rail <west>", "crew", 14.0, 100.0),
)
ICNIRP = "ICNIRP2013, Table 5, row 1050 nm to 1400 nm"


def _step(
    symbol: str, meaning: str, formula: str, numbers: str, value: float, unit: str, source: str, seen: str
) -> Step:
    return Step(symbol, meaning, formula, numbers, value, unit, source, seen)


def criterion(tissue: str) -> Criterion:
    """Return a limit with its steps."""
    eye = tissue == "eye"
    return Criterion(
        rule_set="ICNIRP-2013",
        tissue=tissue,
        hazard="retina thermal" if eye else "skin thermal",
        rule="continuous",
        amount=1500.0,
        amount_unit="W",
        limit=50.6 if eye else 1.0e4,
        limit_unit="W/m2",
        limiting_aperture=7e-3 if eye else 3.5e-3,
        duration=10.0,
        source=ICNIRP if eye else "ICNIRP2013, Table 7, skin",
        seen="read" if eye else "memory",
        note="" if eye else "The reduction for large areas does not apply here.",
        steps=(
            _step("C_A", "spectral factor", "10^(0.002*(lambda - 700))", "at 1070 nm: 5.0", 5.0, "1", ICNIRP, "read"),
            _step("C_C", "corneal factor", "1.0", "below 1150 nm", 1.0, "1", "ICNIRP2013, Table 3", "part"),
            _step(
                "H_limit",
                "limit as radiant exposure",
                "90 * C_A * C_C * t^0.75",
                "90 * 5.0 * 1.0 * (10 s)^0.75" + (f" [{tissue}]"),
                2530.0,
                "J/m2",
                ICNIRP,
                "memory",
            ),
        ),
    )


def _zone_steps(way: str, tissue: str, setup: str) -> tuple[Step, ...]:
    return (
        _step(
            "d_63",
            "1/e diameter at the limit",
            "sqrt(4 * Phi / (pi * E_limit))",
            "sqrt(4 * 1500 W / (pi * 50.6 W/m2))",
            6.1437,
            "m",
            f"own geometry, {way}, {setup}",
            "own",
        ),
        _step(
            "z",
            "farthest distance with that diameter",
            "z_0 + sqrt(d_63^2 - d_0^2) / phi",
            f"0.15 m + sqrt((6.14 m)^2 - (8.5e-5 m)^2) / 0.0567 [{tissue}]",
            108.5,
            "m",
            "ISO 11146-1, 7.2",
            "common practice",
        ),
    )


def zone(way: str, tissue: str, setup: str) -> Zone:
    """Return one zone."""
    reach = {("direct", "eye"): 108.43, ("direct", "skin"): 7.71, ("mirror", "eye"): 90.2, ("mirror", "skin"): 6.4}
    value = reach.get((way, tissue), 3.09 if tissue == "eye" else 0.219)
    return Zone(
        way=way,
        tissue=tissue,
        distance=value,
        origin="surface" if way == "scatter" else "last optic",
        distance_from_focus=None if way == "scatter" else value - 0.15,
        criterion=criterion(tissue),
        by_rule_set={"ICNIRP-2013": value, "EU-2006/25/EC": value * 1.006},
        steps=_zone_steps(way, tissue, setup),
        note="Lambert, along the normal" if way == "scatter" else "",
    )


def chart(setup: str) -> ChartData:
    """Return a chart with curves that cross, limits that nearly touch and marks that crowd."""
    places = [10 ** (-2 + 4.3 * index / 80) for index in range(81)]
    focus = [1500 / (math.pi / 4 * (1e-4**2 + (0.0567 * (z - 0.15)) ** 2)) for z in places]
    seven = [
        1500 * (1 - math.exp(-((7e-3) ** 2) / (1e-4**2 + (0.0567 * (z - 0.15)) ** 2))) / (math.pi / 4 * 7e-3**2)
        for z in places
    ]
    scatter = [1500 / (math.pi * z * z) for z in places]
    return ChartData(
        title=f"direct beam and scatter, {setup}",
        unit="W/m2",
        quantity="irradiance",
        curves=(
            Curve("peak of the direct beam", "", tuple(places), tuple(focus)),
            Curve("direct beam, averaged over 7 mm", "eye", tuple(places), tuple(seven)),
            Curve("scatter from the workpiece, all power, along the normal", "eye", tuple(places), tuple(scatter)),
        ),
        limits=(
            LimitLine("eye, 10 s, ICNIRP-2013", 50.6),
            LimitLine("eye, 10 s, EU-2006/25/EC", 50.0),
            LimitLine("skin, 10 s", 1.0e4),
            LimitLine("curtain rating", 1.0e5),
        ),
        marks=(
            *(ChartMark(name, "person", distance) for name, _, distance, _ in PEOPLE),
            ChartMark("welding curtain", "barrier", 2.0),
            ChartMark("back wall of the hall", "barrier", 14.02),
            ChartMark("assistant at the gas", "person", 0.0),
        ),
    )


def setup_result(setup: str, fitted: bool) -> SetupResult:
    """Return one set-up."""
    return SetupResult(
        laser=LASER,
        setup=setup,
        fitted=fitted,
        beam="1070 nm, 1.5 kW continuous; 8.5 mm (1/e) at a lens of 150 mm; circular, Gaussian; hyperbolic propagation",
        setting="" if fitted else "full power, because the knob is not locked",
        zones=tuple(
            zone(way, tissue, setup) for way, tissue in product(("direct", "mirror", "scatter"), ("eye", "skin"))
        ),
        chart=chart(setup),
        steps=(
            _step("Phi", "power", "as typed", "1.5 kW", 1500.0, "W", "case", "own"),
            _step(
                "phi",
                "full angle behind the focus",
                "d_lens / f",
                "8.5 mm / 150 mm",
                0.0566667,
                "rad",
                f"optics, {setup}",
                "own",
            ),
        ),
    )


def scenarios() -> tuple[Scenario, ...]:
    """Return twelve scenarios, the highest ratio first."""
    found = []
    for number, ((name, role, distance, duration), way) in enumerate(product(PEOPLE, ("direct", "mirror", "scatter"))):
        tissue = "skin" if number % 5 == 4 else "eye"
        rule = criterion(tissue)
        exposure = 1500 / (math.pi * distance**2) * {"direct": 300.0, "mirror": 45.0, "scatter": 0.3}[way]
        found.append(
            Scenario(
                key=f"S{number + 1}",
                laser=LASER,
                setup=SETUPS[number % 2],
                person=name,
                role=role,
                way=way,
                tissue=tissue,
                distance=distance,
                duration=duration,
                duration_reason="invisible, unintended" if duration == 10.0 else f"stays and looks; {HOSTILE}",
                exposure=exposure,
                exposure_unit="W/m2",
                limit=rule.limit,
                ratio=exposure / rule.limit,
                below=exposure <= rule.limit,
                criterion=rule,
                ratio_by_rule_set={
                    "ICNIRP-2013": exposure / rule.limit,
                    "EU-2006/25/EC": exposure / rule.limit * 1.012,
                },
                surface="stainless sheet" if way != "direct" else "",
                struck_out="a rail keeps the head from turning that way" if number == 6 else "",
                controls=tuple(entry.text for entry in load_wording().controls_for({"handheld", "eyewear"})[:3]),
                answer="eyewear 1070 D LB8 worn" if number == 1 else "",
                modes=("scan failure",) if number == 3 else ("running",),
                steps=(
                    _step(
                        "d",
                        "1/e diameter there",
                        "sqrt(d_0^2 + phi^2 * (z - z_0)^2)",
                        f"z = {distance} m",
                        distance / 18,
                        "m",
                        f"own geometry, {way}",
                        "own",
                    ),
                    _step(
                        "E",
                        "irradiance over the aperture",
                        "4 * Phi / (pi * d_63^2)",
                        f"4 * 1500 W / (pi * ({distance / 18:.4g} m)^2)",
                        exposure,
                        "W/m2",
                        "see method",
                        "own",
                    ),
                ),
            )
        )
    return tuple(sorted(found, key=lambda scenario: -scenario.ratio))


def eyewear() -> tuple[EyewearNeed, ...]:
    """Return the needs of two people."""
    scale = ScaleNeed(
        "D",
        8,
        3.9e8,
        "W/m2",
        (
            _step(
                "n", "scale number", "ceil(log10(E / (10 W/m2)))", "3.9e8 W/m2", 8.0, "1", "EN 207, Table 1", "memory"
            ),
        ),
    )
    first = EyewearNeed(
        laser=LASER,
        setup=SETUPS[0],
        person=PEOPLE[0][0],
        wavelength=1.07e-6,
        distance=0.4,
        optical_density=6.3,
        optical_density_exact=6.2213,
        tissue="eye",
        scales=(scale, ScaleNeed("R", None, 2.0e7, "J/m2")),
        decides="The damage class decides: LB8 asks for more than the density of 6.3.",
        marking="1070 D LB8",
        reliable=False,
        no_reliance="no eyewear can be relied on here: a direct hit of the kilowatt class",
        notes=("Scale numbers from memory; look them up in EN 207.", HOSTILE),
        verdict=MarkingVerdict(
            "1064 D LB6", False, "wrong wavelength", ("The marking covers 1064 nm, not 1070 nm.",), ("1060-1080",)
        ),
        steps=(
            _step(
                "OD", "optical density", "log10(E / E_limit)", "log10(8.4e7 / 50.6)", 6.2213, "1", "EN 207", "memory"
            ),
        ),
    )
    second = replace(first, person=PEOPLE[1][0], reliable=True, no_reliance="", notes=(), verdict=None, distance=None)
    return (first, second)


def special_sources() -> dict[str, Any]:
    """Return a scanned beam with and without a cut-off, a sum, a module and an extended source."""
    scan = ScanResult(
        laser=LASER,
        setup=SETUPS[0],
        fitted=True,
        tissue="eye",
        pattern=f"line, 20 deg, 100 Hz; {HOSTILE}",
        duration=10.0,
        running=40.2,
        stopped=108.4,
        reaction_time=5e-3,
        reaction=21.7,
        running_by_rule_set={"ICNIRP-2013": 40.2},
        places=(ScanPlace(6.0, 1.2e-4, 3.0, 1001.0, 12.5, False, "the mean rule decides"),),
        credit="the movement counts beyond 21.7 m",
    )
    shares = (LineShare("main beam", 1.07e-6, 0.7, "continuous", "retina thermal"),)
    glow = ExtendedResult(
        "diffuser <opal>", LASER, "eye", "ICNIRP-2013", "retina photochemical", "continuous", 100.0, 2.5, 0.1, 31.0,
        0.05, "the whole source", 1.0, 2.2e4, 1e4, "EU2006-25, Table 2.3", "the nearest view is the worst",
    )  # fmt: skip
    return {
        "scans": (scan, replace(scan, tissue="skin", reaction=None, reaction_time=None)),
        "sums": (
            SumResult(
                LASER, SETUPS[0], "direct", "eye", "retina thermal", "ICNIRP-2013", 110.2, 108.4, 10.0, shares, "x"
            ),
        ),
        "modules": (
            ModuleResult(LASER, SETUPS[0], PEOPLE[0][0], 0.4, 4e-3, "several sources", 0.3, 0.2, "6 beams lie apart"),
        ),
        "extended": (glow, replace(glow, tissue="skin", radiance=None, radiance_limit=None)),
        "rules": (f"The mean rule decides; {HOSTILE}.", LONG_WORD),
    }


def settings_and_days() -> dict[str, Any]:
    """Return settings with knobs, class checks, and doses of a day below and above the limit."""
    line = RuleLine(
        "ICNIRP-2013", "train", "retina thermal", 2e-3, "J/m2", 7e-3, 1.0, True, "window 10 s, 200000 pulses", "Table 8"
    )
    knob = KnobEffect("repetition rate", "20 kHz", "200 kHz (half)", 0.31, f"train, 50 µJ; {HOSTILE}")
    report = SettingReport(
        laser=LASER,
        tissue="eye",
        ratio=1.0,
        duration=10.0,
        setting="train, 1 mJ in 100 ns at 20 kHz",
        sentence="the number of pulses decides.",
        rules=(line, replace(line, rule="mean", decides=False, share=0.4)),
        effects=(knob,),
        others=("train, 50 µJ at 400 kHz", LONG_WORD),
    )
    check = ClassCheck(LASER, SETUPS[0], "2", "4", True, "The label is lower than the computed emission.")
    day = UltravioletDay(
        PEOPLE[0][0], "skin", "180-315 nm", 1.4, False, "doses of a day add up", "ICNIRP-2013",
        ("10 min: 12 J/m2", HOSTILE), {"ICNIRP-2013": 1.4},
    )  # fmt: skip
    return {
        "settings": (report, replace(report, tissue="skin", effects=(), others=())),
        "class_checks": (check, replace(check, label="4", label_is_lower=False)),
        "ultraviolet": (day, replace(day, tissue="eye", ratio=0.2, below=True)),
    }


def assessment(title: str = "Welding on stage: open evening of the engineering college, hall B") -> Assessment:
    """Return the whole sample."""
    wording = load_wording()
    met = {"handheld", "lens", "kilowatt", "process", "invisible", "eyewear", "spectators", "barrier"}
    return Assessment(
        title=title,
        place="Hall B, engineering college at the old harbour",
        dates="14 March, 17:00 to 22:00",
        people={
            "assessor": "Małgorzata Öztürk-Þórsdóttir",
            "laser safety officer": "Dr Никола Ђорђевић",
            "operator": PEOPLE[0][0],
            "stage manager": LONG_WORD,
        },
        rule_set="ICNIRP-2013",
        rule_sets=("ICNIRP-2013", "EU-2006/25/EC"),
        decision=Decision(
            wear="Everyone inside: eyewear marked 1070 D LB8, under the helmet too; it does not cover a direct hit",
            people="Spectators stay at least 109 m from the last optic, or behind a barrier that holds",
            barrier="4.77 W/cm2 for 100 s or longer, watched; the welding curtain has no such rating",
            verdict="Do not switch on as planned",
            passed=False,
            reasons=(
                "The direct beam reaches the front row with 1 300 times the limit for the eye.",
                "The welding curtain is not rated for what falls on it.",
                f"A note typed by the user: {HOSTILE}",
            ),
            headline_distance=108.43,
            aided_distance=108.43,
            headline_tissue="eye",
        ),
        setups=(setup_result(SETUPS[0], True), setup_result(SETUPS[1], False)),
        scenarios=scenarios(),
        eyewear=eyewear(),
        barriers=(
            BarrierResult(
                barrier="welding curtain",
                laser=LASER,
                setup=SETUPS[0],
                way="direct",
                distance=2.0,
                irradiance=1.42e5,
                rating=None,
                rated_time=None,
                holds=False,
                verdict="no rating, so it counts as no barrier",
                notes=("Ask the maker.",),
            ),
            BarrierResult(
                barrier="steel guard",
                laser=LASER,
                setup=SETUPS[1],
                way="mirror",
                distance=1.0,
                irradiance=8.4e4,
                rating=1.0e6,
                rated_time=100.0,
                holds=True,
                verdict="holds with a factor of 11",
                steps=(
                    _step(
                        "E_0",
                        "peak irradiance",
                        "4 * Phi / (pi * d_63^2)",
                        "4 * 1500 W / (pi * (0.151 m)^2)",
                        8.4e4,
                        "W/m2",
                        "own",
                        "own",
                    ),
                ),
            ),
        ),
        controls=tuple(Control(entry.kind, entry.text, entry.answers) for entry in wording.controls_for(met)),
        other_hazards=tuple(entry.key for entry in wording.other_hazards_for(met)),
        differences=(
            RuleSetDifference(
                "limit, eye, 10 s", {"ICNIRP-2013": 50.6, "EU-2006/25/EC": 50.0}, "W/m2", "EU-2006/25/EC"
            ),
            RuleSetDifference(
                "distance, direct, eye", {"ICNIRP-2013": 108.43, "EU-2006/25/EC": 109.6}, "m", "EU-2006/25/EC"
            ),
        ),
        inputs=tuple(
            InputLine(field, typed, used, line)
            for line, (field, typed, used) in enumerate(
                (
                    ("title", title, ""),
                    ("laser[1].name", LASER, ""),
                    ("laser[1].wavelength", "1070nm", "1.07e-06 m"),
                    ("laser[1].emission.power", "1.5 kW", "1500 W"),
                    ("laser[1].setup[1].divergence", "56.7 mrad", "0.0567 rad"),
                    ("person[2].name", PEOPLE[1][0], ""),
                    ("person[4].note", HOSTILE, ""),
                    ("site.remark", LONG_WORD, ""),
                ),
                1,
            )
        ),
        notes=("The curtain was bought second-hand; no papers.", HOSTILE, f"A very long word: {LONG_WORD}"),
        fingerprint=FINGERPRINT,
        version="0.1.0",
        **special_sources(),
        **settings_and_days(),
    )
