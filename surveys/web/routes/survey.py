from django.urls import path

from surveys.web.views import survey

# The service worker lies in the folder of the survey, so it controls nothing else.
urlpatterns = [
    path("<slug:programme>/survey/", survey.shell, name="survey"),
    path("<slug:programme>/survey/hello.json", survey.hello, name="survey_hello"),
    path("<slug:programme>/survey/packets/<slug:code>.json", survey.packet, name="survey_packet"),
    path("<slug:programme>/survey/sw.js", survey.worker, name="survey_worker"),
    path("<slug:programme>/survey/survey.webmanifest", survey.manifest, name="survey_manifest"),
]
