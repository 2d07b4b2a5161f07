"""Where air is past a resin's limits; the dew point is asked only where it may matter."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from monitor import shelf
from monitor.core.cure.limits import outside
from monitor.core.cure.surface import DEW_MARGIN_K
from monitor.core.physics.aging import kelvin
from monitor.core.physics.air import dew_margin

COATING = next(one for one in shelf.library() if one.key == "coating_2_1")


@given(
    arrays.arrays(np.float64, (3, 8), elements=st.floats(-40.0, 60.0)),
    arrays.arrays(np.float64, (3, 8), elements=st.floats(1.0, 100.0)),
)
def test_dew_is_where_the_whole_law_says_it_is(temp_c, humidity_pct):
    margin_k = dew_margin(kelvin(temp_c), humidity_pct, kelvin(temp_c))
    found = outside(COATING, temp_c, humidity_pct)["dew"]
    np.testing.assert_array_equal(found, margin_k < DEW_MARGIN_K)
