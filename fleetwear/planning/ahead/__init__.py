"""The weeks ahead: who is in and crosses when, parts, bay hours, what to do together, when to check next."""

from fleetwear.planning.ahead.plan import Plan, make_plan, read_material
from fleetwear.planning.ahead.settings import PlanSettings

__all__ = ["Plan", "PlanSettings", "make_plan", "read_material"]
