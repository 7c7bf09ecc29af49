"""Files that pages offer: made when they are asked for, and only for who may still have them by then."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboard.people import still

if TYPE_CHECKING:
    from collections.abc import Callable


def download_button(label: str, data: Callable[[], bytes | str] | bytes | str, *rest: Any, **options: Any) -> None:
    """Write Streamlit's button of that name; a maker of a file asks again who is here, since pages are left open."""
    st.download_button(label, still(data) if callable(data) else data, *rest, **options)
