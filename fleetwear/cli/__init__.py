"""The command line: parse, call one function, print. Data go to standard output, talk to standard error.

Exit codes: 0 done; 1 it could not be done, and the message says why; 2 the command was not understood.
"""

from fleetwear.cli import (
    analysing,
    consistency,
    correcting,
    forecasting,
    keeping,
    limits,
    loading,
    past_one_machine,
    planning_ahead,
    reading_out,
    serving,
    taking_away,
)
from fleetwear.cli.program import app, main

__all__ = [
    "analysing",
    "app",
    "consistency",
    "correcting",
    "forecasting",
    "keeping",
    "limits",
    "loading",
    "main",
    "past_one_machine",
    "planning_ahead",
    "reading_out",
    "serving",
    "taking_away",
]
