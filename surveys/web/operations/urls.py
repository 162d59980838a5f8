from django.urls import URLPattern, path

from surveys.web.operations import probes

urlpatterns: list[URLPattern] = [
    path("healthz", probes.healthz, name="healthz"),
]
