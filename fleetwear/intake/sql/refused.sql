select n, reasons
from checked
where len(reasons) > 0
order by n
