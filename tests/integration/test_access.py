"""Who may open what: every URL × role, from one table. A URL without a row fails.

The columns are the roles: somebody who is not signed in, an observer of another
program, and the program's partner, observer and coordinator. The answers:

    in    asked to sign in (the API answers 401)
    none  404: to them it does not exist
    no    403: their role does not allow it
    ok    let in (whatever the request itself is then worth)
"""

import datetime as dt
import json
import uuid
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache

import pytest
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, get_resolver, reverse
from django.utils import timezone

from accounts.access import PERMISSIONS
from accounts.models import (
    Invitation,
    JoiningLink,
    Membership,
    Role,
    Scope,
    hash_token,
)
from accounts.tokens import make_token
from surveys.check_ins.links import link_of
from surveys.fitting.refit import refit
from surveys.importing.places import uploads as places
from surveys.importing.uploads import store
from surveys.learning import practice
from surveys.models import (
    Absence,
    Assignment,
    CallIndex,
    CallingRegion,
    Confirmation,
    Program,
    Publication,
    PublicationAudience,
    ReminderKind,
    RouteRequest,
    StoredFinding,
    Substitute,
    Visit,
    VisitState,
)
from surveys.reminders.calendars import calendar_url, renew_calendar
from surveys.reminders.stopping import stop_url
from surveys.visits.drafts import start_visit
from tests.support.builders import (
    make_accepted_visit,
    make_change,
    make_check_in,
    make_checklist,
    make_letter,
    make_member,
    make_own_field,
    make_own_species,
    make_program,
    make_route,
    make_station,
    make_study,
)
from tests.support.call_tests import make_try
from tests.support.runs import make_publishing_run
from tests.support.sounds import (
    keep,
    make_stored_picture,
    make_stored_reference,
    sound,
)

ROLES = ("anonymous", "outsider", "partner", "observer", "coordinator")

