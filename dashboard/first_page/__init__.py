"""The page of a home that has no academy yet: it makes one."""
