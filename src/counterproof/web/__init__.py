"""The bench in the browser: parse what is typed, ask the workshop, show.

What to use when: ``server.serve`` runs until Ctrl-C; ``app.build_app`` is the application alone,
for a test; ``guard`` decides who may speak to it. A page is one function in ``pages`` and one line
in ``app.PAGES``; it takes an :class:`~counterproof.web.asking.Ask` and returns a response.
"""
