from functools import partial

from django.apps import AppConfig
from django.conf import settings
from django.utils import translation
from django.utils.formats import number_format

from surveys import language, scanning


class SurveysConfig(AppConfig):
    name = "surveys"
    verbose_name = "Surveys"

    def ready(self) -> None:
        language.use(translation, partial(number_format, force_grouping=True))
        scanning.use(settings.VIRUS_SCANNER)
