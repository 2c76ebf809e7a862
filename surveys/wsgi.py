"""What a web server calls."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "surveys.settings")

from surveys.whole_body import whole_bodies

application = whole_bodies(get_wsgi_application())
