from django.apps import AppConfig


class WebConfig(AppConfig):
    name = "surveys.web"
    label = "web"
    verbose_name = "Screens"
