from django.urls import path

from surveys.web.trends import views as trends

urlpatterns = [
    path("<slug:program>/trends/", trends.trends, name="trends"),
    path("<slug:program>/trends/table.csv", trends.trends_csv, name="trends_csv"),
    path(
        "<slug:program>/trends/dictionary.csv", trends.trends_dictionary, name="trends_dictionary"
    ),
]
