"""The Flask app: one blueprint per topic, registered here."""

from flask import Flask

from roastlog.services import Services
from roastlog.web.api import routes as api
from roastlog.web.bench import blending, labels, lot_labels, packing, scan, start, today, weigh
from roastlog.web.desk import compare, lot_files, lot_forms, lots, products, recalls, records, stock, trace
from roastlog.web.http import assets, compression, formatting, forms, language, problems, security
from roastlog.web.machine import hand_readings, live, photos
from roastlog.web.owner import devices, machine_parts, machines, probe_check, settings, this_device
from roastlog.web.public import bag, install, pairing, trust

MOST_BYTES = 1_000_000
TOPICS = (
    *(assets, language, api),
    *(live, hand_readings, photos),
    *(today, start, weigh, labels, lot_labels, packing, blending, scan),
    *(records, compare, lots, lot_forms, lot_files, stock, products, trace, recalls),
    *(settings, machines, machine_parts, probe_check, devices, this_device),
    *(bag, pairing, trust, install),
)


def create_app(services: Services) -> Flask:
    """An app over started services."""
    app = Flask("roastlog", static_folder=None, template_folder=str(assets.folder("templates")))
    app.config["MAX_CONTENT_LENGTH"] = MOST_BYTES
    app.jinja_env.policies["json.dumps_kwargs"] = {}  # by default Jinja sorts keys, but Bokeh refers to them by order
    app.extensions["services"] = services
    for module in TOPICS:
        app.register_blueprint(module.bp)
    language.install(app)
    compression.install(app)
    assets.install(app)
    formatting.install(app)
    problems.install(app, pairing.stranger_page)
    security.install(app)
    forms.install(app)
    return app
