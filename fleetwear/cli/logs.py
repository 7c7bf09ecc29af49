"""Where log lines go: standard error, as lines to read or as JSON; without either only warnings are shown."""

from __future__ import annotations

import json
import logging
import os
import sys
from datetime import UTC, datetime
from enum import StrEnum

from fleetwear.store.runs import LOG

LOG_VARIABLE = "FLEETWEAR_LOG"


class LogForm(StrEnum):
    """How log lines look."""

    TEXT = "text"
    JSON = "json"


class _JsonLines(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        said = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "message": record.getMessage(),
            **getattr(record, "fields", {}),
        }
        return json.dumps(said, ensure_ascii=False, default=str)


class _Standard(logging.StreamHandler):  # type: ignore[type-arg]
    """Writes to what standard error is at the time."""

    def __init__(self, form: LogForm | None) -> None:
        super().__init__(sys.stderr)
        self.form = form
        plain = logging.Formatter("%(asctime)s %(levelname)s %(message)s", "%Y-%m-%d %H:%M:%S")
        self.setFormatter(_JsonLines() if form is LogForm.JSON else plain)


def begin(form: LogForm | None) -> None:
    """Send log lines to standard error; form None, and no FLEETWEAR_LOG, means warnings alone.

    Raises
    ------
    ValueError
        If FLEETWEAR_LOG is another word.
    """
    end()
    named = os.environ.get(LOG_VARIABLE, "").strip().lower()
    chosen = form or (LogForm(named) if named else None)
    LOG.addHandler(_Standard(chosen))
    LOG.setLevel(logging.WARNING if chosen is None else logging.INFO)
    LOG.propagate = False


def end() -> None:
    """Send log lines nowhere of our own any more."""
    for handler in [handler for handler in LOG.handlers if isinstance(handler, _Standard)]:
        LOG.removeHandler(handler)
    LOG.propagate = True
    LOG.setLevel(logging.NOTSET)


def is_json() -> bool:
    """Return whether everything on standard error is to be JSON lines."""
    return any(isinstance(handler, _Standard) and handler.form is LogForm.JSON for handler in LOG.handlers)
