from django.urls import URLPattern, path

from surveys.web.people import (
    invitation_views as invitation,
)
from surveys.web.people import (
    security_views as security,
)
from surveys.web.people import (
    views as people,
)

urlpatterns: list[URLPattern] = [
    path("invitation/<str:token>", invitation.open_invitation, name="people_invitation"),
    path("<slug:program>/program/people/", people.people, name="people"),
    path("<slug:program>/program/people/security", security.security_log, name="security_log"),
    path("<slug:program>/program/people/invite", people.invite, name="people_invite"),
    path("<slug:program>/program/people/<int:membership>", people.person, name="people_person"),
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
