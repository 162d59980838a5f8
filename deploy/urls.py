"""All URLs. Everything needs a signed-in member unless opened on purpose."""

from django.urls import include, path

handler400 = "surveys.web.errors.bad_request"
handler404 = "surveys.web.errors.page_not_found"
handler500 = "surveys.web.errors.server_error"
urlpatterns = [
    path("accounts/", include("allauth.account.urls")),
    path("accounts/second-step/", include("allauth.mfa.urls")),
    path("accounts/devices/", include("allauth.usersessions.urls")),
    path("api/", include("surveys.api.urls")),
    path("", include("surveys.web.urls")),
]
