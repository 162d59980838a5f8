from django.urls import URLPattern, path

from surveys.web.operations import probes, views

urlpatterns: list[URLPattern] = [
    path("healthz", probes.healthz, name="healthz"),
    path("readyz", probes.readyz, name="readyz"),
    path("metrics", probes.metrics, name="metrics"),
    path("status", views.site_status, name="site_status"),
    path("<slug:program>/program/status", views.program_status, name="program_status"),
]
