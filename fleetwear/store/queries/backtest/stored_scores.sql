select forecaster, scope, measure, value, n
from backtest_scores
where backtest_id = $backtest_id
order by scope, measure, forecaster
