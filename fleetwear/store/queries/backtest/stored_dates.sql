select
    as_of,
    n_cases,
    n_events,
    n_repeats,
    n_replaced,
    n_replaced_flagged,
    n_waiting,
    n_without_model,
    skipped
from backtest_dates
where backtest_id = $backtest_id
order by as_of
