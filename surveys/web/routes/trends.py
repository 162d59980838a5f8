from django.urls import path

from surveys.web.views import trends

urlpatterns = [
    path("<slug:programme>/trends/", trends.trends, name="trends"),
    path("<slug:programme>/trends/table.csv", trends.trends_csv, name="trends_csv"),
    path(
        "<slug:programme>/trends/dictionary.csv", trends.trends_dictionary, name="trends_dictionary"
    ),
]
