from django.urls import URLPattern, path

from surveys.web.views import (
    programme,
    programme_assignments,
    programme_checklist,
    programme_lines,
    programme_protocols,
    programme_routes,
    programme_stops,
)

AT = "<slug:programme>/programme/"

urlpatterns: list[URLPattern] = [
    path(AT, programme.overview, name="programme"),
    path(AT + "facts", programme.facts, name="programme_facts"),
    # Assignments
    path(AT + "assignments", programme_assignments.assignments, name="programme_assignments"),
    path(AT + "assignments/repeat", programme_assignments.repeat, name="programme_repeat"),
    path(
        AT + "assignments/<int:assignment>/unassign",
        programme_assignments.unassign,
        name="programme_unassign",
    ),
    # Routes and stops
    path(AT + "routes", programme_routes.routes, name="programme_routes"),
    path(AT + "routes/add", programme_routes.add, name="programme_route_add"),
    path(AT + "routes/<int:route>", programme_routes.route, name="programme_route"),
    path(AT + "routes/<int:route>/edit", programme_routes.edit, name="programme_route_edit"),
    path(AT + "routes/<int:route>/line", programme_lines.edit, name="programme_route_line"),
    path(AT + "routes/<int:route>/stops/add", programme_stops.add, name="programme_stop_add"),
    path(AT + "stops/<int:stop>", programme_stops.edit, name="programme_stop"),
    path(AT + "stops/<int:stop>/close", programme_stops.close, name="programme_stop_close"),
    path(AT + "stops/<int:stop>/move", programme_stops.move, name="programme_stop_move"),
    # Protocols
    path(AT + "protocols", programme_protocols.protocols, name="programme_protocols"),
    path(AT + "protocols/begin", programme_protocols.begin, name="programme_protocol_begin"),
    path(AT + "protocols/add", programme_protocols.add, name="programme_protocol_add"),
    path(
        AT + "protocols/versions/<int:version>",
        programme_protocols.version,
        name="programme_version",
    ),
    path(
        AT + "protocols/versions/<int:version>/edit",
        programme_protocols.edit,
        name="programme_version_edit",
    ),
    path(
        AT + "protocols/versions/<int:version>/next",
        programme_protocols.following,
        name="programme_version_next",
    ),
    # Checklist
    path(AT + "checklist", programme_checklist.checklist, name="programme_checklist"),
    path(AT + "checklist/search", programme_checklist.search, name="programme_species_search"),
    path(
        AT + "checklist/add/<slug:species>",
        programme_checklist.add,
        name="programme_species_add",
    ),
    path(AT + "checklist/<int:entry>", programme_checklist.entry, name="programme_entry"),
    path(
        AT + "checklist/<int:entry>/take-off",
        programme_checklist.take_off,
        name="programme_entry_take_off",
    ),
    path(
        AT + "checklist/<int:entry>/move",
        programme_checklist.move,
        name="programme_entry_move",
    ),
]
