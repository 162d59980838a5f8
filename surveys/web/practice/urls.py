from django.urls import path

from surveys.web.practice import views

urlpatterns = [
    path("<slug:program>/practice", views.practice, name="practice"),
    path("<slug:program>/practice/delete", views.forget, name="practice_forget"),
    path(
        "<slug:program>/practice/sound/<str:signed_question>",
        views.question_sound,
        name="practice_sound",
    ),
    path("<slug:program>/practice/<uuid:answer_id>", views.answered, name="practice_answer"),
    path(
        "<slug:program>/practice/<uuid:answer_id>/sound",
        views.answered_sound,
        name="practice_answer_sound",
    ),
]
