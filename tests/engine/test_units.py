"""Units: the shipped table against an independent library, exactness, kinds, texts and every fault."""

import decimal
import marshal
import pickle
from collections.abc import Callable
from copy import deepcopy
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugebook import units
from gaugebook.diagnostics import render
from gaugebook.documents import read
from gaugebook.resources import packaged
from gaugebook.scales import shortened
from gaugebook.units import EXACT, NUMBER, Dimension, Kind, Unit, UnitError, Units, show, show_number

TABLE = read(packaged("rulesets", "units.yaml")).data
UNITS = Units.from_data(TABLE)
MONEY = {"USD", "EUR"}
ROUNDED = {"cmil", "deg"}
"""Units whose factor holds pi and therefore is not a fraction."""

# --- the shipped table against pint ---------------------------------------------------------------

OTHER_NAME = {
    "VA": "volt * ampere",
    "kVA": "kilovolt * ampere",
    "mohm": "milliohm",
    "kft": "kilofoot",
    "in": "inch",
    "cmil": "circular_mil",
    "degC": "delta_degC",
    "degF": "delta_degF",
    "min": "minute",
    "year": "common_year",
    "t": "metric_ton",
    "%": "percent",
    "deg": "degree",
}
"""What pint calls a unit, where it does not share our symbol (or means something else by it)."""

PINT: pint.UnitRegistry[Fraction] = pint.UnitRegistry(non_int_type=Fraction)


def in_pint(unit: Unit, symbol: str) -> Fraction:
    """The factor from a unit to our base unit of its kind, by pint alone."""
    bases = {"length": "m", "mass": "kg", "time": "s", "current": "A", "temperature": "K"}
    target = " * ".join(f"{bases[name]} ** ({power})" for name, power in unit.kind.dimension.exponents)
    quantity = PINT.Quantity(Fraction(1), PINT.parse_units(OTHER_NAME.get(symbol, symbol)))
    return Fraction(quantity.to(PINT.parse_units(target or "dimensionless")).magnitude)


@pytest.mark.parametrize("symbol", [symbol for symbol in UNITS if symbol not in MONEY])
def test_every_factor_and_dimension_agrees_with_pint(symbol: str) -> None:
    unit = UNITS.unit(symbol)
    theirs = in_pint(unit, symbol)
    if symbol in ROUNDED:
        assert abs(unit.scale / theirs - 1) < Fraction(1, 10**15)
    else:
        assert unit.scale == theirs


@given(st.sampled_from(["degC", "degF"]), st.sampled_from(["degC", "degF"]), st.decimals(-200, 900, places=2))
def test_temperature_points_agree_with_pint(given: str, wanted: str, amount: Decimal) -> None:
    ours = UNITS.unit(wanted).from_base(UNITS.unit(given).to_base(amount))
    theirs = PINT.Quantity(Fraction(amount), given).to(wanted).magnitude
    assert abs(Fraction(ours) - Fraction(theirs)) < Fraction(1, 10**30)


@pytest.mark.parametrize(
    ("ours", "theirs", "base"),
    [
        ("ohm/kft", "ohm/kilofoot", "ohm/m"),
        ("kg/m3", "kg/m**3", "kg/m**3"),
        ("in2", "inch**2", "m**2"),
        ("A*h", "A*hour", "A*s"),
        ("W/m2/K", "W/m**2/K", "W/m**2/K"),
        ("%/degF", "percent/delta_degF", "1/K"),
    ],
)
def test_powers_and_compounds_agree_with_pint(ours: str, theirs: str, base: str) -> None:
    factor = PINT.Quantity(Fraction(1), PINT.parse_units(theirs)).to(PINT.parse_units(base))
    assert UNITS.unit(ours).scale == factor.magnitude


@pytest.mark.parametrize("symbol", sorted(ROUNDED))
def test_rounded_factors_have_forty_two_digits_of_pi(symbol: str) -> None:
    pi = Fraction("3.14159265358979323846264338327950288419716939937510582097494")
    exact = {"deg": pi / 180, "cmil": pi / 4 * Fraction("0.0000254") ** 2}[symbol]
    assert abs(UNITS.unit(symbol).scale / exact - 1) < Fraction(1, 10**41)
    assert len(TABLE["units"][symbol]["scale"].as_tuple().digits) == 42


def test_every_unit_says_where_its_factor_comes_from() -> None:
    for symbol, entry in TABLE["units"].items():
        assert entry["source"] in TABLE["sources"], symbol


