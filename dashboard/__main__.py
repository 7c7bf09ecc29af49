"""Runs the server of the pages so that it asks no address elsewhere.

To judge a request that another site sent, the server would ask a service on the internet for this machine's outer
address, and it would list that address at the start. Neither is needed: names that may be used are given, see `serve`.
"""

import sys

from streamlit import net_util
from streamlit.web.cli import main

from dashboard import warming


def _unknown() -> None:
    """Return no address."""


net_util.get_external_ip = _unknown
net_util.get_internal_ip = _unknown

if __name__ == "__main__":
    if sys.argv[1:2] == ["run"]:
        warming.start()
    main(prog_name="streamlit")
