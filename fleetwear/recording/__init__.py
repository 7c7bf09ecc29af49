"""A visit recorded in the bay: what is on record, drafts, the odometer asked about, and handing over."""

from fleetwear.recording.drafts import Draft, Drafts
from fleetwear.recording.handing_over import Recorded, record_draft, record_visit
from fleetwear.recording.odometer import OdometerDoubt, check_odometer, running_km
from fleetwear.recording.on_record import BayRecord, limit_of, opened, read_bay
from fleetwear.recording.visit import JointReading, Untested, Visit, hand_over_tables, untested

__all__ = [
    "BayRecord",
    "Draft",
    "Drafts",
    "JointReading",
    "OdometerDoubt",
    "Recorded",
    "Untested",
    "Visit",
    "check_odometer",
    "hand_over_tables",
    "limit_of",
    "opened",
    "read_bay",
    "record_draft",
    "record_visit",
    "running_km",
    "untested",
]
