"""What is said of an unattended stretch."""

from crib.planning.night import MachineNight

MINUTE_US = 60_000_000


def _night(as_planned, with_swaps, **more):
    begin = 1_000 * MINUTE_US
    values = {"floor": 0.05, "breakage": 0.04, "added": (), "limit": 0.02, **more}
    return MachineNight("M1", begin, begin + 480 * MINUTE_US, as_planned, with_swaps, **values)


def test_a_stretch_in_which_nothing_cuts_says_that_and_no_chance():
    assert _night(0.0, 0.0).sentence == "As planned no edge cuts in it."


def test_a_safe_stretch_gives_its_chance_and_the_limit():
    assert _night(0.016, 0.016).sentence == (
        "As planned the chance of a failure is 1.6%, within the limit of 2.0%."
    )


def test_minutes_to_run_stand_without_hours_where_there_are_none():
    stop = {"run_until_parts": 25}
    begin = _night(0.1, 0.08).begin_us
    short = _night(0.1, 0.08, run_until_us=begin + 55 * MINUTE_US + 1, **stop)
    long = _night(0.1, 0.08, run_until_us=begin + 163 * MINUTE_US, **stop)

    assert "Stop the machine 55 min into the stretch (25 parts)" in short.sentence
    assert "Stop the machine 2 h 43 min into the stretch" in long.sentence


def test_swaps_that_are_not_worth_it_are_said_to_be_left_out():
    over = _night(0.1, 0.08, left_out=3).sentence
    kept = _night(0.1, 0.08).sentence

    assert over.endswith(
        " Swaps left out: 3; each hardly lowers its own edge's chance or costs over 3 times "
        "the failures that it prevents."
    )
    assert "even with every edge fresh that helps it would be 5.0%" in kept
    assert "left out" not in kept


def test_a_factor_from_earlier_nights_is_told_where_it_differs_by_more_than_a_tenth():
    better, worse = (_night(0.016, 0.016, scale=scale).sentence for scale in (0.62, 1.3))

    assert better.endswith(
        " Earlier nights went better than forecast: the chance is scaled by 0.62."
    )
    assert worse.endswith(
        " Earlier nights went worse than forecast: the chance is scaled by 1.30."
    )
    for scale in (0.92, 1.0, 1.09):
        assert "Earlier nights" not in _night(0.016, 0.016, scale=scale).sentence
    assert "Earlier nights" not in _night(0.0, 0.0, scale=0.5).sentence
