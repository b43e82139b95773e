from tests.benchmarks.plates import TAG, planned, timed


def test_a_plate_of_200_pockets_takes_less_than_three_seconds_from_pockets_to_files():
    assert sum(timed(planned(TAG), 200)) < 3.0
