from django.urls import path

from surveys.web.call_tests import set_views, views

urlpatterns = [
    path("<slug:program>/call-test", views.call_test, name="call_test"),
    path("<slug:program>/call-test/begin", views.begin, name="call_test_begin"),
    path("<slug:program>/call-test/set", set_views.set_test, name="call_test_set"),
    path("<slug:program>/call-test/close", set_views.close, name="call_test_close"),
    path("<slug:program>/call-test/results", set_views.results, name="call_test_results"),
    path("<slug:program>/call-test/<uuid:try_id>", views.question, name="call_test_question"),
    path(
        "<slug:program>/call-test/<uuid:try_id>/<int:number>/sound",
        views.sound,
        name="call_test_sound",
    ),
    path("<slug:program>/call-test/<uuid:try_id>/result", views.result, name="call_test_result"),
    path(
        "<slug:program>/call-test/<uuid:try_id>/certificate",
        views.certificate,
        name="call_test_certificate",
    ),
]
