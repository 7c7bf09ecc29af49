-- Not written, as keep_readings.sql does: what it is put together from is read fast.
create temp view checked as from kept_readings
