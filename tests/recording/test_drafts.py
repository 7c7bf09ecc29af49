"""Drafts: on the disk after every change, merged, closed once, never lost."""

from __future__ import annotations

import json
import threading
from datetime import datetime

import pytest

from fleetwear.errors import InputError, StoreError
from fleetwear.recording import Drafts

NOW = datetime(2026, 11, 20, 9, 30)
LATER = datetime(2026, 11, 20, 9, 31)


@pytest.fixture
def drafts(tmp_path):
    return Drafts(tmp_path)


def test_a_draft_is_found_again_elsewhere(drafts):
    draft = drafts.begin({"unit": "A1"}, now=NOW)
    drafts.change(draft.draft, {"odometer": 120000, "joint:1": ["0.42"]}, now=LATER)
    elsewhere = Drafts(drafts.store_folder).read(draft.draft)
    assert elsewhere.fields == {"unit": "A1", "odometer": 120000, "joint:1": ["0.42"]}
    assert (elsewhere.state, elsewhere.saved_at) == ("open", "2026-11-20T09:31:00.000")


def test_two_tablets_lose_nothing_of_each_other(drafts):
    draft = drafts.begin({}, now=NOW).draft
    threads = [
        threading.Thread(target=drafts.change, args=(draft, {f"field{i}": i}), kwargs={"now": NOW}) for i in range(20)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert drafts.read(draft).fields == {f"field{i}": i for i in range(20)}
    assert [file.name for file in drafts.folder.glob(".*unfinished")] == []


def test_a_field_can_be_emptied(drafts):
    draft = drafts.begin({"note": "x", "unit": "A1"}, now=NOW).draft
    assert drafts.change(draft, {"note": None}, now=LATER).fields == {"unit": "A1"}


def test_a_frozen_draft_hands_over_what_it_was_frozen_with(drafts):
    draft = drafts.begin({"unit": "A1"}, now=NOW).draft
    assert drafts.freeze(draft, "first", now=NOW) == "first"
    assert drafts.freeze(draft, "second", now=NOW) == "first"
    assert drafts.change(draft, {"unit": "A2"}, now=LATER).fields == {"unit": "A1"}
    assert drafts.read(draft).state == "handing over"


def test_cut_off_between_freezing_and_closing_the_text_stands(drafts):
    """The frozen text is written before the state: a draft that was cut off in between hands that text over."""
    draft = drafts.begin({"unit": "A1"}, now=NOW).draft
    drafts.frozen_file(draft).write_text("first")
    assert drafts.freeze(draft, "second", now=NOW) == "first"


def test_a_recorded_draft_stays_as_it_is_and_leaves_the_list(drafts):
    draft = drafts.begin({"unit": "A1"}, now=NOW).draft
    drafts.freeze(draft, "text", now=NOW)
    assert drafts.close(draft, {"entry": "e1"}, now=LATER).told == {"entry": "e1"}
    assert drafts.close(draft, {"entry": "e2"}, now=LATER).told == {"entry": "e1"}
    assert drafts.waiting() == ([], [])
    assert drafts.read(draft).fields == {"unit": "A1"}


def test_a_draft_set_aside_is_still_listed_and_can_be_taken_up(drafts):
    draft = drafts.begin({"unit": "A1"}, now=NOW).draft
    assert drafts.set_aside(draft, aside=True, now=NOW).state == "set aside"
    with pytest.raises(InputError, match="was set aside"):
        drafts.freeze(draft, "text", now=NOW)
    assert [one.draft for one in drafts.waiting()[0]] == [draft]
    assert drafts.set_aside(draft, aside=False, now=NOW).state == "open"


def test_the_latest_comes_first_and_damage_is_named_and_left(drafts):
    first = drafts.begin({"unit": "A1"}, now=NOW).draft
    second = drafts.begin({"unit": "A2"}, now=LATER).draft
    broken = drafts.folder / "abcdef0123.json"
    broken.write_text('{"draft": ')
    found, damaged = drafts.waiting()
    assert [one.draft for one in found] == [second, first]
    assert damaged == ["abcdef0123.json"]
    assert broken.read_text() == '{"draft": '
    with pytest.raises(InputError, match="cannot be read"):
        drafts.read("abcdef0123")


@pytest.mark.parametrize("draft", ["../../etc", "", "a", "ABCDEFGH", "a/b/c/d/e/f"])
def test_an_id_cannot_leave_the_folder(drafts, draft):
    with pytest.raises(InputError, match="is not the id of a draft"):
        drafts.read(draft)


def test_an_unknown_draft_is_told(drafts):
    with pytest.raises(InputError, match="there is no draft 'abcdefgh'"):
        drafts.read("abcdefgh")


def test_a_folder_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / "drafts").write_text("a file in its place")
    with pytest.raises(StoreError, match="the draft cannot be kept"):
        Drafts(tmp_path).begin({}, now=NOW)


def test_a_draft_is_plain_json_that_people_can_read(drafts):
    draft = drafts.begin({"note": "Knacken über der Rampe"}, now=NOW)
    said = json.loads((drafts.folder / f"{draft.draft}.json").read_text(encoding="utf-8"))
    assert said["fields"] == {"note": "Knacken über der Rampe"}
