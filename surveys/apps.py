from django.apps import AppConfig
from django.conf import settings
from django.utils import translation

from surveys import language, scanning


class SurveysConfig(AppConfig):
    name = "surveys"
    verbose_name = "Surveys"

    def ready(self) -> None:
        language.use(translation)
        scanning.use(settings.VIRUS_SCANNER)
