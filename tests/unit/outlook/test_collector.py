"""The collector rests while plans are built, and is at work again afterwards."""

import gc
import threading

import pytest

from crib.outlook.collector import collector_rests


@pytest.fixture(autouse=True)
def _at_work_again():
    yield
    gc.enable()


def test_it_rests_inside_and_works_again_after_the_last_one():
    with collector_rests():
        with collector_rests():
            assert not gc.isenabled()
        assert not gc.isenabled()
    assert gc.isenabled()


def test_it_works_again_after_an_error():
    with pytest.raises(ValueError, match="no"), collector_rests():
        raise ValueError("no")
    assert gc.isenabled()


def test_one_that_rested_before_is_left_resting():
    gc.disable()
    with collector_rests():
        pass
    assert not gc.isenabled()


def test_of_two_threads_the_one_that_leaves_last_wakes_it():
    inside, leave = threading.Event(), threading.Event()

    def build():
        with collector_rests():
            inside.set()
            leave.wait(5)

    with collector_rests():
        other = threading.Thread(target=build)
        other.start()
        assert inside.wait(5)
    assert not gc.isenabled()
    leave.set()
    other.join()
    assert gc.isenabled()
