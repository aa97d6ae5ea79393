"""The Flask app: a blueprint a topic, put together here and nowhere else."""

from flask import Flask

from roastlog.services import Services
from roastlog.web import (
    api,
    assets,
    bag,
    bench,
    byhand,
    check,
    compare,
    compressed,
    devices,
    forms,
    install,
    labels,
    language,
    live,
    pairing,
    parts,
    photos,
    problems,
    records,
    scan,
    security,
    settings,
    setup,
    start,
    this_device,
    today,
    trust,
)
from roastlog.web import format as filters

MOST_BYTES = 1_000_000
TOPICS = (
    *(api, assets, bag, bench, byhand, check, compare, devices, install, labels),
    *(language, live, pairing, parts, photos, records, scan, settings, setup, start, this_device, today, trust),
)


def create_app(services: Services) -> Flask:
    """An app over services that are running."""
    app = Flask("roastlog", static_folder=None, template_folder=str(assets.folder("templates")))
    app.config["MAX_CONTENT_LENGTH"] = MOST_BYTES
    app.jinja_env.policies["json.dumps_kwargs"] = {}  # Jinja sorts by itself, and Bokeh's references are by order
    app.extensions["services"] = services
    for module in TOPICS:
        app.register_blueprint(module.bp)
    language.install(app)
    compressed.install(app)
    assets.install(app)
    filters.install(app)
    problems.install(app)
    security.install(app)
    forms.install(app)
    return app