def test_currencies_are_not_convertible() -> None:
    dollar, euro = UNITS.unit("USD"), UNITS.unit("EUR")
    assert dollar.scale == euro.scale == 1
    assert dollar.kind != euro.kind


# --- exactness ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "value", "base"),
    [
        ("105.8 degF", "41", "degC"),
        ("41 degC", "41", "degC"),
        ("-40 °F", "-40", "degC"),
        ("9 delta_degF", "5", "K"),
        ("33 K", "33", "K"),
        ("7/8 in", "0.022225", "m"),
        ("3 1/2 in", "0.0889", "m"),
        ("-3 1/2 in", "-0.0889", "m"),
        ("-0.27 %/K", "-0.0027", "1/K"),
        ("-0.27 %/degC", "-0.0027", "1/K"),
        ("0.27 %/degF", "0.00486", "1/K"),
        ("6 mm2", "0.000006", "m2"),
        ("10 kWh", "36000000", "J"),
        ("\N{MINUS SIGN}9 degC", "-9", "degC"),
        ("10A", "10", "A"),
        (".5 A", "0.5", "A"),
        ("1.98 ohm/kft", None, "ohm/m"),
    ],
)
def test_quantities_are_read_exactly(text: str, value: str | None, base: str) -> None:
    found, unit = UNITS.quantity(text)
    assert unit.kind == UNITS.unit(base).kind
    assert found == (Decimal(value) if value else EXACT.divide(Decimal("1.98"), Decimal("304.8")))


def test_a_third_is_kept_to_fifty_digits() -> None:
    assert UNITS.quantity("1/3 m")[0] == Decimal("0." + "3" * 50)


amounts = st.decimals(-(10**6), 10**6, places=3)
symbols = st.sampled_from(list(UNITS))


@given(symbols, amounts)
def test_there_and_back_is_where_it_started(symbol: str, amount: Decimal) -> None:
    unit = UNITS.unit(symbol)
    back = unit.from_base(unit.to_base(amount))
    assert abs(back - amount) <= abs(amount) * Decimal("1e-47")
    if Fraction(unit.to_base(amount)) == (Fraction(amount) - unit.zero) * unit.scale:
        assert back == amount


@given(symbols, amounts)
def test_the_decimal_conversion_is_the_rational_one_rounded_once(symbol: str, amount: Decimal) -> None:
    unit = UNITS.unit(symbol)
    exact = (Fraction(amount) - unit.zero) * unit.scale
    assert abs(Fraction(unit.to_base(amount)) - exact) <= abs(exact) / 10**48


@given(st.sampled_from(["cmil", "deg"]), st.integers(1, 10**7), st.integers(1, 10**7))
def test_sums_in_a_rounded_unit_are_exact(symbol: str, left: int, right: int) -> None:
    unit = UNITS.unit(symbol)
    total = EXACT.add(unit.to_base(Decimal(left)), unit.to_base(Decimal(right)))
    assert total == unit.to_base(Decimal(left + right))


@given(symbols, symbols)
def test_any_two_symbols_make_a_compound(left: str, right: str) -> None:
    product, quotient = UNITS.unit(f"{left}*{right}"), UNITS.unit(f"{left}/{right}3")
    a, b = UNITS.unit(left), UNITS.unit(right)
    assert product.scale == a.scale * b.scale
    assert quotient.scale == a.scale / b.scale**3
    assert product.kind == Kind(a.kind.dimension.times(b.kind.dimension))
    assert not product.kind.point


def test_the_thread_s_own_decimal_context_does_not_matter() -> None:
    with decimal.localcontext(prec=3):
        assert UNITS.quantity("123456.789 ft")[0] == Decimal("37629.6292872")
        assert show(Decimal("12345.678"), UNITS.unit("m")) == "12346 m"


# --- kinds ----------------------------------------------------------------------------------------

POINT, DIFFERENCE, CURRENT = (UNITS.unit(symbol).kind for symbol in ("degC", "K", "A"))


@pytest.mark.parametrize(
    ("left", "operator", "right", "result"),
    [
        ("degC", "-", "degF", "K"),
        ("degC", "+", "delta_degF", "degC"),
        ("K", "+", "degC", "degC"),
        ("degC", "-", "K", "degC"),
        ("K", "-", "K", "K"),
        ("V", "*", "A", "W"),
        ("V", "/", "A", "ohm"),
        ("W", "/", "V", "A"),
        ("A", "*", "%", "A"),
        ("%/K", "*", "K", "1"),
        ("m", "*", "in", "cmil"),
        ("A", "*", "h", "A*s"),
    ],
)
def test_kinds_combine(left: str, operator: str, right: str, result: str) -> None:
    a, b, c = (UNITS.unit(text).kind for text in (left, right, result))
    assert UNITS.combine(operator, a, b) == c


