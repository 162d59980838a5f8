"""Make the template that the databases of test runs are copies of, where it is missing.

`deploy/test` does so beside its checks, so that no process of the run waits for another to make it.
"""

import django

from tests.support.databases import database_of_this_run

django.setup()
with database_of_this_run():
    pass
