from django.urls import path

from surveys.web.review_many import views as review_many

AT = "<slug:program>/review-many/"

urlpatterns = [
    path(AT, review_many.review_many, name="review_many"),
    path(AT + "resolve/", review_many.resolve, name="review_many_resolve"),
    path(AT + "accept/", review_many.accept, name="review_many_accept"),
]
