import pytest

from tests.published.printed import printed


@pytest.mark.parametrize(("value", "text"), [(6.364, "6.36"), (0.4898, "0.5"), (3149.0, "3.15e3"), (44.72, "45")])
def test_printed_accepts_what_rounds_to_the_print(value, text):
    assert value == printed(text)


@pytest.mark.parametrize(("value", "text"), [(6.366, "6.36"), (0.4898, "0.50"), (3144.0, "3.15e3"), (44.4, "45")])
def test_printed_refuses_what_does_not(value, text):
    assert value != printed(text)
