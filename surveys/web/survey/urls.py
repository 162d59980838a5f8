from django.urls import path

from surveys.web.survey import views as survey

# The service worker lies in the folder of the survey, so it controls nothing else.
urlpatterns = [
    path("<slug:program>/survey/", survey.shell, name="survey"),
    path("<slug:program>/survey/hello.json", survey.hello, name="survey_hello"),
    path("<slug:program>/survey/packets/<slug:code>.json", survey.packet, name="survey_packet"),
    path("<slug:program>/survey/sw.js", survey.worker, name="survey_worker"),
    path("<slug:program>/survey/survey.webmanifest", survey.manifest, name="survey_manifest"),
]
