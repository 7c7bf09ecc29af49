"""A few pages are written at a time; nobody is shut out."""

from __future__ import annotations

import gc
import threading
import time
import weakref

import pytest

from dashboard import turns, warming


@pytest.fixture(autouse=True)
def fresh(monkeypatch):
    monkeypatch.setattr(turns, "_turns", threading.Semaphore(2))


def run_beside(number, work):
    threads = [threading.Thread(target=work, args=(i,)) for i in range(number)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=20)
        assert not thread.is_alive()


def test_so_many_at_once_and_all_of_them_in_the_end():
    now, most, done = [], [], []

    def page(number):
        with turns.turn():
            now.append(number)
            most.append(len(now))
            time.sleep(0.02)
            now.remove(number)
        done.append(number)

    before = turns.pages_written()
    run_beside(9, page)
    assert sorted(done) == list(range(9))
    assert max(most) == 2
    assert turns.pages_written() > before


def test_who_waits_for_something_lets_others_go_and_has_no_turn_to_return_twice():
    answered = threading.Event()

    def page(number):
        with turns.turn():
            if number < 2:
                turns.give_up()
                turns.give_up()
                assert answered.wait(timeout=10), "the third page had no turn"
            else:
                answered.set()

    run_beside(3, page)
    assert turns._turns._value == 2


def test_who_has_waited_long_goes_on_and_errors_return_the_turn(monkeypatch):
    monkeypatch.setattr(turns, "_LONGEST_S", 0.05)
    with turns._turns, turns._turns:
        with pytest.raises(ZeroDivisionError), turns.turn():
            _ = 1 / 0
        assert turns._turns._value == 0, "it had no turn to give back"
    with pytest.raises(ZeroDivisionError), turns.turn():
        _ = 1 / 0
    assert turns._turns._value == 2


def test_what_refers_to_itself_is_found_though_it_was_left_out_of_searches():
    class Held:
        pass

    freed = []
    held = Held()
    held.itself = held
    finalizer = weakref.finalize(held, freed.append, 1)
    try:
        warming.settle(search=False)
        assert gc.get_freeze_count() > 0
        del held
        gc.collect()
        assert freed == []
        warming.settle()
        assert freed == [1]
    finally:
        finalizer.detach()
        gc.unfreeze()
