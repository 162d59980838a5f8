from django.urls import URLPattern, path

from surveys.web.people import (
    invitation_views as invitation,
)
from surveys.web.people import (
    joining_views as joining,
)
from surveys.web.people import (
    many_views as many,
)
from surveys.web.people import (
    past_views as past,
)
from surveys.web.people import (
    security_views as security,
)
from surveys.web.people import (
    views as people,
)

PERSON = "<slug:program>/program/people/<int:membership>/"

urlpatterns: list[URLPattern] = [
    path("invitation/<str:token>", invitation.open_invitation, name="people_invitation"),
    path("<slug:program>/program/people/", people.people, name="people"),
    path("<slug:program>/program/people/security", security.security_log, name="security_log"),
    path("<slug:program>/program/people/invite", people.invite, name="people_invite"),
    path("join/by-link/<str:token>", joining.join, name="join_by_link"),
    path("<slug:program>/program/people/invite-many", many.invite_many, name="people_invite_many"),
    path("<slug:program>/program/people/links", joining.links, name="joining_links"),
    path(
        "<slug:program>/program/people/links/<int:link>/poster",
        joining.poster,
        name="joining_poster",
    ),
    path(
        "<slug:program>/program/people/links/<int:link>/qr.svg",
        joining.qr_code,
        name="joining_qr_code",
    ),
    path(
        "<slug:program>/program/people/links/<int:link>/revoke",
        joining.revoke,
        name="joining_revoke",
    ),
    path("<slug:program>/program/people/<int:membership>", people.person, name="people_person"),
    path(PERSON + "rename", past.rename, name="people_rename"),
    path(PERSON + "merge", past.merge, name="people_merge"),
    path(PERSON + "hand-over", past.hand_over, name="people_hand_over"),
    path(PERSON + "claim", past.claim, name="people_claim"),
    path(PERSON + "erase", past.erase, name="people_erase"),
    path("your-data/", past.own_data_file, name="own_data"),
    path(
        "<slug:program>/program/people/<int:membership>/deactivate",
        people.deactivate,
        name="people_deactivate",
    ),
    path(
        "<slug:program>/program/people/<int:membership>/reactivate",
        people.reactivate,
        name="people_reactivate",
    ),
    path(
        "<slug:program>/program/people/invitations/<int:invitation>/again",
        people.send_again,
        name="people_send_again",
    ),
    path(
        "<slug:program>/program/people/invitations/<int:invitation>/withdraw",
        people.withdraw,
        name="people_withdraw",
    ),
]
