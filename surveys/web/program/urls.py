from django.urls import URLPattern, path

from surveys.web.program import (
    area_views as program_area,
)
from surveys.web.program import (
    assignment_views as program_assignments,
)
from surveys.web.program import (
    checklist_views as program_checklist,
)
from surveys.web.program import (
    history_views as program_history,
)
from surveys.web.program import (
    line_views as program_lines,
)
from surveys.web.program import (
    own_field_views as program_own_fields,
)
from surveys.web.program import (
    own_species_views as program_own_species,
)
from surveys.web.program import (
    plan_views as program_plan,
)
from surveys.web.program import (
    proposal_views as program_proposals,
)
from surveys.web.program import (
    protocol_views as program_protocols,
)
from surveys.web.program import (
    region_views as program_regions,
)
from surveys.web.program import (
    route_views as program_routes,
)
from surveys.web.program import (
    stop_views as program_stops,
)
from surveys.web.program import (
    strata_views as program_strata,
)
from surveys.web.program import (
    views as program,
)

AT = "<slug:program>/program/"

urlpatterns: list[URLPattern] = [
    path(AT, program.overview, name="program"),
    path(AT + "facts", program.facts, name="program_facts"),
    path(AT + "history", program_history.program_history, name="program_history"),
    path(
        AT + "history/<slug:subject>/<int:event>/undo",
        program_history.undo_entry,
        name="program_undo",
    ),
    # Assignments
    path(AT + "assignments", program_assignments.assignments, name="program_assignments"),
    path(AT + "assignments/repeat", program_assignments.repeat, name="program_repeat"),
    path(
        AT + "assignments/<int:assignment>/unassign",
        program_assignments.unassign,
        name="program_unassign",
    ),
    path(AT + "assignments/taking", program_plan.taking, name="program_taking"),
    path(AT + "assignments/routes/<int:route>", program_plan.route_plan, name="program_route_plan"),
    path(
        AT + "assignments/substitutes/<int:substitute>/drop",
        program_plan.drop_substitute,
        name="program_substitute_drop",
    ),
    path(
        AT + "assignments/requests/<int:plan_request>",
        program_plan.answer_request,
        name="program_request_answer",
    ),
    # Routes and stops
    path(AT + "routes", program_routes.routes, name="program_routes"),
    path(AT + "routes/add", program_routes.add, name="program_route_add"),
    path(AT + "area", program_area.area, name="program_area"),
    path(AT + "regions", program_regions.weights, name="program_regions"),
    path(AT + "strata", program_strata.strata, name="program_strata"),
    path(AT + "routes/<int:route>", program_routes.route, name="program_route"),
    path(AT + "routes/<int:route>/edit", program_routes.edit, name="program_route_edit"),
    path(AT + "routes/<int:route>/line", program_lines.edit, name="program_route_line"),
    path(
        AT + "routes/<int:route>/stops/propose",
        program_proposals.propose,
        name="program_stops_propose",
    ),
    path(AT + "routes/<int:route>/stops/add", program_stops.add, name="program_stop_add"),
    path(AT + "stops/<int:stop>", program_stops.edit, name="program_stop"),
    path(AT + "stops/<int:stop>/close", program_stops.close, name="program_stop_close"),
    path(AT + "stops/<int:stop>/correct", program_stops.correct, name="program_stop_correct"),
    path(AT + "stops/<int:stop>/move", program_stops.move, name="program_stop_move"),
    # Protocols
    path(AT + "protocols", program_protocols.protocols, name="program_protocols"),
    path(AT + "protocols/compare", program_protocols.compare, name="program_versions_compared"),
    path(AT + "protocols/begin", program_protocols.begin, name="program_protocol_begin"),
    path(AT + "protocols/add", program_protocols.add, name="program_protocol_add"),
    path(
        AT + "protocols/versions/<int:version>",
        program_protocols.version,
        name="program_version",
    ),
    path(
        AT + "protocols/versions/<int:version>/edit",
        program_protocols.edit,
        name="program_version_edit",
    ),
    path(
        AT + "protocols/versions/<int:version>/next",
        program_protocols.following,
        name="program_version_next",
    ),
    # Checklist
    path(AT + "checklist", program_checklist.checklist, name="program_checklist"),
    path(AT + "checklist/search", program_checklist.search, name="program_species_search"),
    path(AT + "checklist/table", program_checklist.table, name="program_checklist_table"),
    path(
        AT + "checklist/add/<slug:species>",
        program_checklist.add,
        name="program_species_add",
    ),
    path(
        AT + "checklist/own-species/add",
        program_own_species.add,
        name="program_own_species_add",
    ),
    path(
        AT + "checklist/own-species/<slug:own_species>",
        program_own_species.edit,
        name="program_own_species",
    ),
    path(
        AT + "checklist/own-species/<slug:own_species>/delete",
        program_own_species.delete,
        name="program_own_species_delete",
    ),
    path(AT + "checklist/<int:entry>", program_checklist.entry, name="program_entry"),
    path(
        AT + "checklist/<int:entry>/take-off",
        program_checklist.take_off,
        name="program_entry_take_off",
    ),
    path(
        AT + "checklist/<int:entry>/move",
        program_checklist.move,
        name="program_entry_move",
    ),
    # Own fields
    path(AT + "fields", program_own_fields.own_fields, name="program_own_fields"),
    path(AT + "fields/add", program_own_fields.add, name="program_own_field_add"),
    path(AT + "fields/<int:own_field>", program_own_fields.own_field, name="program_own_field"),
    path(
        AT + "fields/<int:own_field>/delete",
        program_own_fields.delete,
        name="program_own_field_delete",
    ),
    path(
        AT + "fields/<int:own_field>/move",
        program_own_fields.move,
        name="program_own_field_move",
    ),
]