TABLE = """
    name                                 method  anonymous outsider partner observer coordinator

    web:healthz                          GET     ok    ok    ok    ok    ok
    web:security_txt                     GET     ok    ok    ok    ok    ok
    web:readyz                           GET     ok    ok    ok    ok    ok
    web:metrics                          GET     none  none  none  none  none
    web:site_status                      GET     in    none  none  none  none
    web:site_status                      POST    in    none  none  none  none
    web:program_status                   GET     in    none  no    no    ok
    web:program_status                   POST    in    none  no    no    ok
    web:theme                            POST    ok    ok    ok    ok    ok
    web:home                             GET     in    ok    ok    ok    ok
    web:guide                            GET     in    ok    ok    ok    ok
    web:guide_page                       GET     in    ok    ok    ok    ok
    web:guide_species                    GET     in    ok    ok    ok    ok
    web:guide_species_in_region          GET     in    ok    ok    ok    ok
    web:map_land                         GET     in    ok    ok    ok    ok
    web:map_own                          GET     in    none  none  none  none
    web:rule                             GET     in    ok    ok    ok    ok
    web:people_invitation                GET     ok    ok    ok    ok    ok

    web:tonight                          GET     in    none  no    ok    ok
    web:tonight_route                    GET     in    none  no    ok    ok
    web:field_sheet                      GET     in    none  no    ok    ok
    web:sheets                           GET     in    none  no    ok    ok
    web:sheet_new                        GET     in    none  no    ok    ok
    web:sheet_new                        POST    in    none  no    ok    ok
    web:sheet                            GET     in    none  no    ok    ok
    web:sheet                            POST    in    none  no    ok    none
    web:sheet_cells                      PATCH   in    none  no    ok    none
    web:sheet_submit                     POST    in    none  no    ok    none
    web:sheet_discard                    POST    in    none  no    ok    none
    web:sheet_photo                      POST    in    none  no    ok    ok
    web:sheet_recording                  POST    in    none  no    ok    ok
    web:recording                        GET     in    none  no    ok    ok
    web:recording_listen                 GET     in    none  no    ok    ok
    web:recording_picture                GET     in    none  no    ok    ok
    web:recording_waveform               GET     in    none  no    ok    ok
    web:calls                            GET     in    none  no    ok    ok
    web:hints                            GET     in    none  no    ok    ok
    web:call                             GET     in    none  no    ok    ok
    web:reference_sound                  GET     in    none  no    ok    ok
    web:reference_picture                GET     in    none  no    ok    ok
    web:reference_bring                  GET     in    none  no    no    ok
    web:reference_bring                  POST    in    none  no    no    ok
    web:reference_mark                   GET     in    none  no    no    ok
    web:reference_mark                   POST    in    none  no    no    ok
    web:reference_remove                 POST    in    none  no    no    ok
    web:practice                         GET     in    none  no    ok    ok
    web:practice                         POST    in    none  no    none  none
    web:practice_sound                   GET     in    none  no    ok    ok
    web:practice_answer                  GET     in    none  no    ok    none
    web:practice_answer_sound            GET     in    none  no    ok    none
    web:practice_forget                  POST    in    none  no    ok    ok
    web:call_test                        GET     in    none  no    ok    ok
    web:call_test_begin                  POST    in    none  no    ok    ok
    web:call_test_set                    GET     in    none  no    no    ok
    web:call_test_set                    POST    in    none  no    no    ok
    web:call_test_close                  POST    in    none  no    no    ok
    web:call_test_results                GET     in    none  no    no    ok
    web:call_test_question               GET     in    none  no    ok    none
    web:call_test_question               POST    in    none  no    ok    none
    web:call_test_sound                  GET     in    none  no    ok    none
    web:call_test_result                 GET     in    none  no    none  none
    web:call_test_certificate            GET     in    none  no    none  none
    web:blind_next                       GET     in    none  no    no    ok
    web:blind_listen                     GET     in    none  no    no    ok
    web:blind_listen                     POST    in    none  no    no    ok
    web:blind_sound                      GET     in    none  no    no    ok
    web:blind_picture                    GET     in    none  no    no    ok
    web:blind_listeners                  POST    in    none  no    no    ok

    web:desk                             GET     in    none  no    no    ok
    web:desk_csv                         GET     in    none  no    no    ok
    web:review                           GET     in    none  no    no    ok
    web:review_visit                     GET     in    none  no    no    ok
    web:accept_many                      GET     in    none  no    no    ok
    web:accept_many                      POST    in    none  no    no    ok
    web:review_compare                   POST    in    none  no    no    ok
    web:claim                            POST    in    none  no    no    ok
    web:settle                           POST    in    none  no    no    ok
    web:accept                           POST    in    none  no    no    ok
    web:send_back                        POST    in    none  no    no    ok
    web:set_aside                        POST    in    none  no    no    ok
    web:reopen                           POST    in    none  no    no    ok
    web:confirm                          POST    in    none  no    no    ok
    web:take_back                        POST    in    none  no    no    ok
    web:review_correct                   GET     in    none  no    no    ok
    web:review_correct                   POST    in    none  no    no    ok

    web:visit                            GET     in    none  no    ok    ok
    web:visit_message                    POST    in    none  no    ok    ok
    web:visit_guest_erase                POST    in    none  no    ok    ok
    web:visit_withdraw                   POST    in    none  no    ok    none
    web:seasons                          GET     in    none  no    ok    ok
    web:seasons_csv                      GET     in    none  no    ok    ok
    web:season_changed                   GET     in    none  no    ok    ok
    web:season_changed_csv               GET     in    none  no    ok    ok
    web:season_coverage                  GET     in    none  no    ok    ok
    web:season_coverage_csv              GET     in    none  no    ok    ok
    web:season_map                       GET     in    none  no    ok    ok
    web:season_visits                    GET     in    none  no    ok    ok
    web:season_visits_csv                GET     in    none  no    ok    ok
    web:trends                           GET     in    none  ok    ok    ok
    web:trends_csv                       GET     in    none  ok    ok    ok
    web:trends_dictionary                GET     in    none  ok    ok    ok
    web:trend_species                    GET     in    none  ok    ok    ok
    web:trend_species_csv                GET     in    none  ok    ok    ok
    web:trend_species_checks             GET     in    none  ok    ok    ok
    web:trend_chart                      GET     in    none  ok    ok    ok
    web:trend_compare                    GET     in    none  ok    ok    ok
    web:trend_compare_chart              GET     in    none  ok    ok    ok
    web:power                            GET     in    none  no    no    ok
    web:power                            POST    in    none  no    no    ok
    web:power_study                      GET     in    none  no    no    ok
    web:power_chart                      GET     in    none  no    no    ok
    web:publications                     GET     in    none  ok    ok    ok
    web:publication                      GET     in    none  ok    ok    ok
    web:publication_file                 GET     in    none  ok    ok    ok
    web:publication_changes              GET     in    none  ok    ok    ok
    web:publication_withdraw             GET     in    none  no    no    ok
    web:publication_withdraw             POST    in    none  no    no    ok
    web:too_exact                        GET     in    none  no    no    ok
    web:publishing_run                   GET     in    none  no    no    ok
    web:publish                          POST    in    none  no    no    ok

    web:program                        GET     in    none  no    no    ok
    web:program_history                GET     in    none  no    no    ok
    web:program_undo                   POST    in    none  no    no    ok
    web:program_facts                  POST    in    none  no    no    ok
    web:program_assignments            GET     in    none  no    no    ok
    web:program_assignments            POST    in    none  no    no    ok
    web:program_taking                   POST    in    none  no    no    ok
    web:program_route_plan               GET     in    none  no    no    ok
    web:program_route_plan               POST    in    none  no    no    ok
    web:program_substitute_drop          POST    in    none  no    no    ok
    web:program_request_answer           POST    in    none  no    no    ok
    web:my_season                        GET     in    none  no    ok    ok
    web:absence_add                      POST    in    none  no    ok    ok
    web:absence_delete                   POST    in    none  no    ok    none
    web:help_offer                       POST    in    none  no    ok    ok
    web:own_substitute                   GET     in    none  no    ok    none
    web:own_substitute                   POST    in    none  no    ok    none
    web:own_substitute_drop              POST    in    none  no    ok    ok
    web:route_request_withdraw           POST    in    none  no    ok    none
    web:free_routes                      GET     in    none  no    ok    ok
    web:free_route                       POST    in    none  no    ok    ok
    web:program_taking                   POST    in    none  no    no    ok
    web:program_route_plan               GET     in    none  no    no    ok
    web:program_route_plan               POST    in    none  no    no    ok
    web:program_substitute_drop          POST    in    none  no    no    ok
    web:program_request_answer           POST    in    none  no    no    ok
    web:program_repeat                 POST    in    none  no    no    ok
    web:program_unassign               POST    in    none  no    no    ok
    web:program_routes                 GET     in    none  no    no    ok
    web:program_area                   POST    in    none  no    no    ok
    web:program_regions                GET     in    none  no    no    ok
    web:program_regions                POST    in    none  no    no    ok
    web:program_strata                 GET     in    none  no    no    ok
    web:program_strata                 POST    in    none  no    no    ok
    web:program_route_add              POST    in    none  no    no    ok
    web:program_route                  GET     in    none  no    no    ok
    web:program_route_edit             POST    in    none  no    no    ok
    web:route_import_start             GET     in    none  no    no    ok
    web:route_import_start             POST    in    none  no    no    ok
    web:route_import                   GET     in    none  no    no    ok
    web:route_import_columns           GET     in    none  no    no    ok
    web:route_import_columns           POST    in    none  no    no    ok
    web:route_import_options           POST    in    none  no    no    ok
    web:route_import_all               POST    in    none  no    no    ok
    web:route_import_route             GET     in    none  no    no    ok
    web:route_import_route             POST    in    none  no    no    ok
    web:route_import_commit            POST    in    none  no    no    ok
    web:route_import_undo              POST    in    none  no    no    ok
    web:route_import_discard           POST    in    none  no    no    ok
    web:program_route_line             POST    in    none  no    no    ok
    web:program_stops_propose          GET     in    none  no    no    ok
    web:program_stops_propose          POST    in    none  no    no    ok
    web:program_stop_add               POST    in    none  no    no    ok
    web:program_stop                   POST    in    none  no    no    ok
    web:program_stop_close             POST    in    none  no    no    ok
    web:program_stop_move              POST    in    none  no    no    ok
    web:program_stop_correct           POST    in    none  no    no    ok
    web:program_protocols              GET     in    none  no    no    ok
    web:program_protocol_begin         GET     in    none  no    no    ok
    web:program_protocol_add           POST    in    none  no    no    ok
    web:program_versions_compared      GET     in    none  no    no    ok
    web:program_version                GET     in    none  no    no    ok
    web:program_version_edit           POST    in    none  no    no    ok
    web:program_version_next           POST    in    none  no    no    ok
    web:program_checklist              GET     in    none  no    no    ok
    web:program_species_search         GET     in    none  no    no    ok
    web:program_species_add            POST    in    none  no    no    ok
    web:program_own_species_add        POST   in    none  no    no    ok
    web:program_own_species            POST   in    none  no    no    ok
    web:program_own_species_delete     POST   in    none  no    no    ok
    web:program_checklist_table          POST    in    none  no    no    ok
    web:program_entry                  POST    in    none  no    no    ok
    web:program_entry_take_off         POST    in    none  no    no    ok
    web:program_entry_move             POST    in    none  no    no    ok
    web:program_own_fields             GET     in    none  no    no    ok
    web:program_own_field_add          POST    in    none  no    no    ok
    web:program_own_field              POST    in    none  no    no    ok
    web:program_own_field_delete       POST    in    none  no    no    ok
    web:program_own_field_move         POST    in    none  no    no    ok
    web:people                           GET     in    none  no    no    ok
    web:security_log                     GET     in    none  no    no    ok
    web:people_invite                    POST    in    none  no    no    ok
    web:people_invite_many               GET     in    none  no    no    ok
    web:people_invite_many               POST    in    none  no    no    ok
    web:joining_links                    GET     in    none  no    no    ok
    web:joining_links                    POST    in    none  no    no    ok
    web:joining_poster                   GET     in    none  no    no    ok
    web:joining_qr_code                  GET     in    none  no    no    ok
    web:joining_revoke                   POST    in    none  no    no    ok
    web:join_by_link                     GET     ok    ok    ok    ok    ok
    web:people_person                    POST    in    none  no    no    ok
    web:people_deactivate                POST    in    none  no    no    ok
    web:people_reactivate                POST    in    none  no    no    ok
    web:people_send_again                POST    in    none  no    no    ok
    web:people_withdraw                  POST    in    none  no    no    ok

    web:observers                        GET     in    none  no    no    ok
    web:observers_csv                    GET     in    none  no    no    ok
    web:observer_surveys                 GET     in    none  no    no    ok
    web:own_surveys                      GET     in    none  no    ok    ok
    web:letters                          GET     in    none  no    no    ok
    web:letter                           GET     in    none  no    no    ok
    web:letter_write                     GET     in    none  no    no    ok
    web:letter_write                     POST    in    none  no    no    ok
    web:reminders                        GET     in    none  no    no    ok
    web:reminder                         GET     in    none  no    no    ok
    web:reminder                         POST    in    none  no    no    ok
    web:check_in                         GET     in    none  no    ok    ok
    web:check_in                         POST    in    none  no    ok    ok
    web:check_in_contact_remove          POST    in    none  no    ok    none
    web:check_in_back                    POST    in    none  no    ok    none
    web:check_in_contact                 GET     ok    ok    ok    ok    ok
    web:check_in_contact                 POST    ok    ok    ok    ok    ok
    web:reminder_stop                    GET     ok    ok    ok    ok    ok
    web:reminder_stop                    POST    ok    ok    ok    ok    ok
    web:calendar                         GET     in    none  no    ok    ok
    web:calendar                         POST    in    none  no    ok    ok
    web:calendar_feed                    GET     ok    ok    ok    ok    ok
    web:sharing                          GET     in    none  no    no    ok
    web:sharing                          POST    in    none  no    no    ok
    web:sharing_renew                    POST    in    none  no    no    ok
    web:exact_downloads                  GET     in    none  no    no    ok
    web:exact_downloads_csv              GET     in    none  no    no    ok
    web:tokens                           GET     in    none  ok    ok    ok
    web:tokens                           POST    in    none  ok    ok    ok
    web:token_take_back                  POST    in    none  ok    none  none
    web:named                            GET     in    ok    ok    ok    ok
    web:named                            POST    in    ok    ok    ok    ok

    web:published                        GET     in    none  ok    ok    ok
    web:published_index                  GET     in    none  ok    ok    ok
    web:published_year                   GET     in    none  ok    ok    ok
    web:published_version                GET     in    none  ok    ok    ok
    web:published_version_index          GET     in    none  ok    ok    ok
    web:published_dataset                GET     in    none  ok    ok    ok
    web:published_citation               GET     in    none  ok    ok    ok
    web:published_file                   GET     in    none  ok    ok    ok
    web:published_by_link                GET     none  none  none  none  none
    web:published_index_by_link          GET     none  none  none  none  none
    web:published_year_by_link           GET     none  none  none  none  none
    web:published_version_by_link        GET     none  none  none  none  none
    web:published_version_index_by_link  GET     none  none  none  none  none
    web:published_dataset_by_link        GET     none  none  none  none  none
    web:published_citation_by_link       GET     none  none  none  none  none
    web:published_file_by_link           GET     none  none  none  none  none

    web:wetland_changes                  GET     in    none  no    no    ok
    web:wetland_change_delete            POST    in    none  no    no    ok
    web:stations                         GET     in    none  no    no    ok
    web:station_delete                   GET     in    none  no    no    ok

    web:import_start                     GET     in    none  no    no    ok
    web:import_template                  GET     in    none  no    no    ok
    web:import_columns                   GET     in    none  no    no    ok
    web:import_preview                   GET     in    none  no    no    ok
    web:import_layout                    POST    in    none  no    no    ok
    web:import_fix                       POST    in    none  no    no    ok
    web:import_commit                    POST    in    none  no    no    ok
    web:import_again                     POST    in    none  no    no    ok
    web:import_undo                      POST    in    none  no    no    ok
    web:import_discard                   POST    in    none  no    no    ok

    web:people_rename                    POST    in    none  no    no    ok
    web:people_merge                     POST    in    none  no    no    ok
    web:people_hand_over                 POST    in    none  no    no    ok
    web:people_claim                     POST    in    none  no    no    ok
    web:people_erase                     POST    in    none  no    no    ok
    web:own_data                         GET     in    ok    ok    ok    ok

    web:review_many                      GET     in    none  no    no    ok
    web:review_many_resolve              POST    in    none  no    no    ok
    web:review_many_accept               POST    in    none  no    no    ok

    web:survey                           GET     in    none  no    ok    ok
    web:survey_hello                     GET     in    none  no    ok    ok
    web:survey_packet                    GET     in    none  no    ok    ok
    web:survey_worker                    GET     in    none  no    ok    ok
    web:survey_guide                     GET     in    none  no    ok    ok
    web:offline_worker                   GET     ok    ok    ok    ok    ok
    web:survey_manifest                  GET     in    none  no    ok    ok

    api:schema                           GET     in    ok    ok    ok    ok
    api:docs                             GET     in    ok    ok    ok    ok
    api:program                        GET     in    none  ok    ok    ok
    api:protocol_versions                GET     in    none  ok    ok    ok
    api:protocol_version                 GET     in    none  ok    ok    ok
    api:checklist                        GET     in    none  ok    ok    ok
    api:own_fields                       GET     in    none  ok    ok    ok
    api:trends                           GET     in    none  ok    ok    ok
    api:species_trends                   GET     in    none  ok    ok    ok
    api:sighting_shares                  GET     in    none  ok    ok    ok
    api:publications                     GET     in    none  ok    ok    ok
    api:publications                     POST    in    none  no    no    ok
    api:publication                      GET     in    none  ok    ok    ok
    api:publication_file                 GET     in    none  ok    ok    ok
    api:publishing_run                   GET     in    none  no    no    ok
    api:routes                           GET     in    none  no    ok    ok
    api:route                            GET     in    none  no    ok    ok
    api:route_geojson                    GET     in    none  no    ok    ok
    api:route_years                      GET     in    none  no    ok    ok
    api:coverage                         GET     in    none  ok    ok    ok
    api:records_visits                   GET     in    none  ok    ok    ok
    api:records_stopped_counting         GET     in    none  ok    ok    ok
    api:records_periods                  GET     in    none  ok    ok    ok
    api:records_own_values               GET     in    none  ok    ok    ok
    api:records_calls                    GET     in    none  ok    ok    ok
    api:records_export                   GET     in    none  ok    ok    ok
    api:records_routes                   GET     in    none  ok    ok    ok
    api:records_stops                    GET     in    none  ok    ok    ok
    api:records_stops_geojson            GET     in    none  ok    ok    ok
    api:records_changes                  GET     in    none  ok    ok    ok
    api:records_station_weather          GET     in    none  ok    ok    ok
    api:records_water                    GET     in    none  ok    ok    ok
    api:visits                           GET     in    none  no    ok    ok
    api:check_in                         PUT     in    none  no    ok    ok
    api:practice_answer                  PUT     in    none  no    ok    ok
    api:reference_calls                  GET     in    none  no    ok    ok
    api:reference_call_sound             GET     in    none  no    ok    ok
    api:visit                            GET     in    none  no    ok    ok
    api:visit                            PUT     in    none  no    ok    none
    api:visit                            PATCH   in    none  no    ok    none
    api:visit                            DELETE  in    none  no    ok    none
    api:visit_records                    GET     in    none  no    ok    ok
    api:submit                           POST    in    none  no    ok    none
    api:withdraw                         POST    in    none  no    ok    none
    api:recordings                       POST    in    none  no    ok    ok
    api:recording                        HEAD    in    none  no    ok    none
    api:recording                        PATCH   in    none  no    ok    none
    api:recording                        DELETE  in    none  no    ok    none
    api:accept                           POST    in    none  no    no    ok
    api:send_back                        POST    in    none  no    no    ok
    api:set_aside                        POST    in    none  no    no    ok
    api:reopen                           POST    in    none  no    no    ok
    api:correct                          POST    in    none  no    no    ok
    api:settle                           POST    in    none  no    no    ok
    api:confirm                          POST    in    none  no    no    ok
    api:take_back                        POST    in    none  no    no    ok

    account_login                        GET     ok    ok    ok    ok    ok
    account_logout                       GET     in    ok    ok    ok    ok
    account_inactive                     GET     ok    ok    ok    ok    ok
    account_signup                       GET     ok    ok    ok    ok    ok
    account_reauthenticate               GET     in    ok    ok    ok    ok
    account_email                        GET     in    ok    ok    ok    ok
    account_email_verification_sent      GET     ok    ok    ok    ok    ok
    account_change_password              GET     in    ok    ok    ok    ok
    account_set_password                 GET     in    ok    ok    ok    ok
    account_reset_password               GET     ok    ok    ok    ok    ok
    account_confirm_login_code           GET     in    ok    ok    ok    ok
    account_confirm_email                GET     ok    ok    ok    ok    ok
    account_reset_password_done          GET     ok    ok    ok    ok    ok
    account_reset_password_from_key      GET     ok    ok    ok    ok    ok
    account_reset_password_from_key_done GET     ok    ok    ok    ok    ok
    account_request_login_code           GET     ok    ok    ok    ok    ok
    mfa_index                            GET     in    ok    ok    ok    ok
    mfa_authenticate                     GET     in    ok    ok    ok    ok
    mfa_reauthenticate                   GET     in    ok    ok    ok    ok
    mfa_activate_totp                    GET     in    ok    ok    ok    ok
    mfa_deactivate_totp                  GET     in    none  none  none  none
    mfa_view_recovery_codes              GET     in    none  none  none  none
    mfa_generate_recovery_codes          GET     in    ok    ok    ok    ok
    mfa_download_recovery_codes          GET     in    none  none  none  none
    mfa_list_webauthn                    GET     in    ok    ok    ok    ok
    mfa_add_webauthn                     GET     in    ok    ok    ok    ok
    mfa_reauthenticate_webauthn          GET     in    ok    ok    ok    ok
    mfa_remove_webauthn                  GET     in    ok    ok    ok    ok
    mfa_edit_webauthn                    GET     in    ok    ok    ok    ok
    mfa_login_webauthn                   GET     in    ok    ok    ok    ok
    usersessions_list                    GET     in    ok    ok    ok    ok
    usersessions_list                    POST    in    ok    ok    ok    ok
"""

