"""``import lasersafe``: costs nothing, names what there is, takes numbers as people have them, refuses the rest."""

from __future__ import annotations

import ast
import importlib
import inspect
import re
import subprocess
import sys
from decimal import Decimal
from functools import cache, partial

import numpy as np
import pint
import pytest

import lasersafe
from lasersafe.errors import CalcError, CaseError, InputError
from tests.project import ROOT

UNITS = pint.UnitRegistry()
SMALL = pint.UnitRegistry(None)  # a registry of somebody who defines units alone, with an angle of its own
EXACT = pint.UnitRegistry(None, non_int_type=Decimal)
for line in ("meter = [length] = m", "millimeter = 1e-3 * meter = mm", "radian = [angle] = rad", "mil = 1e-3 * radian"):
    SMALL.define(line)
    EXACT.define(line)
BEAM = lasersafe.lens_beam("8.5 mm", "150 mm", "1/e")


@cache
def cutter() -> lasersafe.Assessment:
    return lasersafe.assess(lasersafe.starter_case("co2-cutter"))


def loaded_by(code: str) -> set[str]:
    command = [
        sys.executable,
        "-c",
        f"import sys; before = set(sys.modules); {code}; print(*(set(sys.modules) - before))",
    ]
    return set(subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout.split())


# What there is


def test_the_import_loads_nothing_else() -> None:
    assert loaded_by("import lasersafe") == {"lasersafe"}


def test_a_limit_loads_what_it_needs_only() -> None:
    code = "import lasersafe; lasersafe.exposure_limit('ICNIRP-2013', 'eye', 532e-9, '1 s')"
    assert loaded_by(code) & {"pint", "pydantic", "reportlab", "shapely", "lasersafe.assessment"} == set()


def test_every_name_is_listed_loaded_and_described() -> None:
    names = [name for names in lasersafe._HOME.values() for name in names]
    assert sorted([*names, "__version__"]) == lasersafe.__all__
    assert set(lasersafe.__all__) <= set(dir(lasersafe))
    page = (ROOT / "docs" / "library.md").read_text(encoding="utf-8")
    for name in names:
        one = getattr(lasersafe, name)
        assert one is getattr(lasersafe, name)
        assert (inspect.getdoc(one) or "").strip(), f"{name} has no docstring"
        assert f"`{name}`" in page, f"docs/library.md does not name {name}"
    assert (ROOT / "lasersafe" / "py.typed").is_file()


def test_what_type_checkers_see_is_what_is_loaded() -> None:
    tree = ast.parse((ROOT / "lasersafe" / "__init__.py").read_text(encoding="utf-8"))
    typed = (one for block in tree.body if isinstance(block, ast.If) for one in block.body)
    seen: dict[str, tuple[str, ...]] = {}
    for one in typed:
        if isinstance(one, ast.ImportFrom):
            home = str(one.module).removeprefix("lasersafe.")
            assert {alias.name for alias in one.names} <= set(lasersafe.__all__)  # said to be for others
            seen[home] = (*seen.get(home, ()), *(alias.name for alias in one.names))
    assert seen == lasersafe._HOME


def test_no_public_function_hides_from_the_list() -> None:
    helpers = {"case_html", "assessment_html", "shown_quantity", "broadcast"}
    helpers |= {"given", "taken", "given_density", "checked", "unit_of"}  # what goes in, in SI units
    for home in [home for home in lasersafe._HOME if home.startswith("library.")]:
        module = importlib.import_module(f"lasersafe.{home}")
        own = {n for n, f in vars(module).items() if inspect.isfunction(f) and f.__module__ == module.__name__}
        assert {name for name in own if not name.startswith("_")} - helpers <= set(lasersafe.__all__)


def test_a_name_that_is_not_there_says_what_is() -> None:
    with pytest.raises(AttributeError, match=r"no attribute 'exposure'; there is ExposureLimit, exposure_limit"):
        lasersafe.exposure  # noqa: B018
    with pytest.raises(ImportError, match="cannot import name 'nohd'"):
        from lasersafe import nohd  # noqa: F401


