from django.urls import path

from surveys.web.review import (
    confirm_views as review_confirm,
)
from surveys.web.review import (
    correction_views as review_correct,
)
from surveys.web.review import (
    queue_views as review_queue,
)
from surveys.web.review import (
    views as review,
)

AT = "<slug:program>/review/"
VISIT = AT + "<uuid:visit>/"

urlpatterns = [
    path(AT, review_queue.review, name="review"),
    path(AT + "accept-many", review_queue.accept_many, name="accept_many"),
    path(AT + "compare", review_queue.compare, name="review_compare"),
    path(AT + "claim", review_queue.claim, name="claim"),
    path(VISIT, review.review_visit, name="review_visit"),
    path(VISIT + "findings/<int:finding>/settle", review.settle, name="settle"),
    path(VISIT + "accept", review.accept, name="accept"),
    path(VISIT + "send-back", review.send_back, name="send_back"),
    path(VISIT + "set-aside", review.set_aside, name="set_aside"),
    path(VISIT + "reopen", review.reopen, name="reopen"),
    path(VISIT + "confirm", review_confirm.confirm, name="confirm"),
    path(
        VISIT + "confirmations/<int:confirmation>/take-back",
        review_confirm.take_back,
        name="take_back",
    ),
    path(VISIT + "correct", review_correct.correct, name="review_correct"),
]
