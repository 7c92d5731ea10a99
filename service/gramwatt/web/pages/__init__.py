"""Pages made from the declarations.

`routes` serves them, `form_reader` reads a form, `form_view` and `results_view` hold what the templates show,
`snippets` are ways to repeat a request elsewhere.
"""
