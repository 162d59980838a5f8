"""Faults that let a query see every program: each condition on the program left out, and each
relation of one program replaced by all rows of its model."""

import re
from collections.abc import Iterator

import libcst as cst

_PROGRAM = re.compile(r"(^|.*__)program(_id|__slug)?")
_ASKING = frozenset(
    {
        "aggregate",
        "all",
        "count",
        "defer",
        "exclude",
        "exists",
        "filter",
        "get",
        "order_by",
        "select_related",
        "values_list",
    }
)
_ASKING_FUNCTIONS = frozenset({"get_object_or_404", "Q"})
_RELATIONS = frozenset(
    {
        "checklist",
        "events",
        "exact_downloads",
        "fits",
        "imports",
        "invitations",
        "memberships",
        "power_studies",
        "protocols",
        "publications",
        "routes",
        "runs",
    }
)


def _drop_condition(node: cst.Call) -> Iterator[cst.Call]:
    if not _asks(node.func):
        return
    for place, argument in enumerate(node.args):
        if argument.keyword is not None and _PROGRAM.fullmatch(argument.keyword.value):
            yield node.with_changes(args=[*node.args[:place], *node.args[place + 1 :]])


def _asks(function: cst.BaseExpression) -> bool:
    match function:
        case cst.Attribute(attr=cst.Name(value=name)):
            return name in _ASKING
        case cst.Name(value=name):
            return name in _ASKING_FUNCTIONS
    return False


def _of_every_program(node: cst.Attribute | cst.Arg) -> Iterator[cst.CSTNode]:
    """`member.program.routes.get` → `type(member.program).routes…`, whose manager has all."""
    if isinstance(node, cst.Attribute) and node.attr.value not in _ASKING:
        return
    match node.value:
        case cst.Attribute(value=program, attr=cst.Name(value=relation)) if (
            relation in _RELATIONS and _is_program(program)
        ):
            of_all = cst.parse_expression(f"type(x).{relation}.rel.related_model._default_manager")
            yield node.with_changes(value=of_all.deep_replace(_x_in(of_all), program))


def _is_program(node: cst.BaseExpression) -> bool:
    match node:
        case cst.Name(value="program") | cst.Attribute(attr=cst.Name(value="program")):
            return True
    return False


def _x_in(tree: cst.BaseExpression) -> cst.Name:
    node: cst.CSTNode = tree
    while isinstance(node, cst.Attribute):
        node = node.value
    return cst.ensure_type(cst.ensure_type(node, cst.Call).args[0].value, cst.Name)


SCOPES = [(cst.Call, _drop_condition), ((cst.Attribute, cst.Arg), _of_every_program)]