# What goes in


@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [
        pytest.param("1.5 kW", "W", 1500.0, id="text"),
        pytest.param(1500, "W", 1500.0, id="plain number"),
        pytest.param(Decimal("1500"), "W", 1500.0, id="decimal"),
        pytest.param(UNITS.Quantity(1.5, "kW"), "W", 1500.0, id="quantity"),
        pytest.param(UNITS.Quantity([1.5, 2], "kW"), "W", [1500.0, 2000.0], id="array in a quantity"),
        pytest.param([UNITS.Quantity(1.5, "kW"), "2 kW", 3.0], "W", [1500.0, 2000.0, 3.0], id="a list of all kinds"),
        pytest.param(np.array(["1 m", "2 mm"]), "m", [1.0, 2e-3], id="array of texts"),
        pytest.param(UNITS.Quantity(5, "mW/cm**2"), "W/m2", 50.0, id="irradiance"),
        pytest.param(UNITS.Quantity(5, "mJ/cm**2"), "J/m2", 50.0, id="radiant exposure"),
        pytest.param(UNITS.Quantity(20, "1/ms"), "Hz", 20e3, id="rate"),
        pytest.param(UNITS.Quantity(180, "degree"), "rad", np.pi, id="angle"),
        pytest.param(UNITS.Quantity(65, "percent"), "1", 0.65, id="ratio"),
        pytest.param(SMALL.Quantity(3, "mm"), "m", 3e-3, id="another registry"),
        pytest.param(SMALL.Quantity(3, "mil"), "rad", 3e-3, id="another registry with its own angle"),
        pytest.param(EXACT.Quantity(Decimal("1.07"), "mm"), "m", 1.07e-3, id="exact"),
        pytest.param(lasersafe.starter_case("co2-cutter").laser[0].wavelength, "m", 10.6e-6, id="value of a case"),
    ],
)
def test_numbers_go_in_as_people_have_them(value, unit, expected) -> None:
    assert lasersafe.to_si(value, unit) == pytest.approx(np.array(expected), rel=1e-14, abs=0)


class Foreign(float):
    """A number of another library with units, which ``numpy.asarray`` would take without its unit."""

    unit = "mW"


@pytest.mark.parametrize(
    ("value", "unit", "says"),
    [
        (
            UNITS.Quantity(5, "mJ"),
            "W",
            "power = 5 millijoule: this is an energy, and a power is needed; as in '1.5 kW'",
        ),
        (UNITS.Quantity(0.1, ""), "rad", "a ratio is not taken for an angle; multiply it by the unit rad"),
        (UNITS.Quantity(3, "mrad"), "1", "there is an angle in its unit, and a ratio is needed"),
        (UNITS.Quantity(3, "rad/s"), "Hz", "there is an angle in its unit, and a frequency is needed"),
        (UNITS.Quantity(3, "W/m**2/sr"), "W/m2", "there is an angle in its unit, and an irradiance is needed"),
        (UNITS.Quantity(20, "degC"), "W", "this is a quantity of the dimension [temperature], and a power is needed"),
        (UNITS.Quantity(30, "dBm"), "W", "a unit with an offset or a logarithm in it"),
        (SMALL.Quantity(3, "mm"), "W", "its unit cannot be worked with (UndefinedUnitError)"),
        (UNITS.Quantity(1j, "W"), "W", "its magnitude is no plain number"),
        (Foreign(5.0), "W", "only pint is understood; hand in its SI number"),
        (np.ma.masked_array([1.0, 2.0], [False, True]), "W", "fill or leave out what is masked"),
        ([[1.0, 2.0], ["3 W"]], "W", "its parts have different shapes"),
        (["1 W", "1,5 kW"], "W", "power[1] = '1,5 kW': write the decimal point as '.', as in '1.5 kW'"),
        (True, "W", "this is no number"),
        (1j, "W", "this is no number"),
        (None, "W", "power = None: give a power"),
        ({}, "W", "this is no number"),
        (1.0, "furlong", "unit = 'furlong' is not known here; write one of: m, m2, s"),
    ],
)
def test_what_is_no_number_of_that_kind_is_refused(value, unit, says) -> None:
    with pytest.raises(InputError, match=re.escape(says)):
        lasersafe.to_si(value, unit, "power")


