-- A corrected row describes the vehicle that the row before it did.
update checked
set vehicle_id = kept.vehicle_id, entry_vehicle_id = kept.vehicle_id
from kept_vehicle as kept
