"""The fields of a draft as widgets: kept on the disk whenever one is completed, and filled from there."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

import streamlit as st

from fleetwear.recording import Drafts

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from fleetwear.recording import Draft


_LARGEST = 1e6
"""In any unit of play: a metre, in the smallest."""


def now() -> datetime:
    """Return the moment, in UTC."""
    return datetime.now(UTC).replace(tzinfo=None)


class Fields:
    """The fields of one draft, in one session; making it takes over what was changed here, and elsewhere."""

    def __init__(self, folder: Path, draft: str) -> None:
        self._prefix = f"{draft}:"
        seen_key = f"seen {draft}"
        drafts = Drafts(folder)
        self.draft: Draft = drafts.read(draft)
        seen = st.session_state.get(seen_key, self.draft.fields)
        here = {
            str(key).removeprefix(self._prefix): _plain(value)
            for key, value in st.session_state.items()
            if str(key).startswith(self._prefix)
        }
        changed = {name: value for name, value in here.items() if value != seen.get(name)}
        if changed:
            self.draft = drafts.change(draft, changed, now=now())
        for name, value in here.items():
            if value != self.draft.fields.get(name):  # another tablet was here since
                del st.session_state[self._prefix + name]
        st.session_state[seen_key] = dict(self.draft.fields)
        self.values: dict[str, Any] = dict(self.draft.fields)

    def _key(self, name: str, *, default: Any = None, read: Callable[[Any], Any] | None = None) -> str:
        """Return a widget's key, with the field's value, or else a default, in place.

        A value that stands there already is left alone: setting it again would undo what is being typed.
        """
        key = self._prefix + name
        if key not in st.session_state:
            value = self.values.get(name)
            st.session_state[key] = default if value is None else (read(value) if read else value)
        return key

    def _took(self, name: str, value: Any) -> Any:
        self.values[name] = _plain(value)
        return value

    def text(self, name: str, label: str, **options: Any) -> None:
        """Write a line of text."""
        self._took(name, st.text_input(label, key=self._key(name, default=""), **options))

    def long_text(self, name: str, label: str, **options: Any) -> None:
        """Write a box of text."""
        self._took(name, st.text_area(label, key=self._key(name, default=""), **options))

    def whole(self, name: str, label: str, **options: Any) -> None:
        """Write a whole number."""
        key = self._key(name, read=int)
        self._took(name, st.number_input(label, min_value=0, step=1, key=key, value=None, **options))

    def number(self, name: str, label: str, **options: Any) -> None:
        """Write a number that may have decimals, of a size that can be reckoned with."""
        key = self._key(name, read=float)
        value = st.number_input(label, min_value=0.0, max_value=_LARGEST, format="%.6g", key=key, value=None, **options)
        self._took(name, value)

    def day(self, name: str, label: str, default: date, **options: Any) -> None:
        """Write a day that is not later than the default, or one that stands there since the clock was set back."""
        key = self._key(name, default=default, read=date.fromisoformat)
        latest = max(default, st.session_state[key] or default)
        self._took(name, st.date_input(label, key=key, max_value=latest, format="YYYY-MM-DD", **options))

    def choice(
        self, name: str, label: str, options: Sequence[str], *, default: str | None = None, **more: Any
    ) -> str | None:
        """Write a list to choose from; with ``accept_new_options`` also to write into."""
        key = self._key(name, default=default)
        value = st.session_state[key]
        listed = [*options, value] if value is not None and value not in options else list(options)
        chosen: str | None = st.selectbox(label, listed, key=key, index=None, **more)
        self._took(name, chosen)
        return chosen

    def one_of(
        self, name: str, label: str, options: Sequence[str], *, default: str | None = None, **more: Any
    ) -> str | None:
        """Write a row of words of which one, or none, is chosen."""
        key = self._key(name, default=default)
        if st.session_state[key] is not None and st.session_state[key] not in options:
            options = [*options, st.session_state[key]]
        chosen: str | None = st.pills(label, options, key=key, **more)
        self._took(name, chosen)
        return chosen

    def some_of(self, name: str, label: str, options: Sequence[str], **more: Any) -> list[str]:
        """Write a row of words of which any are chosen."""
        chosen = st.pills(label, options, key=self._key(name, default=[]), selection_mode="multi", **more)
        self._took(name, chosen)
        return list(chosen)

    def tick(self, name: str, label: str) -> bool:
        """Write a box to confirm something."""
        return bool(self._took(name, st.checkbox(label, key=self._key(name, default=False))))

    def put(self, folder: Path, **changes: Any) -> None:
        """Change fields that have no widget."""
        self.draft = Drafts(folder).change(self.draft.draft, changes, now=now())
        st.session_state[f"seen {self.draft.draft}"] = dict(self.draft.fields)
        self.values |= changes


def _plain(value: Any) -> Any:
    """Return a widget's value as a draft holds it; what says nothing is None."""
    if isinstance(value, date):
        return value.isoformat()
    if value is False or value in ("", [], ()):
        return None
    return value
