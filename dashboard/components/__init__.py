"""Parts of a page that must work in the browser alone: a script each, and the Python that mounts it.

Nothing is fetched. Text that people wrote goes in as text, never as HTML.
"""
