"""It is 20 April 2025, by day, in every test of the plan."""

import pytest
from django.utils import timezone

from tests.support.season_plan import NOW, Plan, make_plan


@pytest.fixture(autouse=True)
def _now(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)


@pytest.fixture
def plan(program) -> Plan:
    return make_plan(program)
