"""What a written weight may mean: exact units (definitions) and slips of digits."""

import pytest

from geoprune.weighin import other_meanings


def meanings(text, unit, kind, **given):
    return {m.meant: m.factor for m in other_meanings(text, unit, **given) if m.kind == kind}


@pytest.mark.parametrize(
    ("unit", "other", "factor"),
    [  # international avoirdupois pound, 1959: 0.45359237 kg, 16 ounces
        ("lb", "kg", 1 / 0.45359237),
        ("lb", "oz", 1 / 16),
        ("lb", "g", 0.001 / 0.45359237),
        ("kg", "lb", 0.45359237),
        ("kg", "g", 0.001),
        ("oz", "lb", 16),
    ],
)
def test_units_are_exact(unit, other, factor):
    assert meanings("2", unit, "unit")[other] == pytest.approx(factor, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        ("81", "transposed", {"18"}),
        ("1.8", "transposed", {"8.1"}),
        ("40", "transposed", set()),  # 04 is no number that is written
        ("2.2", "transposed", set()),
        ("11.8", "doubled", {"1.8"}),
        ("2.2", "doubled", set()),
        ("18", "decimal", {"1.8", "0.18", "180"}),
        ("7.2", "misread", {"1.2"}),
        ("2.2", "misread", set()),
    ],
)
def test_slips_of_digits(text, kind, expected):
    assert set(meanings(text, "lb", kind)) == expected


def test_factors_lead_to_what_is_told():
    for m in other_meanings("41.8", "lb"):
        if m.kind not in ("unit", "together"):
            assert 41.8 * m.factor == pytest.approx(float(m.meant))


def test_chances_of_a_kind_are_shared():
    found = other_meanings("41.8", "lb", together=(3, 4))
    assert sum(m.prior for m in found if m.kind == "unit") == pytest.approx(0.005)
    assert [m.prior for m in found if m.kind == "together"] == pytest.approx([0.0015, 0.0015])


@pytest.mark.parametrize("text", ["", "0", "0.0", "abc", "-2"])
def test_nothing_is_meant_by_no_weight(text):
    assert other_meanings(text, "lb") == []