# It says 503 while no worker runs, as in the tests.
MAY_BE_UNREADY = ("web:readyz",)

# Pages that show a visit in the making stand on the observer's draft, the others on
# a visit that was handed in.
ON_THE_DRAFT = ("web:sheet", "api:visit", "api:submit")


# Open without signing in once a program lets everybody, or whoever has the link, see its
# publications. Until then they answer as the table says.
PUBLIC = frozenset(
    f"web:published{what}"
    for what in (
        "",
        "_index",
        "_year",
        "_version",
        "_version_index",
        "_dataset",
        "_citation",
        "_file",
    )
)
BY_LINK = frozenset(f"{name}_by_link" for name in PUBLIC)


def rows() -> Iterator[tuple[str, str, str, str]]:
    """(URL name, method, role, expected answer)."""
    for line in TABLE.strip().splitlines()[1:]:
        if line.strip():
            name, method, *answers = line.split()
            assert len(answers) == len(ROLES), line
            for role, answer in zip(ROLES, answers, strict=True):
                yield name, method, role, answer


def every_url(patterns=None, namespace: str = "") -> Iterator[tuple[str, URLPattern]]:
    for pattern in patterns or get_resolver().url_patterns:
        if isinstance(pattern, URLPattern):
            yield f"{namespace}{pattern.name}", pattern
        else:
            inner = f"{namespace}{pattern.namespace}:" if pattern.namespace else namespace
            yield from every_url(pattern.url_patterns, inner)


