"""Streamlit's AppTest, which else reads the metadata of every installed package anew at each page it opens."""

from functools import cache

from streamlit.components.v2 import manifest_scanner
from streamlit.testing.v1 import AppTest

__all__ = ["AppTest"]
manifest_scanner.scan_component_manifests = cache(manifest_scanner.scan_component_manifests)