@pytest.mark.parametrize("field", ["wavelength", "duration", "power", "reflectance"])
@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0, 0.0, [1e-6, float("nan")]])
def test_nan_negative_and_zero_are_refused_by_name(field: str, bad) -> None:
    good = {"wavelength": 1.07e-6, "duration": 10.0, "power": 5.0, "reflectance": 0.5}
    with pytest.raises(InputError, match=rf"^{field}(\[1\])? = (nan|inf|-1|0)\b.*: must be .*, and at most"):
        lasersafe.direct_distance(BEAM, **(good | {field: bad}))


def test_a_forgotten_unit_is_named() -> None:
    says = "wavelength = 1070 m: must be 180 nm or more, and at most 1 mm; a plain number is taken in m; with its unit"
    with pytest.raises(InputError, match=says):
        lasersafe.exposure_limit("ICNIRP-2013", "eye", 1070, 10)
    with pytest.raises(InputError, match=r"beam diameter = 8.5 m: must be 100 nm or more, and at most 1 m"):
        lasersafe.lens_beam(8.5, 0.15, "1/e")
    with pytest.raises(InputError, match=r"power = '1\.5 MW': did you mean '1\.5 mW'"):
        lasersafe.direct_distance(BEAM, "1070 nm", "10 s", power="1.5 MW")


def test_shapes_that_do_not_fit_are_named() -> None:
    with pytest.raises(InputError, match=re.escape("do not fit together: beam diameter (3,), divergence (2,)")):
        lasersafe.collimated_beam(np.full(3, 4e-3), np.full(2, 1e-3), "1/e2")
    beams = lasersafe.collimated_beam("4 mm", ["2 mrad", "3 mrad"], "1/e2")
    with pytest.raises(InputError, match=re.escape("beam (2,), power (3,)")):
        lasersafe.direct_distance(beams, "1064 nm", "10 s", power=[1.0, 2.0, 3.0])


@pytest.mark.parametrize(
    ("emission", "says"),
    [
        ({}, "emission is missing"),
        ({"pulse_energy": "1 mJ"}, "pulse duration is missing"),
        ({"power": 1, "pulse_duration": "1 us"}, "one single pulse needs"),
        ({"pulse_duration": "1 us", "repetition_rate": "1 kHz"}, "needs either pulse_energy or power"),
        (
            {"power": 1, "pulse_energy": 1, "pulse_duration": "1 us", "repetition_rate": "1 kHz"},
            "needs either pulse_energy or power",
        ),
        ({"power": 1, "pulse_duration": "1 ms", "repetition_rate": "2 kHz"}, "longer than the period"),
    ],
)
def test_an_emission_that_is_incomplete_is_refused(emission, says) -> None:
    with pytest.raises(InputError, match=says):
        lasersafe.direct_distance(BEAM, "1064 nm", "10 s", **emission)


@pytest.mark.parametrize("named", ["wavelength", "duration", "reflectance"])
@pytest.mark.parametrize("count", [1, 2])
def test_numbers_that_are_all_alike_keep_their_shape(named, count) -> None:
    # Of numbers alike the limit is worked out once: the answer lost their shape, and the duration broke off.
    inputs = {"wavelength": 532e-9, "duration": 0.25, "power": 1.0, "reflectance": 1.0}
    for function in (partial(lasersafe.direct_distance, BEAM), lasersafe.scatter_distance):
        one, many = function(**inputs), function(**inputs | {named: [inputs[named]] * count})
        assert many.distance.tolist() == [float(one.distance)] * count
        for values in (many.limit, many.limiting_aperture, many.decided, many.duration, *many.by_rule_set.values()):
            assert values.shape == (count,)