@cache
def pattern_of(name: str) -> URLPattern:
    return dict(every_url())[name]


def view_of(name: str) -> object:
    """The function, or the class where the view is one."""
    view = pattern_of(name).callback
    return getattr(view, "cls", view)


def test_every_url_has_a_row():
    assert {name for name, _ in every_url()} == {name for name, *_ in rows()}


@dataclass(frozen=True, kw_only=True)
class World:
    members: dict[str, Membership]
    draft: Visit
    arguments: dict[str, object]
    # Of one URL, in place of those above.
    own_arguments: dict[str, dict[str, object]] = field(default_factory=dict)


@pytest.fixture
def world(partner, observer, coordinator) -> World:
    return make_world(partner, observer, coordinator)


def make_world(partner: Membership, observer: Membership, coordinator: Membership) -> World:
    """One of everything that a URL can name, in the program of these members."""
    program = coordinator.program
    outsider = make_member(make_program(), Role.OBSERVER)
    (peeper,) = make_checklist(program)
    route = make_route(program)
    handed_in = make_accepted_visit(
        route,
        observer.person,
        heard={1: {peeper: 2}},
        state=VisitState.SUBMITTED,
        counts_in_trends=False,
        second_observer="Linden Harrow",
    )
    make_accepted_visit(route, observer.person, night=dt.date(2024, 4, 10), heard={1: {peeper: 2}})
    refit(program)
    draft = start_visit(observer, route=route, night=dt.date(2024, 4, 20))
    finding = StoredFinding.objects.create(
        visit=handed_in, code="too-cold", severity="query", message_as_stored="Cold."
    )
    recording = keep(observer, handed_in, sound(), stop=1)
    make_stored_picture(recording)
    confirmation = Confirmation.objects.create(
        call=CallIndex.objects.get(period__visit=handed_in),
        recording=recording,
        by=coordinator.person,
        at=timezone.now(),
    )
    reference = make_stored_reference(recording, peeper, coordinator)
    asked = practice.ask(observer, practice.practice_bank(observer))
    practised = practice.answer(observer, asked, {peeper.code: 1})
    taken = make_try(coordinator, observer, peeper.code)
    assignment = Assignment.objects.create(route=route, observer=observer.person, season_year=2024)
    check_in = make_check_in(observer, route)
    now = timezone.now()
    invitation = Invitation.objects.create(
        program=program,
        email="new@example.org",
        role=Role.OBSERVER,
        token_hash=hash_token(f"token of {program.slug}"),
        invited_by=coordinator.person,
        expires_at=now + dt.timedelta(days=1),
    )
    link = JoiningLink.objects.create(
        program=program,
        name="Workshop",
        token_hash=hash_token(f"token of {program.slug}"),
        most_uses=3,
        created_by=coordinator.person,
        expires_at=now + dt.timedelta(days=1),
    )
    publication = Publication.objects.create(
        program=program,
        season_year=2024,
        version=1,
        title="Yearly table",
        software="0",
        row_count=0,
        visit_count=0,
        sha256="0" * 64,
        published_by=coordinator.person,
        published_at=now,
    )
    publication.files.create(order=0, kind="table.csv", meaning="", media_type="text/csv", bytes=0)
    publication.pk, publication.version, publication.reason = None, 2, "A late visit."
    publication.save()
    run = make_publishing_run(program, 2023, coordinator.person)
    upload = store(
        coordinator, file_name="visits.csv", content=b"route,night,stop\nR1,2024-04-15,1\n"
    )
    brought = places.store(
        coordinator,
        file_name="routes.csv",
        content=b"route,stop,latitude,longitude\nR90,1,43.1,-89.4\nR90,2,43.2,-189.4\n",
    )
    version = route.protocol.versions.get()
    region, _ = CallingRegion.objects.get_or_create(code="marshes", defaults={"name": "Marshes"})
    return World(
        members={
            "outsider": outsider,
            "partner": partner,
            "observer": observer,
            "coordinator": coordinator,
        },
        draft=draft,
        arguments={
            "program": program.slug,
            "code": route.code,
            "route": route.pk,
            "stop": route.stops.first().pk,
            "version": version.pk,
            "version_id": version.pk,
            "visit": handed_in.pk,
            "visit_id": handed_in.pk,
            "block": "waiting",
            "reminder": ReminderKind.HALF_GONE.value,
            "letter": make_letter(coordinator, observer).pk,
            "finding": finding.pk,
            "finding_id": finding.pk,
            "recording_id": recording.pk,
            "reference_id": reference.pk,
            "answer_id": practised.pk,
            "practice_answer_id": uuid.UUID(int=16),
            "try_id": taken.pk,
            "number": 1,
            "confirmation": confirmation.pk,
            "confirmation_id": confirmation.pk,
            "assignment": assignment.pk,
            "substitute": Substitute.objects.create(
                assignment=assignment, window="Spring", person=coordinator.person
            ).pk,
            "absence": Absence.objects.create(
                member=observer, first=now.date(), last=now.date()
            ).pk,
            "plan_request": RouteRequest.objects.create(
                program=program, route=route, member=observer, season_year=2024
            ).pk,
            "entry": program.checklist.get().pk,
            "contact": check_in.contact.pk,
            "check_in": check_in.pk,
            "check_in_id": uuid.UUID(int=15),
            "own_field": make_own_field(program, "Salinity").pk,
            "species": peeper.code,
            "own_species": make_own_species(program).code,
            "change": make_change(route.stops.get(number=1), coordinator.person).pk,
            "station": make_station(program).pk,
            "membership": observer.pk,
            "invitation": invitation.pk,
            "link": link.pk,
            "upload": upload.pk,
            "places": brought.pk,
            "position": 0,
            "subject": "assignments",
            "event": assignment.events.get().pk,
            "run_id": run.pk,
            "study_id": make_study(program, peeper).pk,
            "form": "svg",
            "token": f"token of {program.slug}",
            "signed_question": practice.signed(observer, asked),
            "handle": make_token(partner, name="report", scope=Scope.RECORDS, days=30).token.handle,
            "season_year": 2024,
            "kind": "table.csv",
            "slug": "cautions",
            "region": region.code,
            "row": 1,
            "key": "key",
            "uidb36": "1",
        },
        own_arguments={
            "web:rule": {"code": "too-cold"},
            "web:check_in_contact": {"token": link_of(check_in.contact).rsplit("/", 1)[1]},
            "web:reminder_stop": {"token": stop_token(observer)},
            "web:calendar_feed": {"token": calendar_token(observer)},
        },
    )


