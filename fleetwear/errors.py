"""The errors that fleetwear raises, and the warnings that it gives.

::

    FleetwearError
    ├── InputError        a value, file or argument that cannot be taken as it is
    │   └── UnitError     a unit that is not on the list
    ├── StoreError        the store cannot be opened, locked, read or published
    │   └── StoreBusyError  another process has it for too long
    └── FitError          a model cannot be fitted to these readings

    DoubtfulFitWarning    a fit that ended on a boundary or did not converge

Every message says what is wrong (with the value), where, and how to mend it; the same three facts
are attributes.
"""

from __future__ import annotations


class FleetwearError(Exception):
    """An error with what is wrong, where it is, and how to mend it."""

    def __init__(self, what: str, *, where: str = "", mend: str = "") -> None:
        self.what = what
        self.where = where
        self.mend = mend
        located = f"{where}: {what}" if where else what
        super().__init__(f"{located.rstrip('.')}. {mend}" if mend else located)


class InputError(FleetwearError):
    """A value, file or argument that cannot be taken as it is."""


class UnitError(InputError):
    """A unit that is not on the list of units for its quantity."""


class StoreError(FleetwearError):
    """The store cannot be opened, locked, read or published."""


class StoreBusyError(StoreError):
    """Another process has had the store open for too long."""


class FitError(FleetwearError):
    """A model cannot be fitted to these readings."""


class DoubtfulFitWarning(UserWarning):
    """A fit that ended on a boundary or did not converge; its results say the same in a field."""