@pytest.mark.parametrize(
    ("function", "inputs", "says"),
    [
        # a propagation that is nothing was taken as linear, which ends nearer
        (lasersafe.lens_beam, ("8 mm", "150 mm", "1/e", {"propagation": None}), "propagation = nothing is not known"),
        (lasersafe.exposure_limit, (None, "eye", 1e-6, 1.0, {}), "rule_set = nothing is not known"),
        (lasersafe.exposure_limit, ("ICNIRP-2013", np.zeros(2), 1e-6, 1.0, {}), "tissue = .* is not known"),
        (lasersafe.scale_numbers, (None, "7 mm", "1/e", {"power": 1}), "wavelength = None: give a length"),
        (
            lasersafe.judge_marking,
            (["D LB6"], 1e-6, 7e-3, "1/e", {"power": 1, "continuous": True}),
            "marking = .* no text",
        ),
        (lasersafe.judge_marking, ("D LB6", 1e-6, 7e-3, np.zeros(2), {"power": 1}), "criterion = .* no text"),
        # any text was taken for True
        (lasersafe.judge_marking, ("D LB6", 1e-6, 7e-3, "1/e", {"power": 1, "continuous": "no"}), "continuous = 'no'"),
        (lasersafe.collimated_beam, ("7 mm", None, "1/e", {}), "divergence = None: give an angle"),
    ],
)
def test_nothing_and_what_is_no_word_are_refused_where_they_are_needed(function, inputs, says) -> None:
    *given, named = inputs
    with pytest.raises(InputError, match=says):
        function(*given, **named)


def test_words_that_are_not_known_are_refused() -> None:
    with pytest.raises(InputError, match="rule_set = 'eye' is not known here; write one of: ICNIRP-2013"):
        lasersafe.exposure_limit("eye", "ICNIRP-2013", 1e-6, 1)
    with pytest.raises(InputError, match="tissue = 'ear'"):
        lasersafe.scatter_distance(1e-6, 1, power=1, tissue="ear")
    with pytest.raises(InputError, match="criterion = '86 %'"):
        lasersafe.lens_beam("8 mm", "150 mm", "86 %")
    with pytest.raises(InputError, match=r"beam = 1\.0: this is no beam; make one with collimated_beam"):
        lasersafe.direct_distance(1.0, "1070 nm", "10 s", power=1)
    with pytest.raises(CalcError, match="below the diffraction limit"):
        lasersafe.direct_distance(lasersafe.collimated_beam("4 mm", "0.01 mrad", "1/e"), "1 um", "1 s", power=1)


@pytest.mark.parametrize("word", ["profile", "propagation"])
@pytest.mark.parametrize("other", ["Linear", None])
def test_a_beam_that_is_written_down_by_hand_takes_only_known_words(word, other) -> None:
    numbers = (np.array(waist) for waist in (1e-3, [1e-3, 2e-3]))
    for beam in (lasersafe.Beam(one, np.array(1e-3), np.array(0.0), **{word: other}) for one in numbers):
        with pytest.raises(InputError, match=f"{word} = .* is not known here; write one of"):
            lasersafe.direct_distance(beam, "1070 nm", "10 s", power=10)
        with pytest.raises(InputError, match=f"{word} = .* is not known here; write one of"):
            lasersafe.beam_exposure(beam, "5 m", "7 mm", power=10)
        with pytest.raises(InputError, match=f"{word} = .* is not known here; write one of"):
            beam.diameters("5 m")


# What comes out


def test_the_same_numbers_in_three_forms_give_the_same_distance() -> None:
    power = np.array([0.5, 1.5])
    plain = lasersafe.direct_distance(BEAM, 1070e-9, 10.0, power=power * 1e3)
    text = lasersafe.direct_distance(BEAM, "1070 nm", "10 s", power=["0.5 kW", "1.5 kW"])
    typed = lasersafe.direct_distance(BEAM, 1.07 * UNITS.um, 10 * UNITS.s, power=power * UNITS.kW)
    for other in (text, typed):
        assert np.asarray(other) == pytest.approx(np.asarray(plain), rel=1e-12)
    assert np.asarray(plain, dtype=np.float32).dtype == np.float32