def calendar_token(member: Membership) -> str:
    return calendar_url(renew_calendar(member), "").rsplit("/", 1)[1]


def stop_token(member: Membership) -> str:
    return stop_url(member, ReminderKind.HALF_GONE, "").rsplit("/", 1)[1]


def address(world: World, name: str) -> str:
    pattern = pattern_of(name).pattern
    wanted = list(pattern.converters) or list(pattern.regex.groupindex)
    arguments = {key: world.arguments[key] for key in ("program", *wanted) if key in wanted}
    if name.startswith("api:") and name not in ("api:schema", "api:docs"):
        arguments["program"] = world.arguments["program"]
    if name.startswith(ON_THE_DRAFT) and "visit_id" in arguments:
        arguments["visit_id"] = world.draft.pk
    if name in ("mfa_remove_webauthn", "mfa_edit_webauthn"):
        arguments["pk"] = 1
    arguments |= world.own_arguments.get(name, {})
    if name.startswith(("web:trend_species", "web:trend_chart")):
        arguments["code"] = world.arguments["species"]
    if name == "web:import_template":
        arguments["kind"] = "csv"
    if name.endswith(("publication", "publication_file", "publication_withdraw")):
        arguments["version"] = 1
    if name == "web:publication_changes":
        arguments["version"] = 2
    if name in PUBLIC | BY_LINK:
        arguments |= {one: {"version": 1, "form": "txt"}.get(one, arguments[one]) for one in wanted}
    return reverse(name, kwargs=arguments)


