"""Random text, numbers and charts: nothing is lost, nothing runs out of its place, nothing overlaps."""

from __future__ import annotations

import math
import string
import unicodedata
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lasersafe.drawing import text as values
from lasersafe.drawing.primitives import Lines, Words
from lasersafe.drawing.text import tidy
from lasersafe.results import ChartData, ChartMark, Curve, LimitLine
from lasersafe.sheet.drawings import exposure_chart
from lasersafe.sheet.flow import Flow, Part, Row
from lasersafe.sheet.paint import printable
from lasersafe.sheet.text import Style, formula_runs, joined, width_of, wrap, wrap_formula
from lasersafe.wording import load_wording
from tests.drawing_faults import faults, text_box
from tests.few import few

LETTERS = "".join(sorted(printable()))
words = st.text(LETTERS, max_size=80)
formulas = st.text(string.ascii_letters + string.digits + " _^(){}*+-/=.<>√φ", max_size=60)
lengths = st.floats(1e-9, 1e9)
_RAISED = str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789")


def squeezed(text: str) -> str:
    return "".join(unicodedata.normalize("NFC", text).split())


def read(text: str) -> Decimal:
    """Return the number of a printed quantity in SI units."""
    digits, _, unit = text.replace("−", "-").replace("\u00a0×\u00a010", "e").translate(_RAISED).partition("\u00a0")
    scale = {"km": 3, "m": 0, "mm": -3, "µm": -6, "nm": -9, "W/m2": 0, "": 0}[unit]
    return Decimal(digits).scaleb(scale)


@given(words, st.floats(8.0, 300.0), st.booleans())
def test_wrapping_loses_nothing_and_keeps_to_the_width(text: str, width: float, bold: bool) -> None:
    style = Style(8.0, bold)
    lines = wrap(text, style, width)
    assert squeezed("".join(line[0].text for line in lines)) == squeezed(text)
    for (piece,) in lines:
        wide = width_of(piece.text.rstrip(), style)
        assert wide <= width + 1e-6 or len([c for c in piece.text if not unicodedata.combining(c)]) == 1


@given(formulas, st.floats(20.0, 200.0))
def test_a_formula_keeps_to_the_width_and_its_letters(text: str, width: float) -> None:
    style = Style(7.0)
    lines = wrap_formula(text, style, width)
    whole = squeezed("".join(run for run, _ in formula_runs(text)))
    assert squeezed("".join(piece.text for line in lines for piece in line)) == whole
    for line in lines:
        for piece in line:
            assert piece.x + width_of(piece.text.rstrip(), Style(piece.size)) <= width + 1e-6
            assert piece.y == 0.0 or piece.size < style.size


def test_formulas_read_as_they_are_meant() -> None:
    assert formula_runs("C_A * t^0.75") == [("C", 0), ("A", -1), (" · t", 0), ("0.75", 1)]
    assert formula_runs("10^(0.002*(lambda - 700))") == [("10", 0), ("0.002·(λ − 700)", 1)]
    assert formula_runs("sqrt(4*Phi/(pi*E_limit))") == [("√(4·Φ/(π·E", 0), ("limit", -1), ("))", 0)]
    assert formula_runs("1.5e-3 W/m2") == [("1.5\u00a0×\u00a010", 0), ("−3", 1), (" W/m²", 0)]
    assert formula_runs("alpha_max, alphabet") == [("α", 0), ("max", -1), (", alphabet", 0)]
    assert tidy("6.4e+06 W/cm2 in hall 1e5 m2") == "6.4\u00a0×\u00a010⁶ W/cm² in hall 1e5 m2"


@given(lengths)
def test_a_distance_is_never_printed_too_short(value: float) -> None:
    shown = read(values.distance(value))
    assert Decimal(value) <= shown * (1 + Decimal("1e-15"))
    assert shown <= Decimal(value) * Decimal("1.0101")


@given(lengths)
def test_a_place_is_never_printed_too_far(value: float) -> None:
    shown = read(values.place(value))
    assert Decimal(value) * Decimal("0.99") <= shown <= Decimal(value) * (1 + Decimal("1e-15"))


@given(st.floats(1e-12, 1e15))
def test_limits_round_down_and_exposures_up(value: float) -> None:
    assert read(values.in_unit(value, "W/m2", 3, "down")) <= Decimal(value) * (1 + Decimal("1e-15"))
    assert read(values.in_unit(value, "W/m2", 3, "up")) >= Decimal(value) * (1 - Decimal("1e-15"))


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "< 0.01"), (0.0099, "< 0.01"), (0.01001, "0.0101"), (0.9996, "1.00"), (17700.2, "17800"),
     (123456.0, "124000"), (1234567.0, "1.24\u00a0×\u00a010⁶"), (math.inf, "∞"), (math.nan, "∞")],
)  # fmt: skip
def test_ratios_as_printed(value: float, text: str) -> None:
    assert values.ratio(value) == text


