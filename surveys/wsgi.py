"""What a web server calls."""

import gc
import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "surveys.settings")

from surveys.operations.body_length import check_body_length

application = check_body_length(get_wsgi_application())

# What is loaded by now stays: without this each full collection, amid somebody's request, looks at all of it.
gc.collect()
gc.freeze()