def caching(response) -> dict[str, str]:
    """The directives of Cache-Control with their values."""
    parts = (part.strip().partition("=") for part in response["Cache-Control"].split(","))
    return {name: value for name, _, value in parts}


def answer_of(response, name: str) -> str:
    if response.status_code in (301, 302) and "/accounts/login/" in response["Location"]:
        return "in"
    if name.startswith("api:") and response.status_code == 401:
        return "in"
    return {403: "no", 404: "none"}.get(response.status_code, "ok")


@pytest.mark.parametrize("role", ROLES)
def test_every_url_answers_the_role_as_the_table_says(world, role):
    """Each request is undone before the next, so that all meet the same world."""
    client = Client()
    if role != "anonymous":
        client.force_login(world.members[role].person)
    surprises = []
    for name, method, who, expected in rows():
        if who != role:
            continue
        with transaction.atomic():
            response = request(client, world, name, method)
            answer = answer_of(response, name)
            transaction.set_rollback(True)
        if not {"private", "no-store"} <= caching(response).keys():
            surprises.append(f"{name} {method}: a cache may keep it")
        fails = response.status_code >= 500 and name not in MAY_BE_UNREADY
        if answer != expected or fails:
            surprises.append(f"{name} {method}: {response.status_code}, wanted {expected}")
    assert not surprises, "\n".join(surprises)