def test_powers_roots_and_negatives() -> None:
    area = UNITS.unit("mm2").kind
    assert UNITS.power(UNITS.unit("ft").kind, 2) == area
    assert UNITS.root(area, 2) == UNITS.unit("m").kind
    assert UNITS.power(CURRENT, 0) == NUMBER == UNITS.root(NUMBER, 2)
    assert UNITS.power(CURRENT, -1) == UNITS.unit("1/A").kind
    assert UNITS.negate(DIFFERENCE) == DIFFERENCE


def test_equal_kinds_are_comparable() -> None:
    UNITS.compare(POINT, UNITS.unit("degF").kind)
    UNITS.compare(UNITS.unit("cmil").kind, UNITS.unit("mm2").kind)


dimensions = st.dictionaries(st.sampled_from("abc"), st.integers(-3, 3)).map(Dimension.of)
kinds = st.builds(Kind, dimensions, st.booleans())


@given(kinds, kinds, kinds)
def test_the_algebra_of_kinds(a: Kind, b: Kind, c: Kind) -> None:
    assert a.plus(b) == b.plus(a)
    assert a.times(b) == b.times(a)
    total = a.plus(b)
    if total is not None:
        assert total.minus(b) == a or (b.point and total.minus(b) == Kind(a.dimension))
    product = a.times(b)
    if product is not None:
        assert product.over(b) == a
        assert hash(product.over(b)) == hash(a)
    if not a.point and not b.point and not c.point:
        assert Kind(a.dimension.times(b.dimension.times(c.dimension))) == Kind(
            a.dimension.times(b.dimension).times(c.dimension)
        )


@given(dimensions, st.integers(1, 4))
def test_a_root_undoes_a_power(dimension: Dimension, degree: int) -> None:
    assert dimension.power(degree).root(degree) == dimension


@pytest.mark.parametrize(
    ("text", "description"),
    [
        ("degC", "temperature"),
        ("K", "temperature difference"),
        ("delta_degF", "temperature difference"),
        ("A", "current"),
        ("ohm/km", "resistance per length"),
        ("%", "plain number"),
        ("1", "plain number"),
        ("kVA", "power"),
        ("USD/m", "money in dollars per length"),
        ("A2*h/m", "A2*s/m"),
        ("1/m5", "1/m5"),
    ],
)
def test_kinds_in_words(text: str, description: str) -> None:
    assert UNITS.describe(UNITS.unit(text).kind) == description


@given(symbols, st.sampled_from(["", "2", "3"]), symbols)
def test_the_base_unit_of_a_kind_has_that_kind_and_the_scale_one(left: str, power: str, right: str) -> None:
    kind = UNITS.unit(f"{left}{power}/{right}").kind
    base = UNITS.base_unit(kind)
    assert UNITS.unit(base.text) == base
    assert base == Unit(base.text, kind)


def test_the_base_unit_of_points() -> None:
    assert UNITS.base_unit(POINT).text == "degC"


# --- what a field, a key or a cell wants ----------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "unit", "base_value"),
    [
        ("105.8 degF", "degC", "41"),
        ("9 ft", "m", "2.7432"),
        ("25 %", "1", "0.25"),
        ("25 %", "%", "0.25"),
        (11, "1", "11"),
        (Decimal("1.250"), "1", "1.25"),
        ("5/4", "1", "1.25"),
    ],
)
def test_a_quantity_of_the_wanted_kind(value: str | int | Decimal, unit: str, base_value: str) -> None:
    assert UNITS.quantity_as(value, UNITS.unit(unit)) == Decimal(base_value)


# --- for reading ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        ("29.58", "A", "29.58 A"),
        ("0.58", "1", "0.58"),
        ("74", "degC", "74 degC"),
        ("41", "degF", "105.8 degF"),
        ("20.83749", "A", "20.84 A"),
        ("0.0000012345678", "1", "0.000001235"),
        ("123456.7", "W", "123457 W"),
        ("9.99995", "A", "10 A"),
        ("99.995", "A", "100 A"),
        ("1000", "m", "1000 m"),
        ("1E+6", "m", "1000000 m"),
        ("-0.00", "A", "0 A"),
        ("-2.5", "A", "-2.5 A"),
        ("0.005", "%", "0.5 %"),
        ("0", "1", "0"),
        ("1E+70", "1", "1" + "0" * 70),
        ("1.23456E-70", "1", "0." + "0" * 69 + "1235"),
    ],
)
def test_shown_for_reading(value: str, unit: str, shown: str) -> None:
    assert show(Decimal(value), UNITS.unit(unit)) == shown


