"""Whether a server answers 200: python deploy/lib/answers.py URL [CHECK]

With CHECK: whether the JSON of /readyz says that this one of its checks is fine, whatever the
others are. Ends with status 1 if not. The health checks of containers have no curl.
"""

import json
import sys
from urllib.error import HTTPError
from urllib.request import urlopen


def answers(url: str, check: str | None = None) -> bool:
    try:
        with urlopen(url, timeout=5) as response:  # noqa: S310 - named by who calls this
            body = response.read()
    except HTTPError as error:
        if check is None:
            return False
        body = error.read()
    except OSError:
        return False
    return check is None or json.loads(body).get(check) == "ok"


if __name__ == "__main__":
    sys.exit(0 if answers(*sys.argv[1:]) else 1)
