import threading

import pytest

from doe.model.patience import Interrupted, checkpoint, interruptible


def test_without_anyone_to_give_up_a_checkpoint_does_nothing():
    checkpoint()


def test_work_stops_at_the_first_checkpoint_after_its_caller_gave_up():
    answers = iter([False, False, True])
    done = []
    with pytest.raises(Interrupted), interruptible(lambda: next(answers)):
        for step in range(10):
            checkpoint()
            done.append(step)
    assert done == [0, 1]
    checkpoint()  # nothing is left of it afterwards


def test_other_threads_are_not_concerned():
    """Two people may have work under way in one process; giving up one leaves the other alone."""
    with interruptible(lambda: True):
        other = threading.Thread(target=checkpoint)
        found = []
        threading.excepthook, kept = lambda args: found.append(args), threading.excepthook
        try:
            other.start()
            other.join()
        finally:
            threading.excepthook = kept
    assert not found


def test_an_inner_wish_holds_inside_only():
    with interruptible(lambda: False):
        with pytest.raises(Interrupted), interruptible(lambda: True):
            checkpoint()
        checkpoint()
