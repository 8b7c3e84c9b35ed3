"""Every SQL of the pages, over the Reader's unqualified table names; one module a subject."""
