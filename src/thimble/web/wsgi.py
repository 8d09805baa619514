"""What gunicorn serves. It does not start on settings or a protocol that have faults."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "thimble.web.settings")
application = get_wsgi_application()

from thimble.web.context import make_ready  # noqa: E402 - needs the application above

make_ready()
