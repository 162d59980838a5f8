from django.urls import path

from surveys.web.recordings import blind_views, listen_views
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
        "<slug:program>/recordings/<uuid:recording_id>/waveform",
        recordings.waveform,
        name="recording_waveform",
    ),
    path("<slug:program>/listening", blind_views.blind_next, name="blind_next"),
    path("<slug:program>/listening/who", blind_views.blind_listeners, name="blind_listeners"),
    path(
        "<slug:program>/listening/<uuid:recording_id>",
        blind_views.blind_listen,
        name="blind_listen",
    ),
    path(
        "<slug:program>/listening/<uuid:recording_id>/sound",
        blind_views.blind_sound,
        name="blind_sound",
    ),
    path(
        "<slug:program>/listening/<uuid:recording_id>/picture",
        blind_views.blind_picture,
        name="blind_picture",
    ),
    path(
        "<slug:program>/sheets/<uuid:visit_id>/recordings",
        recordings.sheet_recording,
        name="sheet_recording",
    ),
]
