from django.urls import path

from surveys.web.survey import views as survey

# The service worker lies in the folder of the survey, so it controls nothing else; the one for
# addresses without a network lies at the root, and leaves that folder to the first.
urlpatterns = [
    path("<slug:program>/survey/", survey.shell, name="survey"),
    path("<slug:program>/survey/hello.json", survey.hello, name="survey_hello"),
    path("<slug:program>/survey/packets/<slug:code>.json", survey.packet, name="survey_packet"),
    path("offline.js", survey.offline_worker, name="offline_worker"),
    path("<slug:program>/survey/guide.json", survey.guide, name="survey_guide"),
    path("<slug:program>/survey/sw.js", survey.worker, name="survey_worker"),
    path("<slug:program>/survey/survey.webmanifest", survey.manifest, name="survey_manifest"),
]
