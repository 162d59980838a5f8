"""Estimates in words, for the templates of Trends."""

from django import template

from surveys.charts import words
from surveys.charts.method_words import method_in_words
from surveys.charts.model_words import model_in_words

register = template.Library()

register.filter("share_with_interval", words.share_with_interval)
register.filter("flags_in_words", words.flags_in_words)
register.filter("written_flags_in_words", words.written_flags_in_words)
register.filter("model_in_words", model_in_words)
register.filter("method_in_words", method_in_words)