def test_more_or_fewer_digits_on_demand() -> None:
    third = UNITS.quantity("1/3 m")[0]
    assert [show(third, UNITS.unit("m"), digits) for digits in (1, 2, 8)] == [
        "0.3 m",
        "0.33 m",
        "0.33333333 m",
    ]


@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**12), max_value=10**12))
def test_what_is_shown_is_plain_and_close(value: Decimal) -> None:
    text = show_number(value)
    assert "E" not in text
    assert not (("." in text and text.endswith("0")) or text.endswith("."))
    assert abs(Decimal(text) - value) <= abs(value) / 1000


@given(st.integers(-(10**7), 10**7), symbols)
def test_what_is_shown_of_a_whole_number_reads_back(amount: int, symbol: str) -> None:
    unit = UNITS.unit(symbol)
    text = show(unit.to_base(Decimal(amount)), unit)
    assert text == f"{amount} {symbol}"
    assert UNITS.quantity(text) == (unit.to_base(Decimal(amount)), unit)


# --- plain data -----------------------------------------------------------------------------------


def test_units_can_be_rebuilt_from_plain_data() -> None:
    plain = UNITS.to_plain()
    again = Units.from_data(marshal.loads(marshal.dumps(plain)))
    assert again == UNITS
    assert again.to_plain() == plain
    assert again.unit("ohm/kft") == UNITS.unit("ohm/kft")
    copied = pickle.loads(pickle.dumps(UNITS))
    assert copied == UNITS
    assert copied.unit("degF") == UNITS.unit("degF")
    assert pickle.loads(pickle.dumps(UNITS.unit("degF"))).to_base(Decimal("105.8")) == 41


# --- every fault, by name, with its text ----------------------------------------------------------


def table(**changes: Any) -> Callable[[], object]:
    """Builds a copy of a small table with entries added or replaced (`unit_x`, `dimension_x`)."""
    data: dict[str, Any] = {
        "dimensions": {"length": {"base": "m"}},
        "units": {"m": {"title": "metre", "dimension": "length", "scale": 1}},
    }
    data = deepcopy(data)
    for place, entry in changes.items():
        part, _, name = place.partition("_")
        data[part + "s"][name] = entry
    return lambda: Units.from_data(data)


METRE = {"title": "metre", "dimension": "length", "scale": 1}
AMPS = UNITS.unit("A")
TEMPERATURE = UNITS.unit("degC")

