from django.urls import path

from surveys.web.views import recordings

urlpatterns = [
    path("<slug:programme>/recordings/<uuid:recording_id>", recordings.recording, name="recording"),
    path(
        "<slug:programme>/sheets/<uuid:visit_id>/recordings",
        recordings.sheet_recording,
        name="sheet_recording",
    ),
]
