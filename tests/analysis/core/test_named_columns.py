import numpy as np
import pytest

from analysis.core.named_columns import by_name, values_in_order

NAMES = ("rise", "fall", "swing")


def test_values_come_back_in_the_code_s_order_whatever_the_file_s() -> None:
    named = by_name(NAMES, np.array([1.0, -2.0, 1 / 3]), digits=3)

    assert named == {"rise": 1.0, "fall": -2.0, "swing": 0.333}
    assert values_in_order(named, ("swing", "rise", "fall")).tolist() == [0.333, 1.0, -2.0]


@pytest.mark.parametrize("names", [NAMES[:2], (*NAMES, "evenness"), ("rise", "fall", "sway")])
def test_columns_that_are_not_the_stored_ones_are_refused(names: tuple[str, ...]) -> None:
    with pytest.raises(ValueError, match="columns differ"):
        values_in_order({"rise": 1.0, "fall": 2.0, "swing": 3.0}, names)


def test_every_value_has_a_name_of_its_own() -> None:
    with pytest.raises(ValueError, match="zip"):
        by_name(NAMES, np.zeros(2), digits=3)
    with pytest.raises(ValueError, match="same name"):
        by_name(("rise", "rise"), np.zeros(2), digits=3)