FAULTS: list[tuple[Callable[[], object], str]] = [
    (lambda: UNITS.unit("Amp"), "unknown unit 'Amp'; nearest: A [unknown-unit]"),
    (lambda: UNITS.unit("ohm/kmm"), "unknown unit 'kmm'; nearest: mm, km [unknown-unit]"),
    (lambda: UNITS.unit("Celsius"), "unknown unit 'Celsius'; nearest: degC [unknown-unit]"),
    (lambda: UNITS.unit("kw"), "unknown unit 'kw'; nearest: kW [unknown-unit]"),
    (lambda: UNITS.unit("zzzzz"), "unknown unit 'zzzzz' [unknown-unit]"),
    (
        lambda: UNITS.unit("m^2"),
        "'m^2' does not read as a unit [bad-unit]\n"
        "  help: symbols are joined by * or / without spaces; a number after a symbol is its power",
    ),
    (
        lambda: UNITS.quantity("fast"),
        "'fast' does not read as a quantity [not-a-quantity]\n"
        "  help: write a number and a unit, as in '10 A'; fractions such as 7/8 and 3 1/2 are fine",
    ),
    (
        lambda: UNITS.quantity_as("1,000", UNITS.unit("1")),
        "'1,000' does not read as a quantity [not-a-quantity]\n"
        "  help: write a number and a unit, as in '10'; fractions such as 7/8 and 3 1/2 are fine",
    ),
    (
        lambda: UNITS.quantity("9" * 51 + " A"),
        "a number with 51 digits; numbers are exact up to 50 digits [number-too-long]\n"
        "  help: shorten it, or put quotes around it if it is a text",
    ),
    (
        lambda: UNITS.quantity("5"),
        "'5' has no unit [missing-unit]\n  help: write '5 A', if that is the unit meant",
    ),
    (
        lambda: UNITS.quantity_as(41, TEMPERATURE),
        "'41' has no unit [missing-unit]\n  help: write '41 degC', if that is the unit meant",
    ),
    (
        lambda: UNITS.quantity_as("41 K", TEMPERATURE),
        "'41 K' is of the kind temperature difference; wanted here: temperature [wrong-kind-of-quantity]\n"
        "  help: give it in degC or another unit of that kind",
    ),
    (
        lambda: UNITS.quantity_as("10 V", AMPS),
        "'10 V' is of the kind voltage; wanted here: current [wrong-kind-of-quantity]\n"
        "  help: give it in A or another unit of that kind",
    ),
    (lambda: UNITS.combine("+", POINT, POINT), "cannot add temperature to temperature [cannot-add]"),
    (
        lambda: UNITS.combine("-", DIFFERENCE, POINT),
        "cannot subtract temperature from temperature difference [cannot-subtract]",
    ),
    (lambda: UNITS.combine("+", CURRENT, NUMBER), "cannot add plain number to current [cannot-add]"),
    (
        lambda: UNITS.combine("*", POINT, NUMBER),
        "cannot multiply temperature by plain number [cannot-multiply]",
    ),
    (lambda: UNITS.combine("/", CURRENT, POINT), "cannot divide current by temperature [cannot-divide]"),
    (
        lambda: UNITS.compare(UNITS.unit("mm").kind, UNITS.unit("cmil").kind),
        "cannot compare length with area [cannot-compare]",
    ),
    (
        lambda: UNITS.compare(POINT, DIFFERENCE),
        "cannot compare temperature with temperature difference [cannot-compare]",
    ),
    (lambda: UNITS.negate(POINT), "cannot take the negative of temperature [cannot-negate]"),
    (lambda: UNITS.power(POINT, 2), "cannot raise temperature to the power 2 [cannot-raise]"),
    (
        lambda: UNITS.root(CURRENT, 2),
        "current has no root of degree 2 that is a quantity [cannot-take-root]",
    ),
    (
        table(unit_ft={**METRE, "scal": 1}),
        "the table of units: ft has no use for 'scal'; nearest: scale [unit-table-key]",
    ),
    (table(unit_ft={"title": "foot"}), "the table of units: ft lacks 'dimension' [unit-table-lacks]"),
    (table(dimension_time={}), "the table of units: time lacks 'base' [unit-table-lacks]"),
    (lambda: Units.from_data({"units": {}}), "the table of units: it lacks 'dimensions' [unit-table-lacks]"),
    (
        table(unit_ft={**METRE, "scale": "1e3"}),
        "the table of units: '1e3' for ft is not an exact number [unit-table-number]\n"
        "  help: write a whole number, a decimal or a fraction; a scale is above zero",
    ),
    (
        table(unit_ft={**METRE, "scale": 0}),
        "the table of units: '0' for ft is not an exact number [unit-table-number]\n"
        "  help: write a whole number, a decimal or a fraction; a scale is above zero",
    ),
    (
        table(unit_m2=METRE),
        "the table of units: 'm2' cannot be a symbol [unit-table-symbol]\n"
        "  help: a symbol has no digit, space, * or /, so that it can stand in a compound",
    ),
    (
        table(unit_ft={**METRE, "also": ["m"]}),
        "the table of units: 'm' is defined twice [unit-table-twice]",
    ),
    (
        table(unit_m={**METRE, "scale": 2}),
        "the table of units: 'm' cannot be the base of length [unit-table-base]\n"
        "  help: a base unit has that dimension and the scale 1; the base of points also has its zero at 0",
    ),
    (
        table(unit_ft={**METRE, "dimension": "lenght"}),
        "the table of units: ft names the unknown dimension 'lenght'; nearest: length [unknown-dimension]\n"
        "  help: a dimension may be made only of those written above it",
    ),
    (
        table(dimension_area={"of": "lenth2"}),
        "the table of units: area names the unknown dimension 'lenth'; nearest: length [unknown-dimension]\n"
        "  help: a dimension may be made only of those written above it",
    ),
]


