"""What would a team put together in a day? An app of a general-purpose framework of another kind.

Django REST framework takes a report's document field by field, stores it as one row, durably, and
answers it: no session, no finding, no case, no record. Two processes serve it, each thread with a
lasting connection to the same engine as the service's, with the same promise at every commit. What
it needs is installed for the benchmark alone: `pip install -e '.[bench]'`.
"""

from __future__ import annotations

import importlib.util
import os
import sys
from typing import Any, ClassVar

from sqlalchemy import make_url

PROCESSES = 2
THREADS = 8
IS_INSTALLED = all(importlib.util.find_spec(name) for name in ("rest_framework", "gunicorn"))
HOW_TO_INSTALL = "pip install -e '.[bench]'"

DOCUMENT = ("heat", "post", "take_over", "lane", "observation", "words", "clock")
"""What of a report is stored as it came."""


def database_of(url: str) -> dict[str, Any]:
    """The framework's settings for a database: lasting connections, each commit synced."""
    parts = make_url(url)
    if parts.get_backend_name() == "sqlite":
        pragmas = "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA busy_timeout=30000"
        options = {"init_command": pragmas, "transaction_mode": "IMMEDIATE"}
        return {
            "ENGINE": "django.db.backends.sqlite3",
            "NAME": parts.database,
            "OPTIONS": options,
            "CONN_MAX_AGE": None,
        }
    return {
        "ENGINE": "django.db.backends.postgresql",
        "NAME": parts.database,
        "USER": parts.username,
        "HOST": parts.query["host"],
        "PORT": parts.query["port"],
        "CONN_MAX_AGE": None,
    }


def make_app(database_url: str) -> Any:
    """The app, its one table made."""
    import django
    from django.conf import settings

    settings.configure(
        ALLOWED_HOSTS=["*"],
        DATABASES={"default": database_of(database_url)},
        DEFAULT_AUTO_FIELD="django.db.models.AutoField",
        INSTALLED_APPS=[],
        MIDDLEWARE=["django.middleware.common.CommonMiddleware"],  # it tells an answer's length
        REST_FRAMEWORK={
            "DEFAULT_AUTHENTICATION_CLASSES": [],
            "UNAUTHENTICATED_USER": None,
            "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
            "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
        },
        ROOT_URLCONF=__name__,
        SECRET_KEY="for the benchmark",
        USE_TZ=True,
    )
    django.setup()
    _declare()
    from django.core.wsgi import get_wsgi_application

    return get_wsgi_application()


urlpatterns: list[Any] = []
"""The framework looks for its routes here."""


def _declare() -> None:
    from django.db import connection, models
    from django.http import HttpRequest, HttpResponse
    from django.urls import path
    from rest_framework.response import Response
    from rest_framework.serializers import ModelSerializer
    from rest_framework.views import APIView

    class Stored(models.Model):
        id = models.UUIDField(primary_key=True)
        meet = models.UUIDField()
        heat = models.UUIDField()
        post = models.UUIDField(null=True)
        take_over = models.IntegerField(null=True)
        lane = models.IntegerField()
        observation = models.JSONField()
        words = models.TextField(blank=True)
        clock = models.JSONField()
        received_at = models.DateTimeField(auto_now_add=True)

        class Meta:
            app_label = "bench"

    class Document(ModelSerializer):  # type: ignore[misc]
        class Meta:
            model = Stored
            fields: ClassVar = ("id", *DOCUMENT, "received_at")
            read_only_fields: ClassVar = ("id",)

    class Reports(APIView):  # type: ignore[misc]
        def put(self, request: Any, meet: Any, report: Any) -> Any:
            document = Document(data=request.data)
            document.is_valid(raise_exception=True)
            document.save(id=report, meet=meet)
            return Response(document.data, status=201)

    def alive(_request: HttpRequest) -> HttpResponse:
        return HttpResponse("alive")

    urlpatterns[:] = [
        path("api/meets/<uuid:meet>/reports/<uuid:report>", Reports.as_view()),
        path("healthz", alive),
    ]
    if Stored._meta.db_table not in connection.introspection.table_names():
        with connection.schema_editor() as editor:
            editor.create_model(Stored)
    connection.close()


def serve(database_url: str) -> None:
    """Serve on a free port, in processes of threads, until a signal ends it."""
    from gunicorn.app.base import BaseApplication

    app = make_app(database_url)

    class Server(BaseApplication):  # type: ignore[misc]
        def load_config(self) -> None:
            self.cfg.set("bind", "127.0.0.1:0")
            self.cfg.set("workers", PROCESSES)
            self.cfg.set("worker_class", "gthread")
            self.cfg.set("threads", THREADS)
            self.cfg.set("worker_connections", 1000)
            self.cfg.set("keepalive", 60)
            self.cfg.set("loglevel", "warning")
            self.cfg.set("when_ready", _say_where)

        def load(self) -> Any:
            return app

    Server().run()


def _say_where(arbiter: Any) -> None:
    port = arbiter.LISTENERS[0].sock.getsockname()[1]
    print(f"Serving http://127.0.0.1:{port}", flush=True)


if __name__ == "__main__":
    # One module under one name: the framework imports its routes from it.
    sys.modules["tests.bench.general"] = sys.modules[__name__]
    serve(os.environ["DATABASE_URL"])
