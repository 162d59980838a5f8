from django.urls import path

from surveys.web.calls import reference_views, views

urlpatterns = [
    path("<slug:program>/calls/", views.calls, name="calls"),
    path("<slug:program>/hints/", views.hints, name="hints"),
    path("<slug:program>/calls/<slug:species>/", views.call, name="call"),
    path("<slug:program>/calls/<slug:species>/add", reference_views.bring, name="reference_bring"),
    path(
        "<slug:program>/recordings/<uuid:recording_id>/reference",
        reference_views.mark,
        name="reference_mark",
    ),
    path(
        "<slug:program>/reference-calls/<uuid:reference_id>",
        views.reference_sound,
        name="reference_sound",
    ),
    path(
        "<slug:program>/reference-calls/<uuid:reference_id>/picture",
        views.reference_picture,
        name="reference_picture",
    ),
    path(
        "<slug:program>/reference-calls/<uuid:reference_id>/delete",
        reference_views.remove,
        name="reference_remove",
    ),
]
