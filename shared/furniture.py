"""What every page is furnished with: names, roles, form templates."""

from django.conf import settings
from django.forms.renderers import TemplatesSetting

from . import policy


class FormRenderer(TemplatesSetting):
    """Forms drawn by the project's own field template."""

    field_template_name = "shared/_field.html"


def site(request):
    person = getattr(request, "user", None)
    return {
        "site_name": settings.SITE_NAME,
        "society_name": settings.SOCIETY_NAME,
        "can": policy.Can(person),
    }
