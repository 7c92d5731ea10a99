"""Running the service: gunicorn with uvicorn's workers, or waitress on Windows, and a WSGI-to-ASGI adapter."""