def test_times_and_apertures_as_printed() -> None:
    assert values.duration(9.99999) == "10\u00a0s"
    assert values.duration(0.25) == "250\u00a0ms"
    assert values.duration(5e-5) == "50\u00a0µs"
    assert values.aperture(7e-3) == "7\u00a0mm"
    assert values.wavelength(1.07e-6) == "1070\u00a0nm"
    assert values.plain(0.0566667) == "0.0566667"
    assert values.plain(-1.28e-7) == "−1.28\u00a0×\u00a010⁻⁷"


def test_neighbours_are_joined() -> None:
    assert joined(["C1", "C2"]) == "C1, C2"
    assert joined(["C1", "C2", "C3", "S4", "C5", "text 6", "text 7"]) == "C1–C3, S4, C5, text 6, text 7"
    assert joined([]) == ""


@few(40)
@given(st.lists(st.tuples(words, words, words), min_size=1, max_size=6), st.integers(1, 40))
def test_a_table_stays_between_the_margins(cells: list[tuple[str, str, str]], repeat: int) -> None:
    flow = Flow((300.0, 260.0), (20.0, 30.0, 20.0, 30.0))
    rows = [Row([[Part(text * repeat)] for text in row], [Part(row[0])]) for row in cells]
    flow.table(["one", "two", "three"], (1, 1, 2), rows)
    found = ""
    for page in flow.pages:
        for mark in page.marks:
            if isinstance(mark, Words):
                left, low, right, high = text_box(mark)
                assert left >= 20.0 - 1e-6
                assert high <= 230.0 + 1e-6
                assert low >= 30.0 - 1e-6
                assert right <= 280.0 + 8.0, "only white space may hang over"
                found += mark.text
    for row in cells:
        for text in row:
            assert set(squeezed(text)) <= set(found)


names = st.text("abcdefgh ijklmn", min_size=1, max_size=60)
places = st.floats(0.011, 900.0)


@few(60)
@given(
    st.lists(st.tuples(names, places, st.sampled_from(["person", "barrier"])), max_size=9),
    st.lists(st.tuples(names, st.floats(1e-3, 1e9)), max_size=7),
    st.lists(st.floats(1e-3, 1e8), min_size=1, max_size=5),
)
def test_no_label_of_a_chart_touches_another(
    people: list[tuple[str, float, str]], limits: list[tuple[str, float]], powers: list[float]
) -> None:
    distances = tuple(10 ** (-2 + 5 * step / 30) for step in range(31))
    curves = tuple(Curve(f"curve {n}", "", distances, tuple(p / x**2 for x in distances)) for n, p in enumerate(powers))
    data = ChartData(
        "chart",
        "W/m2",
        "irradiance",
        curves,
        tuple(LimitLine(name, value) for name, value in limits),
        tuple(ChartMark(name, kind, place) for name, place, kind in people),
    )
    chart = exposure_chart(data, 180.0, load_wording())
    texts = [mark for mark in chart.marks if isinstance(mark, Words) and mark.text.strip()]
    assert faults(chart) == [], "two texts over each other, or one outside the drawing"
    frame = next(mark for mark in chart.marks if isinstance(mark, Lines) and mark.thick == 0.35).runs[0]
    top = max(y for _, y in frame)
    for mark in chart.marks:
        for run in mark.runs if isinstance(mark, Lines) else ():
            if len(run) == 2 and run[0][0] == run[1][0] and run[1][1] > top + 0.5:  # from a name down into the plot
                boxes = [text_box(words) for words in texts]
                assert not [b for b in boxes if b[0] < run[0][0] < b[2] and b[1] < run[1][1] - 0.4 and b[3] > top]


def test_no_word_of_a_title_is_split_and_numbers_of_a_document_keep_their_point() -> None:
    flow = Flow((595.0, 842.0), (42.0, 44.0, 42.0, 60.0))
    flow.table(("Nr.", "Vielfaches des Grenzwerts", "Weg"), (4, 1, 95), [Row((Part("1"), Part("2"), Part("3")))])
    printed = [mark.text for mark in flow.pages[0].marks if isinstance(mark, Words)]
    assert {"Vielfaches", "Grenzwerts"} <= {word for line in printed for word in line.split()}
    with values.decimals(load_wording("de")):
        assert values.spoken("10 s (TROS-2, 4.1), 3.5 mm") == "10 s (TROS-2, 4.1), 3,5 mm"