# Observers may do this where their program says so: tests/integration/visits/test_blind.py.
BY_CHOICE_OF_THE_PROGRAM = {
    "web:blind_next",
    "web:blind_listen",
    "web:blind_sound",
    "web:blind_picture",
}


def test_a_page_that_refuses_a_role_does_so_itself():
    """Where its verb refuses too, the page would answer the same without a check of its own."""
    answers = defaultdict(set)
    for name, _, role, expected in rows():
        answers[name, role].add(expected)
    loose = [
        f"{name}: {role}"
        for (name, role), expected in answers.items()
        if name not in BY_CHOICE_OF_THE_PROGRAM
        and expected == {"no"}
        and getattr(view_of(name), "permission", None) in PERMISSIONS[role]
    ]
    assert not loose, "\n".join(loose)


@pytest.mark.parametrize("audience", PublicationAudience)
def test_only_what_is_opened_on_purpose_is_open(world, audience):
    """What nobody signed in reaches beyond the table, by each choice of who sees publications."""
    program = Program.objects.get(slug=world.arguments["program"])
    program.publication_audience = audience
    program.save()
    world.arguments["key"] = program.publication_key
    table = {(name, method) for name, method, who, answer in rows()
             if who == "anonymous" and answer == "ok"}  # fmt: skip
    opened = set()
    for name, method, who, _ in rows():
        if who == "anonymous":
            with transaction.atomic():
                response = request(Client(), world, name, method)
                transaction.set_rollback(True)
            if answer_of(response, name) == "ok":
                opened.add((name, method))
            # What is for everybody may be kept; if that changes, all copies are gone in an hour.
            kept = caching(response)
            is_for_all = name in PUBLIC and audience == PublicationAudience.PUBLIC
            assert "no-store" in kept or (is_for_all and int(kept["max-age"]) <= 3600), name
    expected = {
        PublicationAudience.MEMBERS: frozenset(),
        PublicationAudience.LINK: BY_LINK,
        PublicationAudience.PUBLIC: PUBLIC | BY_LINK,
    }[audience]
    assert {name for name, _ in opened - table} == expected


def request(client: Client, world: World, name: str, method: str):
    client.raise_request_exception = False
    headers, kind, body = {}, "application/x-www-form-urlencoded", b""
    if name == "web:program_repeat":
        body = b"season=2024"
    if name.startswith("api:") or method == "PATCH":
        kind = "application/json"
        sheet = {"changes": {}, "cells": {}, "night": "2024-04-20"}
        body = json.dumps({**sheet, "route": world.arguments["code"]}).encode()
        headers = {"If-Match": '"1"', "Tus-Resumable": "1.0.0"}
    return client.generic(method, address(world, name), body, content_type=kind, headers=headers)


def test_unknown_visit_is_like_a_foreign_one(world):
    client = Client()
    client.force_login(world.members["observer"].person)
    slug = world.arguments["program"]
    assert client.get(f"/{slug}/sheets/{uuid.uuid4()}/").status_code == 404