def test_distances_agree_with_the_command() -> None:
    from lasersafe.ask import ReachQuestion
    from lasersafe.ask.reach import reach_answer

    question = ReachQuestion(
        wavelength="1064 nm", beam_diameter="7 mm", criterion="1/e2", power=None, pulse_energy="1 mJ",
        pulse_duration="100 ns", repetition_rate="20 kHz", profile="gaussian", rule_set=None, duration="10 s",
        divergence="1 mrad", lens_focal_length=None, propagation="hyperbolic", reflectance="0.6", scatter="hemisphere",
        limit_eye=None, limit_skin=None,
    )  # fmt: skip
    answer, _ = reach_answer(question)
    train = {"pulse_energy": "1 mJ", "pulse_duration": "100 ns", "repetition_rate": "20 kHz"}
    beam = lasersafe.collimated_beam("7 mm", "1 mrad", "1/e2")
    for tissue in ("eye", "skin"):
        far = lasersafe.direct_distance(beam, "1064 nm", "10 s", **train, tissue=tissue)
        near = lasersafe.scatter_distance(
            "1064 nm", "10 s", **train, tissue=tissue, reflectance=0.6, model="hemisphere"
        )
        assert float(far) == pytest.approx(answer[f"direct_{tissue}_m"], rel=1e-12)
        assert float(near) == pytest.approx(answer[f"scatter_{tissue}_m"], rel=1e-12)
        assert str(far.rule_set) == answer["details"][f"direct_{tissue}"]["decided_by"]
        assert str(far.rule) == answer["details"][f"direct_{tissue}"]["rule"]


def test_a_distance_is_said_rounded_up_and_with_the_caution() -> None:
    far = lasersafe.direct_distance(BEAM, "1070 nm", "10 s", power="1.5 kW")
    assert repr(far).startswith(
        "direct, eye: 110 m from the last optic; beyond it the computed exposure is below 50.00"
    )
    assert 109.0 < float(far) < 110.0
    many = lasersafe.direct_distance(BEAM, "1070 nm", "10 s", power=["1 W", "1.5 kW"])
    none = lasersafe.scatter_distance("1070 nm", "10 s", power="1 nW", reflectance=1e-9)
    empty = lasersafe.direct_distance(BEAM, "1070 nm", "10 s", power=np.array([]))
    for one in (far, many, none, empty):
        assert repr(one).endswith(lasersafe.caution_line())


def test_a_mirror_and_a_beam_that_nowhere_exceeds() -> None:
    whole = lasersafe.direct_distance(BEAM, "1070 nm", "10 s", power="1.5 kW")
    part = lasersafe.direct_distance(BEAM, "1070 nm", "10 s", power="1.5 kW", reflectance="65 %")
    assert 0.0 < float(part) < float(whole)
    weak = lasersafe.direct_distance(
        lasersafe.collimated_beam("8 mm", "1 mrad", "1/e"), "1070 nm", "10 s", power="1 uW"
    )
    assert float(weak) == 0.0
    assert "nowhere above a limit for 10.0 s" in repr(weak)


def test_at_its_distance_a_beam_is_at_its_limit() -> None:
    powers = ["50 W", "0.5 kW", "1.5 kW"]
    far = lasersafe.direct_distance(BEAM, "1070 nm", "10 s", power=powers, rule_set="ICNIRP-2013")
    there = lasersafe.beam_exposure(BEAM, far.distance, far.limiting_aperture, power=powers)
    assert there == pytest.approx(far.limit, rel=1e-9)
    assert lasersafe.optical_density(there * 1e3, far.limit).tolist() == [3.0, 3.0, 3.0]


