from django.urls import path

from surveys.web.recordings import listen_views
from surveys.web.recordings import views as recordings

urlpatterns = [
    path("<slug:program>/recordings/<uuid:recording_id>", recordings.recording, name="recording"),
    path(
        "<slug:program>/recordings/<uuid:recording_id>/listen",
        listen_views.recording_listen,
        name="recording_listen",
    ),
    path(
        "<slug:program>/recordings/<uuid:recording_id>/picture",
        recordings.picture,
        name="recording_picture",
    ),
    path(
        "<slug:program>/sheets/<uuid:visit_id>/recordings",
        recordings.sheet_recording,
        name="sheet_recording",
    ),
]
