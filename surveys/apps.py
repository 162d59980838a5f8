from django.apps import AppConfig
from django.utils import translation

from surveys import language


class SurveysConfig(AppConfig):
    name = "surveys"
    verbose_name = "Surveys"

    def ready(self) -> None:
        language.use(translation)
