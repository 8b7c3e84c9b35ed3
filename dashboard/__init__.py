"""The faces: pages, pictures and paper. They read only through `warehouse.access.Reader`."""