def test_an_oblong_beam_has_two_diameters() -> None:
    beam = lasersafe.collimated_beam("5 mm", "1 mrad", "1/e", beam_diameter_y="3 mm", divergence_y=["2 mrad", "3 mrad"])
    assert repr(beam).startswith(
        "Beam: waist 5.000 mm x 3.000 mm at 0 m from the last optic, full angle 1.000 mrad x 2.000"
    )
    assert [one.shape for one in beam.diameters("1 m")] == [(), (2,)]
    assert BEAM.diameter(["0.15 m", "3 m"]) == pytest.approx([0.0, 8.5e-3 / 0.15 * 2.85], abs=1e-15)
    with pytest.raises(InputError, match="this beam is oblong and has two"):
        beam.diameter("1 m")
    with pytest.raises(InputError, match="shapes do not fit together"):
        beam.diameters([1.0, 2.0, 3.0])
    thin = lasersafe.collimated_beam("5 mm", "1 mrad", "1/e", beam_diameter_y="0.1 mm")
    with pytest.raises(CalcError, match="below the diffraction limit"):
        lasersafe.direct_distance(thin, "1064 nm", "10 s", power="1 W")
    far = lasersafe.direct_distance(beam, "450 nm", "10 s", power="6 W", rule_set="ICNIRP-2013")
    there = lasersafe.beam_exposure(beam, far.distance, far.limiting_aperture, power="6 W")
    assert there == pytest.approx(far.limit, rel=1e-9)


def test_no_beams_have_a_text_too() -> None:
    # What a notebook shows of an empty array of beams was a traceback of numpy.
    assert repr(lasersafe.collimated_beam([], "1 mrad", "1/e")).startswith("Beam: waist of none at 0 m")


def test_density_and_scale_numbers() -> None:
    assert float(lasersafe.optical_density(100 * UNITS.W / UNITS.cm**2, "10 W/m2")) == 5.0
    assert lasersafe.optical_density([1.0, 1.01], 1.0).tolist() == [0.0, 0.1]
    assert float(lasersafe.optical_density(1.0, 10.0, exact=True)) == -1.0
    with pytest.raises(InputError, match="exposure is in W/m2 and limit in J/m2"):
        lasersafe.optical_density("5 W/m2", "5 J/m2")
    with pytest.raises(InputError, match="limit = 0: must be above 0 and finite"):
        lasersafe.optical_density(1.0, 0.0)
    pulsed = {"pulse_energy": "1 mJ", "pulse_duration": ["10 ns", "100 us"], "repetition_rate": "1 kHz"}
    numbers = lasersafe.scale_numbers("1064 nm", "7 mm", "1/e2", **pulsed)
    assert {letter: array.shape for letter, array in numbers.items()} == dict.fromkeys(numbers, (2,))
    assert numbers["R"][1] == 0.0
    assert numbers["I"][0] == 0.0
    mean = {**pulsed, "pulse_energy": None, "power": "1 W"}  # 1 mJ at 1 kHz
    assert str(lasersafe.scale_numbers("1064 nm", "7 mm", "1/e2", **mean)) == str(numbers)
    assert np.isinf(lasersafe.scale_numbers("1064 nm", "0.1 mm", "1/e2", power="1 MW")["D"])
    for emission, words in (
        ({}, "emission is missing"),
        ({"power": 1.0, "pulse_energy": 1.0}, "pulse duration is missing"),
        ({"power": 1.0, "pulse_duration": 1.0}, "one single pulse needs pulse_energy"),
        ({"power": 1.0, "repetition_rate": 1.0}, "pulse duration is missing"),
        ({"pulse_energy": 1.0}, "pulse duration is missing"),
        ({**pulsed, "repetition_rate": 0.0}, "repetition rate = 0 Hz"),
    ):
        with pytest.raises(InputError, match=words):
            lasersafe.scale_numbers("1064 nm", "7 mm", "1/e2", **emission)


