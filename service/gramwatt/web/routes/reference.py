"""The routes of the reference for people: an index, and a page for each calculator."""

from __future__ import annotations

from flask import Blueprint, Response

from gramwatt.web.pages.accuracy import read_accuracy
from gramwatt.web.pages.reference import make_reference
from gramwatt.web.pages.routes import list_by_category, render_stable_page, show_problem
from gramwatt.web.problems import Problem
from gramwatt.web.responses import find_calculator

blueprint = Blueprint("reference", __name__)
blueprint.register_error_handler(Problem, show_problem)


@blueprint.get("/reference")
def reference_index() -> Response:
    """Return the page that leads to the reference of each calculator."""
    return render_stable_page("reference_index.html", lambda: {"categories": list_by_category()})


@blueprint.get("/reference/<calculator_name>")
def reference_page(calculator_name: str) -> Response:
    """Return what a calculator computes: formulas, inputs, assumptions, limits, accuracy, sources."""
    calculator = find_calculator(calculator_name)
    return render_stable_page(
        "reference.html",
        lambda: {
            "reference": make_reference(calculator),
            "accuracy": read_accuracy(calculator.name),
            "categories": list_by_category(),
        },
    )
