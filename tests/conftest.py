"""Makes the builders that lie beside this file importable from every folder of tests."""
