select scope, bin, p_from, p_to, n, mean_forecast, events, observed, lower, upper
from backtest_calibration
where backtest_id = $backtest_id
order by scope, bin