def test_rounding_for_print_is_up() -> None:
    many = lasersafe.direct_distance(BEAM, "1070 nm", "10 s", power=np.geomspace(1e-6, 1e6, 1000))
    for step in (0.001, 0.01, 0.1, 1.0, 0.25, 3.0):
        up = many.rounded_up(step)
        assert (up >= many.distance).all()
        assert (up <= many.distance + step * 1.001).all()
    with pytest.raises(InputError, match=r"step = \[\]: must be above 0, one length for all"):
        many.rounded_up([])
    with pytest.raises(InputError, match="step = 0: must be above 0"):
        many.rounded_up(0)


def test_there_is_a_worked_example_for_each_starter_case() -> None:
    from lasersafe.ask.cases import template_names

    pages = {path.stem for path in (ROOT / "docs" / "examples").glob("*.md")}
    assert pages == set(template_names()) - {"demo"}
    for page in pages:
        text = (ROOT / "docs" / "examples" / f"{page}.md").read_text(encoding="utf-8")
        assert f'starter_case("{page}")' in text
        assert lasersafe.caution_line() in text
        assert f"docs/examples/{page}.md" in (ROOT / "README.md").read_text(encoding="utf-8")


# Cases


def test_a_case_from_dictionaries_and_quantities_is_the_case_of_the_file(tmp_path) -> None:
    import tomllib

    from lasersafe.ask.cases import template_names, template_text
    from lasersafe.models import canonical

    for name in template_names():
        data = tomllib.loads(template_text(name).decode())
        same = lasersafe.make_case(data)
        assert canonical(same) == canonical(lasersafe.starter_case(name))
        assert canonical(lasersafe.make_case(same._text)) == canonical(same)
    data["laser"][0]["wavelength"] = 0.45 * UNITS.um
    data["person"][0]["distance"] = np.float64(40) * UNITS.cm
    assert float(lasersafe.make_case(data).laser[0].wavelength) == pytest.approx(450e-9)
    assert lasersafe.make_case(data).laser[0].wavelength.typed == "0.45 µm"
    assert lasersafe.make_case(data).person[0].distance.typed == "40 cm"
    data["person"][0]["distance"] = {"value": 1 * UNITS.yard, "tolerance": 1 * UNITS.inch}
    assert lasersafe.make_case(data).person[0].distance.typed == "0.9144 m +- 1 in"
    data["laser"][0]["wavelength"] = 3 * UNITS.kg
    with pytest.raises(InputError, match=re.escape("laser[1].wavelength = 3 kilogram: no field of a case has this")):
        lasersafe.make_case(data)
    data["laser"][0]["wavelength"] = 450e-9
    with pytest.raises(CaseError, match=r"laser\[1\].wavelength.*write number and unit together"):
        lasersafe.make_case(data)
    with pytest.raises(InputError, match=re.escape("starter_case('co2-cutter') gives the starter case")):
        lasersafe.assess("co2-cutter")
    with pytest.raises(InputError, match="one line is no case; give the text of a case file, or read_case its name"):
        lasersafe.make_case("a case.toml")
    for bad in (3, None, [1]):
        with pytest.raises(InputError, match="give the text of a case file, or a dictionary"):
            lasersafe.make_case(bad)


def test_sheet_and_assessment_from_any_form_of_a_case(tmp_path) -> None:
    import tomllib

    from lasersafe.ask.cases import template_text
    from lasersafe.library.cases import _case_of
    from lasersafe.models import canonical
    from lasersafe.signing.verify import verify_answer

    text = template_text("co2-cutter").decode()
    file = tmp_path / "a case.toml"
    file.write_text(text, encoding="utf-8")
    for one in (file, str(file), text, tomllib.loads(text), lasersafe.read_case(file)):
        assert canonical(_case_of(one)) == canonical(lasersafe.starter_case("co2-cutter"))
    made = lasersafe.make_case(tomllib.loads(text))
    assert lasersafe.write_sheet(made, tmp_path / "made.pdf", paper="Letter") == tmp_path / "made.pdf"
    _, lines, code = verify_answer(tmp_path / "made.pdf", [], None, None, 60.0)
    assert code == 10, lines  # whole, and not signed
    changed = made.model_copy(update={"title": "Another title"})
    with pytest.raises(InputError, match="it was changed after it was read or made"):
        lasersafe.write_sheet(changed, tmp_path / "changed.pdf")
    assert not (tmp_path / "changed.pdf").exists()
    with pytest.raises(InputError, match="paper = 'A5' is not known here; write one of: A4, Letter"):
        lasersafe.write_sheet(made, tmp_path / "made.pdf", paper="A5")
    with pytest.raises(InputError, match="case = 3: give a case, the name of a case file"):
        lasersafe.assess(3)


