"""The pages, one module each, each with `show(reader)`; the page table is in `app.py`.

The folder is not called "pages": Streamlit reads a folder of that name as its older kind of page list, and
would run these modules by themselves when the first visitor follows a link to one of them.
"""
