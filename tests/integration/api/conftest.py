"""A small client for the API: JSON in and out, below one program."""

import json
from dataclasses import dataclass
from typing import Any

import pytest
from django.test import Client

from accounts.models import Membership


@dataclass(frozen=True, kw_only=True)
class Answer:
    status: int
    data: Any
    headers: Any


@dataclass(frozen=True, kw_only=True)
class Api:
    member: Membership
    client: Client

    def __call__(
        self, method: str, path: str, data: Any = None, *, revision: int | None = None
    ) -> Answer:
        headers = {} if revision is None else {"If-Match": f'"{revision}"'}
        response = self.client.generic(
            method,
            f"/api/v1/{self.member.program.slug}/{path}",
            data="" if data is None else json.dumps(data),
            content_type="application/json",
            headers=headers,
        )
        body = response.json() if response.content else None
        return Answer(status=response.status_code, data=body, headers=response.headers)

    def get(self, path: str) -> Any:
        answer = self("GET", path)
        assert answer.status == 200, answer.data
        return answer.data


@pytest.fixture
def api_for(client_for):
    def make(member: Membership) -> Api:
        return Api(member=member, client=client_for(member))

    return make