# What a notebook shows

NASTY = 'Rope <img src=x onerror="alert(1)"> & \' <script>'


@cache
def nasty() -> tuple[lasersafe.Case, lasersafe.Assessment]:
    from lasersafe.ask.cases import template_text

    text = template_text("co2-cutter").decode()
    text = text.replace('"Camera crew"', '"""' + NASTY + '"""').replace('title = "', f"title = '''{NASTY}''' #")
    case = lasersafe.make_case(text)
    return case, lasersafe.assess(case)


@pytest.mark.parametrize("scene", [True, False])
def test_html_escapes_is_the_same_each_time_and_carries_the_caution(scene: bool) -> None:
    from dataclasses import replace
    from html import escape

    from lasersafe.ask.printed import brief

    case, assessment = nasty()
    assert any(NASTY in one.person for one in assessment.scenarios)
    if not scene:
        assessment = replace(assessment, scene=None)
    page = assessment._repr_html_()
    assert page == replace(assessment)._repr_html_()
    for text in (page, case._repr_html_()):
        assert "<img" not in text.lower()
        assert "<script" not in text.lower()
        assert "Rope &lt;img src=x" in text
        assert not re.search(r"<[^>]*\son\w+=|href|url\(|http(?!://www\.w3\.org/2000/svg)", text)
    assert lasersafe.caution_line() in page
    assert page.count("<svg") == page.count("</svg>") > 0
    assert "<?xml" not in page
    assert escape(brief(assessment)[1][1]) in page
    for setup in assessment.setups:
        assert setup.setup in page
    assert "textLength" in page


def test_html_is_well_formed_and_leaves_the_colours_to_the_page() -> None:
    from html.parser import HTMLParser

    class Reader(HTMLParser):
        open: list[str] = []  # noqa: RUF012

        def handle_starttag(self, tag, attributes):
            if tag not in ("br", "rect", "path"):
                self.open.append(tag)

        def handle_endtag(self, tag):
            if tag not in ("rect", "path"):
                assert self.open.pop() == tag

    assessment = lasersafe.assess(lasersafe.starter_case("co2-cutter"), "de")
    page = assessment._repr_html_()
    reader = Reader()
    reader.feed(page)
    assert reader.open == []
    assert lasersafe.caution_line("de") in page
    outside = re.sub(r"<svg.*?</svg>", "", page, flags=re.DOTALL)
    assert set(re.findall(r"(?<![-\w])color:([^;\"]+)", outside)) == {"inherit"}
    assert set(re.findall(r"background:([^;\"]+)", outside)) == {"transparent", "#ffffff"}  # white below drawings


def test_a_character_that_cannot_be_drawn_is_said() -> None:
    from dataclasses import replace

    assessment = cutter()
    setups = tuple(
        replace(one, setup="Lens \U0001f98a", chart=replace(one.chart, title="\U0001f98a")) for one in assessment.setups
    )
    page = replace(assessment, scene=None, setups=setups)._repr_html_()
    assert "\U0001f98a" in page
    assert "cannot be printed" in page


def test_plain_prompts_show_a_few_lines() -> None:
    case = lasersafe.starter_case("co2-cutter")
    assert repr(case) == (
        "Case 'CO2 cutter filmed with the lid open': 1 laser, 3 persons, 2 barriers; assess(case) works it out"
    )
    text = repr(cutter())
    assert len(text) < 2000
    assert text.endswith(lasersafe.caution_line())
