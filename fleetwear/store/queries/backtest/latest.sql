-- A backtest by its number, or the latest.
select backtest_id, made_at, version, settings, elapsed_seconds
from backtests
where $backtest_id is null or backtest_id = $backtest_id
order by backtest_id desc
limit 1
