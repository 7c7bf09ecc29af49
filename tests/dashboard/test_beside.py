"""The process beside the server: it answers as the asked function does, and outlives what goes wrong."""

from __future__ import annotations

import os
import signal
import threading
from contextlib import closing

import pytest

from dashboard import beside
from dashboard.beside import Beside
from fleetwear.errors import StoreError
from fleetwear.store import open_snapshot
from fleetwear.units import factor


@pytest.fixture
def process():
    it = Beside()
    yield it
    it.end()


def test_pages_without_a_server_make_answers_themselves():
    assert beside.ask(os.getpid) == os.getpid()


def test_answers_and_errors_are_those_of_the_function(process, tmp_path):
    assert process.ask(factor, "mi", "km") == factor("mi", "km")
    with pytest.raises(StoreError) as here:
        open_snapshot(tmp_path)
    with pytest.raises(StoreError) as there:
        process.ask(open_snapshot, tmp_path)
    assert str(there.value) == str(here.value)
    assert (there.value.where, there.value.mend) == (here.value.where, here.value.mend) != ("", "")


def test_one_process_answers_all_in_turn(process):
    seen: list[int] = []
    threads = [threading.Thread(target=lambda: seen.append(process.ask(os.getpid))) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(seen) == 8
    assert set(seen) == {process.ask(os.getpid)} != {os.getpid()}


def test_what_is_printed_or_cannot_be_sent_leaves_the_next_answer_whole(process):
    assert process.ask(print, "not an answer") is None
    with pytest.raises(TypeError, match="pickle"):
        process.ask(threading.Lock)
    assert process.ask(sum, [1, 2]) == 3


def test_another_process_follows_one_that_was_ended(process, caplog):
    first = process.ask(os.getpid)
    os.kill(first, signal.SIGKILL)
    assert process.ask(os.getpid) != first
    assert "another one is begun" in caplog.text
    with pytest.raises(EOFError):
        process.ask(os._exit, 3)
    assert process.ask(sum, [1, 2]) == 3


def test_it_ends_with_its_input(process):
    process.ask(os.getpid)
    with closing(process._process.stdin):
        pass
    assert process._process.wait(timeout=20) == 0