@pytest.mark.parametrize(("act", "text"), FAULTS, ids=[text.splitlines()[0] for _, text in FAULTS])
def test_every_fault_is_told_in_these_words(act: Callable[[], object], text: str) -> None:
    with pytest.raises(UnitError) as caught:
        act()
    assert [render(diagnostic) for diagnostic in caught.value.diagnostics] == [text]


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "A ",
        "A*",
        "/A",
        "*A",
        "A//h",
        "A * h",
        "m1",
        "m02",
        "m222",
        "2m",
        "m-2",
        "1A",
        "11/A",
        "*".join("A" * 9),
    ],
)
def test_texts_that_are_no_unit(text: str) -> None:
    with pytest.raises(UnitError):
        UNITS.unit(text)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "A",
        "1/0 A",
        "1//2 A",
        "1 2 A",
        "- 5 A",
        "--5 A",
        "5. A",
        "5,5 A",
        "1e3 A",
        "5 A A",
        "nan A",
        "٣ A",
    ],
)
def test_texts_that_are_no_quantity(text: str) -> None:
    with pytest.raises(UnitError):
        UNITS.quantity(text)


@given(st.text(st.characters(codec="utf-8") | st.sampled_from("0123456789./-+ AVm%*/"), max_size=40))
def test_any_text_is_either_a_quantity_or_a_unit_error(text: str) -> None:
    try:
        value, unit = UNITS.quantity(text)
    except UnitError:
        return
    assert value.is_finite()
    assert unit.scale > 0


def test_fifty_digits_are_read_and_one_more_is_not() -> None:
    fifty = "1" + "0" * 47 + "2"
    assert UNITS.quantity(f"{fifty}.5 kg")[0] == Decimal(f"{fifty}.5")
    with pytest.raises(UnitError, match="a number with 51 digits"):
        UNITS.quantity(f"{fifty}.25 kg")


def test_fifty_digits_of_a_base_unit_stay_what_they_are() -> None:
    metre, amount = UNITS.unit("m"), Decimal("9" * 50)
    assert metre.to_base(amount) == metre.from_base(amount) == amount


def test_a_point_whose_zero_shares_a_factor_with_its_scale() -> None:
    """Five quarters of a degree each, and 4 where the base unit reads 0."""
    unit = Unit("x", UNITS.unit("degC").kind, (5, 4), (4, 1))
    assert unit.to_base(Decimal(8)) == 5
    assert unit.from_base(Decimal(5)) == 8


def test_a_message_holds_sixty_characters_of_a_text() -> None:
    assert shortened("x" * 60) == "x" * 60
    assert shortened("x" * 61) == "x" * 59 + "…"


def test_no_more_than_three_spellings_are_offered() -> None:
    data = deepcopy(TABLE)
    data["units"] |= {word: deepcopy(data["units"]["kg"]) for word in ("zug", "zuG", "zUg", "Zug")}
    assert Units.from_data(data).like("ZUG") == ["zug", "zuG", "zUg"]


def test_a_number_is_shown_with_four_digits() -> None:
    assert show_number(Decimal("1.23456")) == "1.235"


# --- what was found out before --------------------------------------------------------------------

AMOUNTS = [
    "12 m",
    "-3.5 degC",
    "0.25 in",
    ".5 A",
    "5. A",
    "1 1/2 in",
    "1/2 in",
    "7",
    "+4 A",
    "1 000 m",
    "3  m",
    "2 ,m",
]


@given(
    st.one_of(
        st.sampled_from(AMOUNTS),
        st.from_regex(r"-?[0-9]{0,4}\.?[0-9]{0,3} ?[a-zA-Z1-9/.,²٣]{0,4} ?", fullmatch=True),
    )
)
def test_a_plain_amount_reads_as_by_the_pattern(text: str) -> None:
    found = units._plain_amount(text)
    if found is None:
        return
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(units, "_plain_amount", lambda text: None)
        assert UNITS._split(text) == found


def test_units_that_were_kept_are_those_of_the_table() -> None:
    asked = Units.from_data(TABLE)
    texts = [*asked, "A2*m", "1/s", "m2"]
    found = {text: asked.unit(text) for text in texts}
    kept = Units(asked.to_plain(), marshal.loads(marshal.dumps(asked.to_rows())))
    for text in texts:
        assert kept.unit(text) == found[text]
        amount = Decimal("12.3456")
        assert kept.unit(text).to_base(amount) == found[text].to_base(amount)
        assert kept.unit(text).from_base(amount) == found[text].from_base(amount)
    assert "_table" not in vars(kept)
    assert kept.unit("A3*m") == asked.unit("A3*m")
    assert kept == asked
