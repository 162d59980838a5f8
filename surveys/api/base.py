"""The base class of the API's views."""

from __future__ import annotations

import re
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponseBase
from rest_framework.exceptions import ValidationError
from rest_framework.generics import GenericAPIView
from rest_framework.pagination import LimitOffsetPagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer, Serializer

from accounts.access import Permission
from accounts.models import (
    AccessToken,
    Membership,
)
from surveys.api.throttling import add_rate_limit_headers
from surveys.language import gettext, said
from surveys.models import (
    Program,
    Route,
)

_REVISION = re.compile(r'(?:W/)?"?([0-9]{1,9})"?')


class Paging(LimitOffsetPagination):
    max_limit = 500


class ProgramView(GenericAPIView):
    """A view below `<program>/`. IsProgramMember has set the membership on the request.

    `permission` is what a request needs; a view that both reads and writes overrides it. A GET
    with a filter that the view does not know is refused: its answer would look filtered.
    """

    permission: Permission
    queryset: QuerySet = Program.objects.none()
    pagination_class: type[Paging] | None = None
    # What may stand in the query string of a GET, beside the page.
    filter_serializer: type[Serializer] | None = None

    @property
    def member(self) -> Membership:
        return self.request.membership

    @property
    def program(self) -> Program:
        return self.member.program

    @property
    def token(self) -> AccessToken | None:
        return self.request.auth

    def finalize_response(
        self, request: Request, response: HttpResponseBase, *args: Any, **kwargs: Any
    ) -> HttpResponseBase:
        add_rate_limit_headers(request, response)
        return super().finalize_response(request, response, *args, **kwargs)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if request.method in ("GET", "HEAD"):
            self._check_filter_names()

    def filters(self) -> dict[str, Any]:
        """The query string, read by `filter_serializer`."""
        assert self.filter_serializer is not None
        return self._valid(self.filter_serializer, self.request.query_params)

    def _check_filter_names(self) -> None:
        """Raises ValidationError for the first name in the query string that is no filter here."""
        known = list(self.filter_serializer().fields) if self.filter_serializer else []
        if self.pagination_class:
            known += [Paging.limit_query_param, Paging.offset_query_param]
        for name in self.request.query_params:
            if name not in known:
                raise ValidationError({name: _unknown_filter(name, known)})

    def body(self, serializer: type[BaseSerializer]) -> dict[str, Any]:
        return self._valid(serializer, self.request.data)

    def paged(self, rows: QuerySet, serializer: type[BaseSerializer]) -> Response:
        page = self.paginate_queryset(rows)
        return self.get_paginated_response(
            serializer(page, many=True, context={"member": self.member}).data
        )

    def route(self, code: str, field: str = "route") -> Route:
        """A route of the program. Raises ValidationError for `field`."""
        route = self.program.routes.filter(code=code).first()
        if route is None:
            raise ValidationError(
                {field: said("There is no route {code} in this program.", code=code)}
            )
        return route

    def revision(self) -> int:
        """The revision in `If-Match`. Raises ValidationError when it is missing."""
        revision = self.revision_or_none()
        if revision is None:
            raise ValidationError(
                {"If-Match": gettext('Send the revision you looked at, such as If-Match: "3".')}
            )
        return revision

    def revision_or_none(self) -> int | None:
        header = self.request.headers.get("If-Match", "").strip()
        if not header:
            return None
        match = _REVISION.fullmatch(header)
        if match is None:
            raise ValidationError(
                {"If-Match": gettext('Write the revision in quotes: If-Match: "3".')}
            )
        return int(match[1])

    def _valid(self, serializer: type[BaseSerializer], data: Any) -> dict[str, Any]:
        bound = serializer(data=data)
        bound.is_valid(raise_exception=True)
        return bound.validated_data


def _unknown_filter(name: str, known: list[str]) -> str:
    if not known:
        return said("There is no filter “{name}” here: this address takes none.", name=name)
    return said(
        "There is no filter “{name}” here. There are: {known}.", name=name, known=", ".join(known)
    )
