-- The ways in which readings were taken, and with the shop or technician behind them.
select way as name from fit_input_readings
union
select way || ': ' || shop from fit_input_readings where shop <> ''
union
select way || ': ' || technician from fit_input_readings where technician <> ''
order by name
