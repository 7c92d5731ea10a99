"""The service as a WSGI application, for any WSGI server: ``gunicorn -k gthread gramwatt.wsgi:app``."""

from gramwatt.web import create_app

app = create_app()
