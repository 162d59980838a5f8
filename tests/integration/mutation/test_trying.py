"""Which tests share the database that mutants are tried on."""

from tests.mutation.trying import uses_database


def test_a_database_that_only_a_fixture_asks_for_is_shared_too(program, request):
    """Else trials would write into the database of the site: no test here has the marker."""
    assert request.node.get_closest_marker("django_db") is None
    assert uses_database(request.node)
