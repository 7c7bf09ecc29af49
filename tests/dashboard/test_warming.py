from __future__ import annotations

import pytest

from dashboard import snapshot, warming
from dashboard.tasks import next_service
from fleetwear.planning.ahead import PlanSettings
from fleetwear.store.snapshots import snapshot_number


@pytest.fixture
def ready(checked_store, monkeypatch):
    """The demo's snapshot, made ready; whoever opens it after that is told so."""
    folder, number = str(checked_store.folder), snapshot_number(checked_store.folder)
    monkeypatch.setenv("FLEETWEAR_STORE", folder)
    monkeypatch.setattr(snapshot, "current", lambda: (folder, number))
    warming.make_ready(folder, number)

    def opened(*given):
        raise AssertionError("the snapshot is read again")

    monkeypatch.setattr(snapshot, "_connection", opened)
    return folder, number


def test_what_pages_show_first_is_read_once(ready):
    folder, number = ready
    first, second = snapshot.fleet(folder, number).first_units[:2]
    assert next_service.first_page(folder, number).vehicles["unit"].head(2).tolist() == [first, second]
    assert snapshot.vehicle(folder, number, first).vehicle["unit"] == first
    assert snapshot.model_check(folder, number) is not None
    assert snapshot.learnt(folder, number) is not None
    assert len(snapshot.plan(folder, number, PlanSettings()).crossing)
    with pytest.raises(AssertionError, match="read again"):
        snapshot.vehicle(folder, number, second)


def test_a_later_snapshot_ends_the_making(checked_store, monkeypatch):
    folder, number = str(checked_store.folder), snapshot_number(checked_store.folder)
    monkeypatch.setenv("FLEETWEAR_STORE", folder)
    asked = []
    monkeypatch.setattr(snapshot, "current", lambda: (folder, number + 1))
    monkeypatch.setattr(snapshot, "model_check", lambda *given: asked.append(given))
    warming.make_ready(folder, number)
    assert asked == []
