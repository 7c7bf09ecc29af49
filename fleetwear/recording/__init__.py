"""A visit recorded in the bay: what is on record, drafts, what is said at once, and handing over."""

from fleetwear.recording.drafts import Draft, Drafts
from fleetwear.recording.handing_over import Recorded, record_draft, record_visit
from fleetwear.recording.joint_list import BayJoint, BaySeries, answer_reading, list_joints
from fleetwear.recording.odometer import OdometerDoubt, check_odometer, running_km
from fleetwear.recording.on_record import BayRecord, limit_of, opened, read_bay
from fleetwear.recording.visit import JointReading, JointWork, Untested, Visit, hand_over_tables, untested

__all__ = [
    "BayJoint",
    "BayRecord",
    "BaySeries",
    "Draft",
    "Drafts",
    "JointReading",
    "JointWork",
    "OdometerDoubt",
    "Recorded",
    "Untested",
    "Visit",
    "answer_reading",
    "check_odometer",
    "hand_over_tables",
    "limit_of",
    "list_joints",
    "opened",
    "read_bay",
    "record_draft",
    "record_visit",
    "running_km",
    "untested",
]
