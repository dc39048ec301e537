import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from edgewheel.edges.near import nearest

ticks = st.integers(-50, 50)


@given(st.sets(ticks, min_size=1), st.lists(ticks))
def test_the_nearest_place_is_that_of_a_look_at_all_of_them(places, asked):
    ordered = sorted(places)
    found = nearest(np.array(ordered, np.int64), np.array(asked, np.int64))
    assert found.tolist() == [
        min(range(len(ordered)), key=lambda n: (abs(ordered[n] - tick), n)) for tick in asked
    ]
