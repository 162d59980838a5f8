"""Components of the screens that hold a text of their own."""

from django import template
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

register = template.Library()


@register.simple_block_tag
def empty_state(
    content: str, title: str, icon: str = "", action_url: str = "", action_label: str = ""
) -> str:
    """Says that there is nothing here yet, and what brings something: the text within the tag."""
    context = {"title": title, "text": SafeString(" ".join(content.split())), "icon": icon}
    context |= {"action_url": action_url, "action_label": action_label}
    return render_to_string("web/components/empty.html", context)
