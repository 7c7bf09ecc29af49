create or replace temp table checked as from kept_readings
